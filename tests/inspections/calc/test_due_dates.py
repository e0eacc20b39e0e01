"""Due dates against RFC 5545's own examples, hand-worked calendars and properties that must always hold."""

import csv
import doctest
import itertools
import json
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.calc import due_dates
from inspections.calc import fixed_dates as fixed
from inspections.calc.due_dates import (
    DueRule,
    Shortening,
    bedding_in_due,
    day_reached,
    days_held,
    is_overdue,
    next_due,
    next_fixed,
    overdue_age_days,
    recent_daily_hours,
)
from inspections.calc.fixed_dates import FixedDates, FixedRule, fixed_dates
from plant.calc.calendar import overdue_from
from plant.calc.reasons import Reason
from tests.reference.due_dates import MONTHLY_FROM_THE_31ST, MONTHS_LATER, OVERDUE_FROM

REFERENCE = Path(__file__).parents[2] / "reference"
DONE = date(2026, 1, 5)

days = st.dates(date(2020, 1, 1), date(2030, 12, 31))
spells = st.lists(st.tuples(st.integers(-40, 400), st.integers(0, 30)), max_size=4)


def outages_from(done, spells):
    return [(done + timedelta(days=a), done + timedelta(days=a + n)) for a, n in spells]


def read(name):
    with (REFERENCE / name).open(newline="") as lines:
        return list(csv.DictReader(lines))


def test_examples():
    assert doctest.testmod(due_dates).failed == doctest.testmod(fixed).failed == 0


# --- hours to expect ------------------------------------------------------------------------------------------------


def test_daily_hours_are_the_median_of_running_days_times_the_share_of_running_days():
    week = [8, 9, 16, 8, 8, 0, 0]
    found = recent_daily_hours(week)
    assert (found.running_day_h, found.running_share) == (8.0, 5 / 7)
    assert found.per_day == pytest.approx(8 * 5 / 7)
    assert found.n_known == 7


def test_unknown_days_are_not_days_without_running():
    known = recent_daily_hours([10] * 10)
    with_gaps = recent_daily_hours([10, np.nan] * 10)
    assert with_gaps.per_day == known.per_day == 10
    assert with_gaps.n_known == 10


def test_planned_outages_are_left_out_because_the_forecast_takes_them_out_again():
    hours = [10] * 10 + [0] * 10
    assert recent_daily_hours(hours).per_day == 5
    assert recent_daily_hours(hours, in_outage=[False] * 10 + [True] * 10).per_day == 10


def test_too_few_days_and_a_belt_that_stands_still_are_answers():
    few = recent_daily_hours([10, 10, np.nan])
    assert few.per_day is None
    assert few.reasons == (Reason(DueRule.TOO_FEW_DAYS, {"n": 2, "least": 7}),)
    still = recent_daily_hours([0] * 9)
    assert still.per_day == 0
    assert still.reasons == (Reason(DueRule.STOOD_STILL, {"n": 9}),)
    assert recent_daily_hours([]).per_day is None


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: recent_daily_hours([26]), "holds 26 h in one day; give 0 to 25 h"),
        (lambda: recent_daily_hours([-1]), "holds -1 h in one day; give 0 to 25 h"),
        (lambda: recent_daily_hours([[1]]), "has 2 dimensions; give one number for each day"),
        (lambda: recent_daily_hours([1], in_outage=[True, False]), "in_outage has 2 days and daily_hours 1; give"),
        (lambda: recent_daily_hours([1], least_days=0), "least_days is 0; give 1 day or more"),
        (lambda: day_reached(DONE, [1], 0), "hours is 0 h; give running hours above 0"),
    ],
)
def test_wrong_hours_are_named(call, said):
    with pytest.raises(ValueError, match="give") as refused:
        call()
    assert said in str(refused.value)


def test_day_on_which_recorded_hours_were_reached():
    assert day_reached(date(2026, 1, 6), [10, 0, 10, np.nan, 10], 20) == date(2026, 1, 8)
    assert day_reached(date(2026, 1, 6), [0.1] * 10, 1.0) == date(2026, 1, 15)
    assert day_reached(date(2026, 1, 6), [10, 10], 20.1) is None
    assert day_reached(date(2026, 1, 6), [], 1) is None


