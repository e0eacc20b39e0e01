"""Weeks of work; ISO 8601 weeks, and inverses: every occurrence is in one week and is where the due date puts it."""

import datetime as dt
import doctest

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspections.calc import workload
from inspections.calc.due_dates import Shortening, next_due
from inspections.calc.fixed_dates import FixedDates
from inspections.calc.workload import ONCE, Coming, by_week, cadence, monday_of, occurrences

# 2026 has 53 weeks by ISO 8601 (its first day is a Thursday).
THURSDAY = dt.date(2026, 12, 31)
YEAR = THURSDAY + dt.timedelta(days=400)


def every(days):
    return cadence(THURSDAY, YEAR, interval_days=days)


def test_examples():
    assert doctest.testmod(workload).failed == 0


def test_weeks_begin_on_monday_across_the_year():
    assert monday_of(dt.date(2027, 1, 3)) == dt.date(2026, 12, 28)
    assert f"{monday_of(THURSDAY):%G-W%V}" == "2026-W53"


def test_what_is_late_is_work_of_the_present_week_and_comes_again_from_today():
    late = Coming(THURSDAY - dt.timedelta(days=40), every(7), 15, True)
    weeks = by_week([late], today=THURSDAY, n_weeks=3)
    assert [(week.n, week.locked_out_min, week.other_min) for week in weeks] == [(1, 15, 0)] * 3


def test_locked_out_and_running_and_skills_are_told_apart():
    checks = [Coming(THURSDAY, ONCE, 15, True, "lifting"), Coming(THURSDAY, ONCE, 20, False)]
    week, after = by_week(checks, today=THURSDAY, n_weeks=2)
    assert (week.locked_out_min, week.other_min, week.minutes) == (15, 20, 35)
    assert week.by_skill == {"lifting": 15, "": 20}
    assert after.minutes == 0


def test_a_fixed_date_comes_on_its_day_however_late_the_one_before():
    first_friday = cadence(THURSDAY, YEAR, fixed=FixedDates(1, dt.date(2026, 1, 1), "1FR"))
    late = Coming(dt.date(2026, 12, 4), first_friday, 10, False)
    weeks = by_week([late], today=THURSDAY, n_weeks=7)
    # Today, then 1 January 2027 in the same week, then 5 February.
    assert [week.n for week in weeks] == [2, 0, 0, 0, 0, 1, 0]


# A busy machine draws slowly; that is no fault of the calculation.
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.integers(0, 200), st.integers(1, 120), st.integers(1, 53))
def test_every_occurrence_is_in_one_week(ahead, days, n_weeks):
    check = Coming(THURSDAY + dt.timedelta(days=ahead), every(days), 10, False)
    weeks = by_week([check], today=THURSDAY, n_weeks=n_weeks)
    last = weeks[-1].monday + dt.timedelta(days=6)
    found = occurrences(check.due_on, check.cadence, last)
    assert sum(week.n for week in weeks) == len(found)
    assert found == [day for n in range(500) if (day := check.due_on + dt.timedelta(days=days * n)) <= last]


shares = st.sampled_from([0.25, 0.5, 0.7, 1.0])


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(
    days=st.integers(1, 200),
    hours=st.one_of(st.none(), st.integers(20, 2000)),
    daily=st.integers(1, 24),
    season=st.frozensets(st.integers(1, 12)),
    share=st.tuples(shares, shares, shares),
    outage=st.tuples(st.integers(-10, 300), st.integers(0, 40)),
    ahead=st.integers(0, 150),
)
def test_the_weeks_ahead_agree_with_the_due_date_that_the_night_works_out(
    days, hours, daily, season, share, outage, ahead
):
    short = Shortening(season_months=season, season=share[0], duty=share[1], long_day=share[2])
    known = {"interval_days": days, "interval_hours": hours, "daily_hours": daily, "shortening": short}
    begin = THURSDAY + dt.timedelta(days=outage[0])
    stands = [(begin, begin + dt.timedelta(days=outage[1]))]
    done = THURSDAY + dt.timedelta(days=ahead)
    # Two ways to the same day: the chain over cumulated shares, and the due date of one check.
    assert (
        cadence(THURSDAY, YEAR, outages=stands, **known).after(done) == next_due(done, outages=stands, **known).due_on
    )


def test_a_week_too_few_is_refused():
    with pytest.raises(ValueError, match="n_weeks is 0; give 1 week or more"):
        by_week([], today=THURSDAY, n_weeks=0)
