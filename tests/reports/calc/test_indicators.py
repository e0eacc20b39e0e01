"""Indicators against a month worked by hand."""

import datetime as dt
import json
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from reports.calc.indicators import (
    TaskWindow,
    availability,
    by_age,
    cost_of,
    days_to_close,
    overdue_on,
    schedule_compliance,
)

KNOWN = json.loads((Path(__file__).parents[2] / "reference" / "indicators.json").read_text())
FIRST, LAST = dt.date(2026, 11, 1), dt.date(2026, 11, 30)


def day(text):
    return dt.date.fromisoformat(text) if text else None


@pytest.fixture
def windows():
    """Eight tasks of a month (hand-worked, as indicators.json says)."""
    return [
        TaskWindow(each["id"], day(each["opens"]), day(each["closes"]), day(each["done"]), day(each.get("withdrawn")))
        for each in KNOWN["tasks"]
    ]


def test_schedule_compliance_of_the_worked_month(windows):
    found, expected = schedule_compliance(windows, FIRST, LAST), KNOWN["expected"]
    assert found.share == expected["schedule_compliance"]
    assert list(found.counted) == expected["denominator_ids"]
    assert list(found.on_time) == expected["on_time_ids"]


def test_late_ones_of_the_worked_month(windows):
    """The worked case looks at 00:00 of 1 December: the end of 30 November."""
    late = overdue_on(windows, LAST)
    expected = KNOWN["expected"]["overdue_on_2026-12-01"]
    assert [(each.key, each.days) for each in late] == [(each["id"], each["age_days"]) for each in expected]
    assert [f"{each.since}T00:00Z" for each in late] == [each["since"] for each in expected]
    assert by_age(late) == (0, 1, 0)


def test_actions_of_the_worked_month():
    found = days_to_close([(day(each["opened"]), day(each["closed"])) for each in KNOWN["actions"]], FIRST, LAST)
    expected = KNOWN["expected_actions"]
    assert found.n_closed == expected["closed"]
    assert found.mean_days == pytest.approx(expected["mean_days_to_close"], abs=1e-6)
    assert found.median_days == expected["median_days_to_close"]
    assert (found.n_open, found.oldest_open_days) == (expected["open"], expected["oldest_open_days_on_2026-11-30"])


def test_an_empty_month_is_neither_0_nor_100_percent():
    assert schedule_compliance([], FIRST, LAST).share is None
    empty = days_to_close([], FIRST, LAST)
    assert (empty.median_days, empty.oldest_open_days) == (None, None)
    assert availability([], at(1), at(30), dt.UTC).share is None


def at(day_of_month):
    return dt.datetime(2026, 11, day_of_month, tzinfo=dt.UTC)


def test_availability_counts_an_hour_once_and_only_inside_the_month():
    """Two devices over 20 days; one was out for 5 and 4 days that overlap by 2: 7 of 40 days are lost, by hand."""
    long_ago, far_ahead = at(1) - dt.timedelta(days=400), at(30) + dt.timedelta(days=400)
    places = [
        ((long_ago, far_ahead), [(at(5), at(10)), (at(8), at(12))], long_ago),
        ((long_ago, far_ahead), [(long_ago, at(1))], at(1)),
    ]
    found = availability(places, at(1), at(21), dt.UTC)
    assert (found.in_place_days, found.lost_days, found.unknown_days) == (40, 7, 0)
    assert found.share == pytest.approx(33 / 40)


@pytest.mark.parametrize(("month", "hours"), [(10, 745), (3, 743)])
def test_a_month_whose_clocks_change_has_as_many_days_as_the_calendar_says(month, hours):
    """By the IANA zone data clocks in Berlin go back on 25 October 2026 and forward on 29 March 2026."""
    berlin = ZoneInfo("Europe/Berlin")
    start, end = (dt.datetime(2026, each, 1, tzinfo=berlin).astimezone(dt.UTC) for each in (month, month + 1))
    assert (end - start) / dt.timedelta(hours=1) == hours
    ahead = end + dt.timedelta(days=400)
    third, day = (dt.datetime(2026, month, n, tzinfo=berlin).astimezone(dt.UTC) for n in (3, 4))
    found = availability([((start, ahead), [(third, day), (day, end)], start)], start, end, berlin)
    assert (found.in_place_days, found.lost_days, found.unknown_days) == (31, 29, 0)
    never = availability([((start, ahead), [], None)], start, end, berlin)
    assert (never.share, never.in_place_days, never.unknown_days) == (None, 31, 31)


def test_a_device_is_not_known_to_be_sound_before_its_first_check():
    """Over 20 days: one never checked and 3 days out of service; one checked first on day 11, out on days 9 to 13; one
    fitted on day 16 and checked on day 18. By hand: 17, 8 and 2 days not known, 3 + 4 of the other 18 lost."""
    long_ago, far_ahead = at(1) - dt.timedelta(days=400), at(30) + dt.timedelta(days=400)
    places = [
        ((long_ago, far_ahead), [(at(3), at(6))], None),
        ((long_ago, far_ahead), [(at(9), at(13))], at(11)),
        ((at(16), far_ahead), [], at(18)),
    ]
    found = availability(places, at(1), at(21), dt.UTC)
    assert (found.in_place_days, found.lost_days, found.unknown_days) == (45, 7, 27)
    assert found.share == pytest.approx((45 - 27 - 7) / (45 - 27))
    never = availability([((long_ago, far_ahead), [], None)], at(1), at(21), dt.UTC)
    assert (never.share, never.unknown_days) == (None, 20)


def test_a_cost_that_is_not_given_is_missing_and_not_zero():
    found = cost_of({"hour": 2.5, "tonne": 4.0}, {"hour": 1000.0, "tonne": None})
    assert (found.total, found.missing) == (2500.0, ("tonne",))
    assert cost_of({"hour": 2.5}, {}).total is None
    assert cost_of({"hour": 0.0}, {"hour": None}).missing == ()
