"""The measuring of exports runs in an empty book only, and leaves the made-up plant as it was."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command

from deploy.bench.plant_exports import measure
from plant.models import Plant, RunRecord
from tests import make


def test_the_same_rows_are_read_written_inserted_and_read_in(db, at_noon):
    make.built_in_check_kinds()
    found = measure(250, at_noon)
    assert found.n_rows == RunRecord.objects.count() == 250
    assert Plant.objects.get().name == "Made-up Works"
    assert min(found.read_s, found.out_s, found.insert_s, found.in_s) > 0


def test_what_is_printed_names_rows_a_second_and_how_many_times_as_long(db):
    make.built_in_check_kinds()
    out = io.StringIO()
    call_command("benchmark_export", "--rows=50", stdout=out)
    lines = out.getvalue().splitlines()
    assert lines[0].startswith("50 rows on ")
    assert [line.split()[0] for line in lines[1:]] == ["read", "taken", "inserted", "read"]
    assert "times as long" in lines[2]
    assert "times as long" in lines[4]


def test_a_book_that_holds_something_is_left_alone(alder):
    with pytest.raises(CommandError, match="holds a plant already"):
        call_command("benchmark_export", "--rows=50")
    assert not RunRecord.objects.exists()
