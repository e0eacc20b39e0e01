"""Stations that people log and reasons to place a device before a cause is cured."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from installs.models import CauseOverride, LoggedStation
from installs.services.placement import change_override, change_station, log_station, override_cause
from plant.errors import ChangedMeanwhile, Refused
from tests import make

pytestmark = pytest.mark.django_db


def log(belt, by, **values):
    known = {"strand": "return", "chainage_m": 80.0, "from_on": dt.date(2026, 3, 1), "logged_by": "shift leader"}
    return log_station(conveyor=belt, by=by, **{**known, **values})


def aside(belt, by, **values):
    known = {"strand": "return", "low_m": 90.0, "high_m": 110.0, "reason": "the look is planned for May"}
    return override_cause(conveyor=belt, by=by, **{**known, **values})


def test_a_station_is_written_once_and_ended_later(belt_a1, pat):
    key = uuid.uuid4()
    row = log(belt_a1, pat, client_key=key)
    assert log(belt_a1, pat, client_key=key) == row
    change_station(row, by=pat, version=row.version, to_on=dt.date(2026, 6, 30))
    days = (dt.date(2026, 2, 28), dt.date(2026, 3, 1), dt.date(2026, 6, 30), dt.date(2026, 7, 1))
    assert [LoggedStation.objects.logged_on(day).exists() for day in days] == [False, True, True, False]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"chainage_m": 201.0}, "is not on A-1: give 0 to 200"),
        ({"from_on": make.today() + dt.timedelta(days=3)}, "has not come yet"),
        ({"to_on": dt.date(2026, 2, 1)}, "before that. Give a later day, or leave it empty"),
        ({"strand": "side"}, "Say which strand"),
        ({"logged_by": " "}, "cannot be blank"),
    ],
)
def test_a_station_that_cannot_be_is_refused(belt_a1, pat, values, words):
    with pytest.raises(Refused) as refusal:
        log(belt_a1, pat, **values)
    assert words in " ".join([refusal.value.message, *map(str, refusal.value.fields.values())])


def test_a_cause_is_put_aside_with_a_reason_that_stays(belt_a1, erin):
    key = uuid.uuid4()
    row = aside(belt_a1, erin, client_key=key)
    assert aside(belt_a1, erin, client_key=key) == row
    same = {"strand": "return", "low_m": 90.0, "high_m": 110.0}
    changed = change_override(
        row, by=erin, version=row.version, reason="looked: nothing found", ended_on=dt.date(2026, 5, 2), **same
    )
    assert changed.history.earliest().reason == "the look is planned for May"
    with pytest.raises(ChangedMeanwhile):
        change_override(row, by=erin, version=row.version - 1, reason="late", **same)


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"reason": " "}, "reason", "Say why a device may be placed"),
        ({"high_m": 210.0}, "high_m", "210 m is not on A-1: give 0 to 200 m"),
        ({"low_m": 110.0, "high_m": 90.0}, "high_m", "give the end nearer to the tail first"),
    ],
)
def test_a_reason_without_words_or_place_is_refused(belt_a1, erin, values, field, words):
    with pytest.raises(Refused) as refusal:
        aside(belt_a1, erin, **values)
    assert words in refusal.value.fields[field]
    assert not CauseOverride.objects.exists()
