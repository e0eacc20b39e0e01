"""Weeks of work; ISO 8601 weeks, and an inverse: every occurrence is in exactly one week."""

import datetime as dt

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspections.calc.workload import Recurring, by_week, effective_days, monday_of, occurrences

# 2026 has 53 weeks by ISO 8601 (its first day is a Thursday).
THURSDAY = dt.date(2026, 12, 31)


def test_weeks_begin_on_monday_across_the_year():
    assert monday_of(dt.date(2027, 1, 3)) == dt.date(2026, 12, 28)
    assert f"{monday_of(THURSDAY):%G-W%V}" == "2026-W53"


def test_what_is_late_is_work_of_the_present_week_and_comes_again_from_today():
    late = Recurring(THURSDAY - dt.timedelta(days=40), 7, 15, True)
    weeks = by_week([late], today=THURSDAY, n_weeks=3)
    assert [(week.n, week.locked_out_min, week.other_min) for week in weeks] == [(1, 15, 0)] * 3


def test_locked_out_and_running_are_told_apart():
    checks = [Recurring(THURSDAY, None, 15, True), Recurring(THURSDAY, None, 20, False)]
    week, after = by_week(checks, today=THURSDAY, n_weeks=2)
    assert (week.locked_out_min, week.other_min, week.minutes) == (15, 20, 35)
    assert after.minutes == 0


# A busy machine draws slowly; that is no fault of the calculation.
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.integers(0, 200), st.floats(1, 120), st.integers(1, 53))
def test_every_occurrence_is_in_one_week(ahead, every, n_weeks):
    check = Recurring(THURSDAY + dt.timedelta(days=ahead), every, 10, False)
    weeks = by_week([check], today=THURSDAY, n_weeks=n_weeks)
    last = weeks[-1].monday + dt.timedelta(days=6)
    days = occurrences(check.due_on, every, last)
    assert sum(week.n for week in weeks) == len(days)
    assert days == sorted(set(days))
    assert all(day <= last for day in days)


def test_the_earlier_of_days_and_hours_decides():
    assert effective_days(90, 500, 10) == 50
    assert effective_days(30, 500, 10) == 30
    assert effective_days(None, 500, None) is None
    assert effective_days(90, 500, None) == 90


def test_an_interval_below_a_day_is_refused():
    with pytest.raises(ValueError, match=r"every_days is 0\.5; give 1 day or more"):
        occurrences(THURSDAY, 0.5, THURSDAY)