# --- next due -------------------------------------------------------------------------------------------------------


def test_days_decide_where_they_come_first():
    due = next_due(DONE, interval_days=30, interval_hours=500, daily_hours=10)
    assert (due.due_on, due.by) == (date(2026, 2, 4), "days")
    assert due.reason == Reason(DueRule.AFTER_DAYS, {"days": 30, "last_done_on": date(2026, 1, 5)})


def test_hours_decide_where_they_come_first():
    due = next_due(DONE, interval_days=90, interval_hours=500, daily_hours=10)
    assert (due.due_on, due.by) == (date(2026, 2, 24), "hours")  # 50 days of 10 h after 5 January
    assert due.reason.rule == DueRule.AFTER_HOURS
    assert (due.reason.values["interval_h"], due.reason.values["a_day_h"]) == (500, 10)


def test_a_tie_goes_to_the_days():
    assert next_due(DONE, interval_days=50, interval_hours=500, daily_hours=10).by == "days"


def test_the_forecast_goes_on_from_the_hours_that_are_recorded():
    due = next_due(DONE, interval_hours=500, hours_since=421, as_of=date(2026, 2, 1), daily_hours=8)
    assert due.due_on == date(2026, 2, 11)  # 79 h at 8 h: ten days after 1 February


def test_outages_known_in_advance_take_their_days_out():
    told = {"interval_hours": 100, "daily_hours": 10}  # due on 15 January without an outage
    week = (date(2026, 1, 10), date(2026, 1, 16))
    assert next_due(DONE, outages=[week], **told).due_on == date(2026, 1, 22)
    assert next_due(DONE, outages=[week, (date(2026, 1, 12), date(2026, 1, 18))], **told).due_on == date(2026, 1, 24)
    assert next_due(DONE, outages=[(date(2026, 1, 15), date(2026, 1, 15))], **told).due_on == date(2026, 1, 16)
    # An outage that only begins because an earlier one moved the date.
    later = (date(2026, 1, 20), date(2026, 1, 20))
    assert next_due(DONE, outages=[later, week], **told).due_on == date(2026, 1, 23)
    # Days that are past already, or after the date, move nothing.
    assert next_due(DONE, outages=[(date(2026, 1, 1), date(2026, 1, 5))], **told).due_on == date(2026, 1, 15)
    assert next_due(DONE, outages=[(date(2026, 1, 16), date(2026, 1, 30))], **told).due_on == date(2026, 1, 15)
    # Days by the calendar run on through an outage.
    assert next_due(DONE, interval_days=10, outages=[week]).due_on == date(2026, 1, 15)


def test_hours_already_reached_keep_their_day_and_so_become_overdue():
    told = {"interval_days": 365, "interval_hours": 100, "daily_hours": 10}
    exact = next_due(DONE, hours_since=150, as_of=date(2026, 2, 1), reached_on=date(2026, 1, 17), **told)
    assert (exact.due_on, exact.by) == (date(2026, 1, 17), "hours")
    assert exact.reason == Reason(DueRule.REACHED_ON, {"interval_h": 100, "on": date(2026, 1, 17)})
    one = next_due(DONE, hours_since=150, as_of=date(2026, 2, 1), **told)
    later = next_due(DONE, hours_since=250, as_of=date(2026, 2, 11), **told)
    assert one.due_on == later.due_on == date(2026, 1, 27)
    assert next_due(DONE, hours_since=900, as_of=date(2026, 1, 20), **told).due_on == DONE


def test_without_daily_hours_the_days_decide_and_the_reason_says_so():
    due = next_due(DONE, interval_days=30, interval_hours=500)
    assert (due.due_on, due.by) == (date(2026, 2, 4), "days")
    assert due.reason.rule == DueRule.BESIDES
    assert due.reason.values["hours"] == Reason(DueRule.HOURS_UNKNOWN)


