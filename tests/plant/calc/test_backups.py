"""Which backups are kept: the rule over years of days."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.calc.backups import is_due, kept_by_rule

BEGIN = dt.datetime(2024, 1, 1, 2, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)


def run(n_days, *, days, weeks, months, is_off=lambda day: False):
    """What is at hand after each day of years, thinned every night."""
    at_hand = frozenset()
    for number in range(n_days):
        if is_off(number):
            continue
        moment = BEGIN + number * DAY
        at_hand = kept_by_rule(at_hand | {moment}, days=days, weeks=weeks, months=months)
        yield moment, at_hand


def test_over_four_years_of_nights_the_days_weeks_and_months_are_all_there():
    for moment, at_hand in run(4 * 365 + 1, days=7, weeks=5, months=12):
        age = (moment - BEGIN).days
        assert {moment - n * DAY for n in range(min(7, age + 1))} <= at_hand
        # The last night of each of the four weeks before this one, from Monday to Sunday.
        monday = moment - moment.weekday() * DAY
        assert {monday - DAY - 7 * n * DAY for n in range(4) if monday - DAY - 7 * n * DAY >= BEGIN} <= at_hand
        first = moment.replace(day=1)
        for _month in range(11):
            last_of_month = first - DAY
            if last_of_month >= BEGIN:
                assert last_of_month in at_hand
            first = last_of_month.replace(day=1)
        assert len(at_hand) <= 7 + 5 + 12
    assert len(at_hand) == 21  # the last days, weeks and months overlap


def test_thinning_every_night_keeps_what_thinning_once_would():
    everything = [BEGIN + n * DAY for n in range(800)]
    *_before, (_moment, at_hand) = run(800, days=7, weeks=5, months=12)
    assert at_hand == kept_by_rule(everything, days=7, weeks=5, months=12)


def test_a_site_that_stood_still_for_half_a_year_loses_nothing_by_it():
    *_before, (_moment, before) = run(200, days=7, weeks=5, months=12)
    later = BEGIN + 380 * DAY
    after = kept_by_rule(before | {later}, days=7, weeks=5, months=12)
    assert len(before - after) <= 3
    assert sorted(before)[-6:] == sorted(after)[-7:-1]


def test_all_of_the_newest_day_are_kept():
    """The one before an upgrade is not thinned by the one behind it."""
    made = [BEGIN.replace(hour=hour) for hour in (8, 10, 11)]
    assert kept_by_rule(made, days=1, weeks=0, months=0) == set(made)
    assert kept_by_rule([*made, BEGIN + DAY], days=2, weeks=0, months=0) == {made[-1], BEGIN + DAY}


@given(
    st.lists(st.integers(0, 6000).map(lambda n: BEGIN + n * dt.timedelta(hours=7)), max_size=60),
    st.integers(0, 9), st.integers(0, 9), st.integers(0, 15),
)  # fmt: skip
def test_the_newest_is_always_kept_and_a_second_time_changes_nothing(made, days, weeks, months):
    kept = kept_by_rule(made, days=days, weeks=weeks, months=months)
    assert kept <= set(made)
    assert not made or max(made) in kept
    assert kept_by_rule(kept, days=days, weeks=weeks, months=months) == kept


def test_a_number_below_nothing_is_refused():
    with pytest.raises(ValueError, match="numbers from 0 on"):
        kept_by_rule([], days=-1, weeks=0, months=0)


@pytest.mark.parametrize(
    ("now", "last", "due"),
    [
        ("2026-11-30T01:59", "2026-11-29T02:01", False),
        ("2026-11-30T02:00", "2026-11-29T02:01", True),
        ("2026-11-30T02:30", "2026-11-30T02:00", False),
        ("2026-12-03T09:00", "2026-11-30T02:00", True),  # it was off for days
        ("2026-11-30T02:30", "2031-01-01T00:00", True),  # its clock was wrong
    ],
)
def test_the_night_s_backup_is_due_once(now, last, due):
    assert is_due(dt.datetime.fromisoformat(now), dt.datetime.fromisoformat(last), hour=2) is due
