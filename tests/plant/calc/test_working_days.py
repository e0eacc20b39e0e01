"""Holidays as people write them, and the first working day. Weekdays are those of the calendar (ISO 8601, Monday 1)."""

from __future__ import annotations

import datetime as dt

import pytest

from plant.calc.working_days import first_working_day, is_working_day, read_holidays

DATE = dt.date


def test_lines_with_and_without_a_name():
    text = "2026-12-25 Christmas Day\n\n  2027-01-01, New Year's Day \n2027-05-01"
    assert read_holidays(text) == {
        DATE(2026, 12, 25): "Christmas Day",
        DATE(2027, 1, 1): "New Year's Day",
        DATE(2027, 5, 1): "",
    }


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2026-12-25\n25.12.2027 Christmas", "line 2 is “25.12.2027 Christmas”; begin each line with a date"),
        ("2026-02-30 never", "line 1 is “2026-02-30 never”"),
        ("2026-12-25 a\n2026-12-25 b", "line 2 gives 2026-12-25 a second time"),
    ],
)
def test_a_line_that_is_no_holiday_is_named(text, words):
    with pytest.raises(ValueError, match=words):
        read_holidays(text)


@pytest.mark.parametrize(
    ("month", "holidays", "day"),
    [
        (DATE(2026, 11, 17), (), 2),  # the 1st is a Sunday
        (DATE(2026, 8, 17), (), 3),  # the 1st is a Saturday
        (DATE(2026, 10, 1), (), 1),  # a Thursday
        (DATE(2027, 5, 1), (), 3),  # the 1st is a Saturday
        (DATE(2027, 1, 1), (DATE(2027, 1, 1),), 4),  # Friday a holiday, then the weekend
        (DATE(2026, 10, 1), (DATE(2026, 10, 1), DATE(2026, 10, 2)), 5),
    ],
    ids=str,
)
def test_first_working_day(month, holidays, day):
    found = first_working_day(month, set(holidays))
    assert found == month.replace(day=day)
    assert is_working_day(found, set(holidays))
    assert not any(is_working_day(found.replace(day=before), set(holidays)) for before in range(1, found.day))


def test_a_month_of_holidays_is_refused():
    every = {DATE(2026, 2, day) for day in range(1, 29)}
    with pytest.raises(ValueError, match="2026-02 has no working day"):
        first_working_day(DATE(2026, 2, 1), every)