@pytest.mark.parametrize(
    ("daily", "why"),
    [
        (None, Reason(DueRule.HOURS_UNKNOWN)),
        (0.0, Reason(DueRule.NOT_IN_TWENTY_YEARS, {"interval_h": 500, "too_few_h": 0.0})),
        (0.05, Reason(DueRule.NOT_IN_TWENTY_YEARS, {"interval_h": 500, "too_few_h": 0.05})),
    ],
)
def test_only_hours_and_no_forecast_is_an_answer_without_a_date(daily, why):
    due = next_due(DONE, interval_hours=500, daily_hours=daily)
    assert (due.due_on, due.opens_on, due.closes_on, due.by) == (None, None, None, None)
    assert due.reason == Reason(DueRule.CANNOT_BE_DATED, {"hours": why})


def test_window_opens_early_and_closes_late_but_never_before_the_last_check():
    due = next_due(DONE, interval_days=30, window_before_days=5, window_after_days=7)
    assert (due.opens_on, due.closes_on) == (date(2026, 1, 30), date(2026, 2, 11))
    tight = next_due(DONE, interval_days=7, window_before_days=10)
    assert tight.opens_on == date(2026, 1, 6)


def test_bedding_in_comes_by_hours_or_days():
    assert bedding_in_due(DONE, hours=48, days=14, daily_hours=16).due_on == date(2026, 1, 8)
    slow = bedding_in_due(DONE, hours=48, days=14, daily_hours=2, window_after_days=2)
    assert (slow.due_on, slow.closes_on, slow.by) == (date(2026, 1, 19), date(2026, 1, 21), "days")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"interval_days": None}, "neither interval_days nor interval_hours is given; give at least one"),
        ({"interval_days": 0}, "interval_days is 0; give 1 to 3650 days"),
        ({"interval_hours": -5}, "interval_hours is -5 h; give above 0 to 100000 h"),
        ({"window_after_days": -1}, "window_after_days is -1; give 0 to 3650 days"),
        ({"interval_hours": 50, "daily_hours": 30}, "daily_hours is 30 h; give 0 to 25 h"),
        ({"interval_hours": 50, "hours_since": 20}, "hours_since is 20 h without as_of; give the last day"),
        ({"interval_hours": 50, "hours_since": -1}, "hours_since is -1 h; give running hours from 0 up"),
        ({"interval_hours": 50, "hours_since": 1, "as_of": date(2026, 1, 4)}, "as_of is 2026-01-04, before last_done"),
        ({"interval_hours": 50, "reached_on": date(2026, 1, 4)}, "reached_on is 2026-01-04, before last_done_on"),
        (
            {"interval_hours": 50, "outages": [(date(2026, 2, 2), date(2026, 2, 1))]},
            "an outage lasts from 2026-02-02 to 2026-02-01; give the first day before the last",
        ),
    ],
)
def test_wrong_intervals_are_named(changed, said):
    with pytest.raises(ValueError, match="give") as refused:
        next_due(DONE, **({"interval_days": 30} | changed))
    assert said in str(refused.value)


@settings(max_examples=300, deadline=None)
@given(
    days, st.integers(1, 3650), st.floats(1, 5000), st.floats(0.1, 24), spells, st.integers(0, 60), st.integers(0, 60)
)
def test_due_is_the_earlier_date_and_lies_inside_its_window(done, n, hours, daily, spells, before, after):
    told = {"daily_hours": daily, "outages": outages_from(done, spells)}
    both = next_due(
        done, interval_days=n, interval_hours=hours, window_before_days=before, window_after_days=after, **told
    )
    by_days, by_hours = next_due(done, interval_days=n), next_due(done, interval_hours=hours, **told)
    known = [due.due_on for due in (by_days, by_hours) if due.due_on]
    assert both.due_on == min(known)
    assert done < both.opens_on <= both.due_on <= both.closes_on


@settings(max_examples=300, deadline=None)
@given(days, st.floats(1, 3000), st.floats(1, 24), spells)
def test_hours_forecast_agrees_with_counting_day_by_day(done, hours, daily, spells):
    outages = outages_from(done, spells)
    day, run = done, 0.0
    while run < hours - 1e-6:
        day += timedelta(days=1)
        if not any(first <= day <= last for first, last in outages):
            run += daily
    assert next_due(done, interval_hours=hours, daily_hours=daily, outages=outages).due_on == day


