"""The measuring of lists runs in an empty book only, asks for each page, and the queries stay the same."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command

from inspections.models import Task
from tests import make


def test_pages_cost_as_many_queries_in_a_larger_book(db):
    make.built_in_check_kinds()
    out = io.StringIO()
    call_command("benchmark_lists", "--tasks=3000", "--times=1", stdout=out)
    lines = out.getvalue().splitlines()
    assert " checks, " in lines[0]
    rows = {line[:24].strip(): line[24:].split() for line in lines[3:]}
    for page in ("checks", "checks, late", "checks, closed", "backlog", "actions", "opportunity", "a check plan"):
        few, many = int(rows[page][0]), int(rows[page][1])
        # A row more or less (a break between pages, a part that is empty in the small book) may cost some.
        assert 0 < many <= few + 6, page
    assert Task.objects.count() >= 2000


def test_a_book_that_holds_something_is_left_alone(alder):
    with pytest.raises(CommandError, match="This book holds a plant already"):
        call_command("benchmark_lists", "--tasks=1000")
    assert not Task.objects.exists()
