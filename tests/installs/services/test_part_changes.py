"""Part changes: what is refused, written once, corrected by a row, and told to apps above."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
import time_machine

from installs.models import PartChange
from installs.services.part_changes import correct_part_change, record_part_change
from installs.signals import part_changed
from plant.errors import Refused
from tests import make

UTC = dt.UTC
NOON = dt.datetime(2026, 3, 2, 12, tzinfo=UTC)
FEB = dt.datetime(2026, 2, 10, 9, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def at(belt_a1):
    return make.installation(belt_a1, "1")


def record(at, by, **values):
    known = {"part": "sensor_rollers", "side": "", "why": "worn", "changed_at": FEB}
    return record_part_change(installation=at, by=by, **{**known, **values})


def test_written_once_and_told_after_the_commit(at, tess, django_capture_on_commit_callbacks):
    heard = []

    def listen(sender, installation, part_change, **kwargs):
        heard.append((installation, part_change))

    part_changed.connect(listen)
    key = uuid.uuid4()
    try:
        with django_capture_on_commit_callbacks(execute=True):
            row = record(at, tess, client_key=key, note="third pair")
            again = record(at, tess, client_key=key, note="third pair")
            assert heard == []
    finally:
        part_changed.disconnect(listen)
    assert row == again
    assert PartChange.objects.count() == 1
    assert heard == [(at, row)]


@pytest.mark.parametrize(
    ("values", "field", "code", "words"),
    [
        ({"changed_at": NOON + dt.timedelta(hours=1)}, "changed_at", "future", "is in the future"),
        ({"changed_at": dt.datetime(2026, 1, 4, tzinfo=UTC)}, "changed_at", "before_installation", "before the inst"),
        ({"part": "motor"}, "part", "invalid", "not a valid choice"),
        ({"why": ""}, "why", "invalid", "cannot be blank"),
    ],
)
def test_refused_in_words(at, tess, values, field, code, words):
    with pytest.raises(Refused) as refusal:
        record(at, tess, **values)
    assert refusal.value.code == code
    assert words in refusal.value.fields[field]
    assert not PartChange.objects.exists()


def test_not_after_the_removal(at, tess):
    at.removed_at = dt.datetime(2026, 2, 1, tzinfo=UTC)
    at.save()
    with pytest.raises(Refused, match="after the removal"):
        record(at, tess)


def test_corrected_and_withdrawn_by_rows(at, tess):
    row = record(at, tess)
    better = correct_part_change(row, by=tess, reason="only one side", side="drive")
    assert [*PartChange.objects.current()] == [better]
    assert better.side == "drive"
    assert better.changed_at == FEB
    with pytest.raises(Refused, match="corrected before"):
        correct_part_change(row, by=tess, reason="again", side="off")
    with pytest.raises(Refused, match="why"):
        correct_part_change(better, by=tess, reason=" ", side="off")
    with pytest.raises(Refused, match="before the installation"):
        correct_part_change(better, by=tess, reason="typing", changed_at=dt.datetime(2025, 1, 1, tzinfo=UTC))
    correct_part_change(better, by=tess, reason="at device 2", withdraw=True)
    assert not PartChange.objects.current().exists()
    assert PartChange.objects.count() == 3