@settings(max_examples=200, deadline=None)
@given(days, st.floats(50, 3000), st.floats(1, 24), spells, st.integers(1, 60))
def test_hours_that_come_as_forecast_leave_the_date_where_it_was(done, hours, daily, spells, elapsed):
    """A night on which all went as expected must not move the date."""
    outages = outages_from(done, spells)
    as_of = done + timedelta(days=elapsed)
    ran = sum(
        daily
        for n in range(1, elapsed + 1)
        if not any(first <= done + timedelta(days=n) <= last for first, last in outages)
    )
    first = next_due(done, interval_hours=hours, daily_hours=daily, outages=outages)
    if ran < hours - 1e-6:
        again = next_due(done, interval_hours=hours, hours_since=ran, as_of=as_of, daily_hours=daily, outages=outages)
        assert again.due_on == first.due_on


@settings(max_examples=200, deadline=None)
@given(days, st.floats(1, 3000), st.floats(1, 24), st.floats(1, 24), spells)
def test_more_running_never_makes_a_check_due_later(done, hours, one, other, spells):
    outages = outages_from(done, spells)
    slow, fast = sorted((one, other))
    told = {"interval_hours": hours, "outages": outages}
    assert next_due(done, daily_hours=fast, **told).due_on <= next_due(done, daily_hours=slow, **told).due_on


# --- fixed dates ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", read("recurrence.csv"), ids=lambda row: row["name"])
def test_rules_give_the_dates_of_the_standard(row):
    expected = tuple(date.fromisoformat(day) for day in row["expected_dates"].split())
    start = datetime.fromisoformat(row["dtstart_local"])
    assert fixed_dates(start, rule=row["rrule"], until=expected[-1]) == expected
    if "COUNT" in row["rrule"]:
        assert fixed_dates(start, rule=row["rrule"], until=expected[-1] + timedelta(days=1000)) == expected


def test_months_are_clamped_from_the_anchor_and_never_chained():
    found = fixed_dates(date(2026, 1, 31), every_months=1, until=date(2026, 6, 30))
    assert tuple(day.isoformat() for day in found) == MONTHLY_FROM_THE_31ST


@pytest.mark.parametrize(("anchor", "months", "later"), MONTHS_LATER)
def test_months_later(anchor, months, later):
    found = fixed_dates(date.fromisoformat(anchor), every_months=months, until=date.fromisoformat(later))
    assert found == (date.fromisoformat(anchor), date.fromisoformat(later))


@settings(max_examples=200, deadline=None)
@given(days, st.integers(1, 24), st.integers(0, 3000))
def test_every_fixed_month_keeps_the_day_of_the_anchor_or_the_last_of_the_month(anchor, months, length):
    until = anchor + timedelta(days=length)
    found = fixed_dates(anchor, every_months=months, until=until)
    assert found[0] == anchor
    assert all(day.day == anchor.day or (day + timedelta(days=1)).day == 1 for day in found)
    gaps = [(b.year - a.year) * 12 + b.month - a.month for a, b in itertools.pairwise(found)]
    assert set(gaps) <= {months}
    assert found[-1] <= until < found[-1] + timedelta(days=31 * months + 3)


@settings(max_examples=100, deadline=None)
@given(days, st.integers(1, 400), st.integers(0, 3000))
def test_fixed_days_agree_with_the_rule_that_says_the_same(anchor, n, length):
    until = anchor + timedelta(days=length)
    by_days = fixed_dates(anchor, every_days=n, until=until)
    assert by_days == fixed_dates(anchor, rule=f"FREQ=DAILY;INTERVAL={n}", until=until)


