"""The bounds of moments: stated once, wide enough for what follows, the same at every end of a month."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.calc.calendar import local_day_bounds
from plant.calc.moments import EARLIEST, LATEST, YEARS_AHEAD, MomentKind, day_bounds, is_in_calendar, moment_bounds

NOON = dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)
ZONES = [dt.timezone(dt.timedelta(hours=hours)) for hours in (-12, 0, 14)]


@given(st.dates(EARLIEST, LATEST))
def test_every_day_of_the_calendar_has_a_day_before_and_after_in_every_zone(day):
    for zone in ZONES:
        start, end = local_day_bounds(day, zone)
        assert end - start == dt.timedelta(days=1)
        local_day_bounds(day - dt.timedelta(days=400), zone)
        local_day_bounds(day + dt.timedelta(days=400), zone)


@given(st.integers(0, 80 * 365 * 24 * 60))
def test_what_has_happened_has_happened_and_plans_reach_some_years_ahead(minutes):
    now = NOON + dt.timedelta(minutes=minutes)
    assert moment_bounds(MomentKind.HAPPENED, now).last - now == dt.timedelta(minutes=10)
    assert moment_bounds(MomentKind.SHIFT, now).last - now == dt.timedelta(days=1)
    ahead = day_bounds(MomentKind.PLANNED, now.date()).last
    assert ahead.year == now.year + YEARS_AHEAD
    assert (ahead.month, ahead.day) == (now.month, 28 if (now.month, now.day) == (2, 29) else now.day)
    assert day_bounds(MomentKind.HAPPENED, now.date()).last == now.date()


@pytest.mark.parametrize("kind", MomentKind)
def test_no_kind_reaches_out_of_the_calendar(kind):
    days, moments = day_bounds(kind, NOON.date()), moment_bounds(kind, NOON)
    assert all(map(is_in_calendar, (days.first, days.last, moments.first, moments.last)))
    assert days.first == moments.first.date() == EARLIEST


def test_the_ends_of_the_calendar_are_out_of_a_books_reach():
    ends = [dt.datetime(1, 1, 1, tzinfo=dt.UTC), dt.datetime(9999, 12, 31, 23, 59, tzinfo=dt.UTC)]
    for value in (*ends, dt.date.min, dt.date.max, dt.date(1849, 12, 31)):
        assert not is_in_calendar(value)
    assert is_in_calendar(EARLIEST)
    assert is_in_calendar(LATEST)