def test_the_last_day_of_each_month_by_rule_and_none_before_the_anchor():
    found = fixed_dates(date(2026, 1, 31), rule="RRULE:FREQ=MONTHLY;BYMONTHDAY=-1", until=date(2026, 4, 1))
    assert [day.isoformat() for day in found] == ["2026-01-31", "2026-02-28", "2026-03-31"]
    assert fixed_dates(date(2026, 1, 31), every_months=1, until=date(2026, 1, 30)) == ()
    assert fixed_dates(date(2026, 1, 31), every_days=1, until=date(2025, 12, 30)) == ()


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({}, "0 of every_months, every_days and rule are given; give exactly one"),
        ({"every_days": 1, "every_months": 1}, "2 of every_months, every_days and rule are given; give exactly one"),
        ({"every_months": 0}, "every_months is 0; give 1 to 120 months"),
        ({"every_days": -1}, "every_days is -1; give 1 to 3650 days"),
        ({"rule": "FREQ=HOURLY"}, "rule has FREQ HOURLY; give one of DAILY, WEEKLY, MONTHLY, YEARLY"),
        ({"rule": "BYDAY=MO"}, "rule has FREQ missing; give one of"),
        ({"rule": "FREQ=DAILY;INTERVAL=0"}, "rule has INTERVAL=0; give a whole number from 1"),
        ({"rule": "FREQ=DAILY;COUNT=-2"}, "rule has COUNT=-2; give a whole number from 1"),
        ({"rule": "FREQ=DAILY;BYHOUR=3"}, "rule has the part 'BYHOUR'; give only FREQ"),
        ({"rule": "every Monday"}, "rule has the part 'EVERY MONDAY'; give only FREQ"),
        ({"rule": "FREQ=WEEKLY;BYDAY=XX"}, "cannot be read"),
        ({"rule": "FREQ=DAILY;UNTIL=20260201T000000Z"}, "rule has UNTIL=20260201T000000Z in UTC; plan dates are local"),
        ({"rule": "FREQ=DAILY;UNTIL=20260201;COUNT=3"}, "rule has both UNTIL and COUNT; give at most one"),
    ],
)
def test_wrong_rules_are_named(told, said):
    with pytest.raises(ValueError, match=r"give|leave") as refused:
        fixed_dates(date(2026, 1, 1), until=date(2026, 3, 1), **told)
    assert said in str(refused.value)


# --- overdue --------------------------------------------------------------------------------------------------------


def test_overdue_and_its_age_agree_with_the_worked_month():
    worked = json.loads((REFERENCE / "indicators.json").read_text())
    today = date(2026, 12, 1)
    late = []
    for task in worked["tasks"]:
        closes_on = date.fromisoformat(task["closes"])
        if task["done"] is None and "withdrawn" not in task and is_overdue(closes_on, today):
            since = overdue_from(closes_on, ZoneInfo("UTC")).strftime("%Y-%m-%dT%H:%MZ")
            late.append({"id": task["id"], "since": since, "age_days": overdue_age_days(closes_on, today)})
    assert late == worked["expected"]["overdue_on_2026-12-01"]


def test_a_check_is_not_overdue_on_the_day_its_window_closes():
    closes_on = date(2026, 11, 13)
    assert not is_overdue(closes_on, date(2026, 11, 13))
    assert is_overdue(closes_on, date(2026, 11, 14))
    assert [overdue_age_days(closes_on, date(2026, 11, day)) for day in (1, 13, 14, 15)] == [0, 0, 0, 1]


@pytest.mark.parametrize(("closes_on", "zone", "moment"), OVERDUE_FROM)
def test_overdue_begins_at_the_plants_midnight(closes_on, zone, moment):
    assert overdue_from(date.fromisoformat(closes_on), ZoneInfo(zone)).isoformat() == moment


# --- a plan's own fixed dates -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "rule"),
    [
        ("first Friday", FixedDates(1, date(1997, 9, 5), "1FR")),
        ("first and last day", FixedDates(1, date(1997, 9, 30), "-1")),
    ],
)
def test_fixed_dates_of_a_plan_against_the_standards_examples(name, rule):
    """RFC 5545 section 3.8.5.3; of "first and last day" the last days."""
    row = next(each for each in read("recurrence.csv") if each["name"] == name)
    wanted = [date.fromisoformat(text) for text in row["expected_dates"].split()]
    if rule.on == "-1":
        wanted = [day for day in wanted if (day + timedelta(days=1)).day == 1]
    assert list(rule.until(wanted[-1])) == wanted


def test_the_31st_is_kept_through_short_months():
    rule = FixedDates(1, date(2026, 1, 31))
    assert [day.isoformat() for day in rule.until(date(2026, 6, 30))] == [
        *("2026-01-31", "2026-02-28", "2026-03-31", "2026-04-30", "2026-05-31", "2026-06-30")
    ]
    assert rule.reason == Reason(FixedRule.DAY_OR_LAST, {"day": 31, "every": Reason(FixedRule.EVERY_MONTH)})


def test_a_missed_fixed_date_stays_due_and_a_late_close_moves_nothing():
    rule = FixedDates(1, date(2026, 1, 15))
    missed = next_fixed(rule, kept=date(2026, 2, 15), not_before=date(2026, 1, 1), window_after_days=7)
    assert (missed.due_on, missed.closes_on, missed.by) == (date(2026, 3, 15), date(2026, 3, 22), "date")
    assert missed.reason == Reason(DueRule.FIXED_DATE, {"rule": rule.reason})
    assert rule.reason == Reason(FixedRule.DAY, {"day": 15, "every": Reason(FixedRule.EVERY_MONTH)})
    # Whenever the one of 15 March is closed, the next is that of 15 April.
    assert next_fixed(rule, kept=date(2026, 3, 15), not_before=date(2026, 1, 1)).due_on == date(2026, 4, 15)


def test_of_the_dates_in_a_spell_out_of_service_the_last_is_asked_for():
    rule = FixedDates(1, date(2026, 1, 15))
    told = {"kept": date(2026, 2, 15), "not_before": date(2026, 1, 1)}
    assert next_fixed(rule, resting_until=date(2026, 6, 1), **told).due_on == date(2026, 5, 15)
    assert next_fixed(rule, resting_until=date(2026, 3, 1), **told).due_on == date(2026, 3, 15)


@given(
    months=st.integers(1, 24),
    from_on=days,
    on=st.sampled_from(["", "-1", "1MO", "2TU", "3WE", "4SU", "-1FR", "-1MO"]),
    after=st.integers(0, 3000),
)
@settings(deadline=None, max_examples=60)
def test_walking_from_date_to_date_misses_none_and_repeats_none(months, from_on, on, after):
    rule = FixedDates(months, from_on, on)
    until = from_on + timedelta(days=after)
    walked, kept = [], None
    while (due := next_fixed(rule, kept=kept, not_before=from_on)).due_on <= until:
        walked.append(due.due_on)
        kept = due.fixed_on
    assert tuple(walked) == rule.until(until)
    assert len({(day.year, day.month) for day in walked}) == len(walked)
    assert all((12 * (b.year - a.year) + b.month - a.month) == months for a, b in itertools.pairwise(walked))


@pytest.mark.parametrize("zone", ["Europe/Berlin", "Australia/Perth", "America/New_York"])
def test_a_fixed_date_is_late_from_local_midnight_on_both_sides_of_the_clock_change(zone):
    # The last Sundays of March and October, when European clocks change; a day of 23 h and one of 25 h.
    for day in FixedDates(1, date(2026, 1, 1), "-1SU").until(date(2026, 12, 31)):
        begins = overdue_from(day, ZoneInfo(zone)).astimezone(ZoneInfo(zone))
        assert (begins.date(), begins.hour) == (day + timedelta(days=1), 0)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: FixedDates(0, DONE), "months is 0; give 1 to 120 months"),
        (lambda: FixedDates(1, DONE, "5MO"), "on is '5MO'; give an nth weekday"),
        (lambda: Shortening(duty=0.01), r"duty is 0.01; give a share of the interval, 0.05 to 1"),
        (lambda: Shortening(season_months=frozenset({13})), "season_months holds 13; give months from 1 to 12"),
    ],
)
def test_wrong_dates_and_shares_of_a_plan_are_named(call, said):
    with pytest.raises(ValueError, match="give") as refused:
        call()
    assert said in str(refused.value)


# --- shortened intervals ----------------------------------------------------------------------------------------------


def test_wet_duty_halves_days_and_hours_alike():
    """Wet and abrasive duties are checked twice as often: common practice, no source."""
    half = Shortening(duty=0.5)
    due = next_due(DONE, interval_days=90, interval_hours=5000, daily_hours=10, shortening=half)
    assert due.due_on == DONE + timedelta(days=45)
    assert due.reason.rule == DueRule.SHORTENED_TO
    assert (due.reason.values["share"], due.reason.values["what"]) == (50, "due.by_duty")
    assert due.shortened_by == ("duty",)
    hours = next_due(DONE, interval_days=90, interval_hours=500, daily_hours=10, shortening=half)
    assert (hours.due_on, hours.by) == (DONE + timedelta(days=25), "hours")


def test_long_days_shorten_days_and_leave_hours_alone():
    told = {"interval_hours": 500, "daily_hours": 20, "shortening": Shortening(long_day=0.5)}
    assert next_due(DONE, **told).due_on == DONE + timedelta(days=25)
    assert next_due(DONE, interval_days=40, **told).due_on == DONE + timedelta(days=20)


def test_only_the_days_in_the_season_count_double():
    winter = Shortening(season_months=frozenset({12, 1, 2}), season=0.5)
    # From 10 February 18 days of it at 50 % are 36 of 90; the other 54 are days of spring.
    due = next_due(date(2026, 2, 10), interval_days=90, shortening=winter)
    assert due.due_on == date(2026, 2, 10) + timedelta(days=18 + 54)
    assert due.reason.values["shares"] == Reason(
        DueRule.SHARE_OF_DAYS, {"days": 18, "share": 50, "what": "due.by_season"}
    )
    summer = next_due(date(2026, 5, 1), interval_days=90, shortening=winter)
    assert (summer.due_on, summer.shortened_by) == (date(2026, 7, 30), ())


def test_recorded_hours_in_the_season_count_double_too():
    winter = Shortening(season_months=frozenset({1}), season=0.5)
    # 10 h a day from 1 to 31 January count as 620 h; 380 h are 38 days of February and March.
    hours = np.full(31, 10.0) * winter.weights(date(2026, 1, 1), 31, by="hours")
    due = next_due(
        date(2025, 12, 31), interval_hours=1000, hours_since=hours.sum(), as_of=date(2026, 1, 31), daily_hours=10,
        shortening=winter,
    )  # fmt: skip
    assert due.due_on == date(2026, 1, 31) + timedelta(days=38)


shares = st.sampled_from([0.1, 0.25, 0.5, 0.8, 1.0])
shortenings = st.builds(
    Shortening, season_months=st.frozensets(st.integers(1, 12)), season=shares, duty=shares, long_day=shares
)


@given(done=days, interval=st.integers(1, 400), short=shortenings)
@settings(deadline=None)
def test_a_shortened_interval_lies_between_its_strongest_share_and_the_whole(done, interval, short):
    held = days_held(done, interval, short)
    least = min(short.share(month, by="days")[0] for month in range(1, 13))
    assert int(np.ceil(interval * least - 1e-6)) <= held <= interval
    assert days_held(done, interval) == interval
    # Put off by the season nothing: a later start is never due earlier.
    assert done + timedelta(days=held) <= done + timedelta(
        days=1 + days_held(done + timedelta(days=1), interval, short)
    )


@given(done=days, hours=st.integers(10, 3000), daily=st.integers(1, 24), spells=spells, season=shares)
@settings(deadline=None)
def test_a_season_of_all_months_is_a_shorter_interval_in_hours(done, hours, daily, spells, season):
    told = {"daily_hours": daily, "outages": outages_from(done, spells)}
    all_year = Shortening(season_months=frozenset(range(1, 13)), season=season)
    found = next_due(done, interval_hours=hours, shortening=all_year, **told).due_on
    # The day-by-day way against the closed form of an interval that is shorter from the start.
    assert found == next_due(done, interval_hours=hours * season, **told).due_on
