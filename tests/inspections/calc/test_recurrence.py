"""Rules of RFC 5545: every range of the standard, the same dates as a reference library, an end to every search."""

from __future__ import annotations

import contextlib
import datetime as datetime_module
import itertools
from datetime import date, datetime, time, timedelta
from time import process_time
from types import SimpleNamespace
from unittest import mock

import pytest
from dateutil.rrule import rrulestr
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.calc.fixed_dates import fixed_dates
from inspections.calc.recurrence import DAYS, FORBIDDEN, FREQUENCIES, LISTS, dates_of, read_rule

START = date(2026, 1, 1)

# RFC 5545, 3.3.10: numbers outside the ranges of its grammar, parts that it rules out with a frequency, parts given
# twice; and what it leaves open. Read in the standard's text of 2009, from memory where no number is given there.
REFUSED = [
    ("FREQ=DAILY;BYMONTHDAY=0", "BYMONTHDAY=0; give numbers from 1 to 31, or -1 to -31 from the end"),
    ("FREQ=MONTHLY;BYMONTHDAY=1,32", "BYMONTHDAY=1,32; give numbers from 1 to 31"),
    ("FREQ=YEARLY;BYYEARDAY=0", "BYYEARDAY=0; give numbers from 1 to 366"),
    ("FREQ=YEARLY;BYYEARDAY=-367", "BYYEARDAY=-367; give numbers from 1 to 366"),
    ("FREQ=YEARLY;BYWEEKNO=54;BYDAY=MO", "BYWEEKNO=54; give numbers from 1 to 53"),
    ("FREQ=YEARLY;BYMONTH=13", "BYMONTH=13; give numbers from 1 to 12"),
    ("FREQ=YEARLY;BYMONTH=-1", "BYMONTH=-1; give numbers from 1 to 12"),
    ("FREQ=MONTHLY;BYDAY=MO;BYSETPOS=0", "BYSETPOS=0; give numbers from 1 to 366"),
    ("FREQ=MONTHLY;BYDAY=0MO", "BYDAY=0MO, which cannot be read"),
    ("FREQ=YEARLY;BYDAY=54MO", "BYDAY=54MO, which cannot be read"),
    ("FREQ=MONTHLY;BYDAY=", "BYDAY=, which cannot be read"),
    ("FREQ=MONTHLY;BYMONTHDAY=1,", "BYMONTHDAY=1,; give numbers"),
    ("FREQ=MONTHLY;BYMONTHDAY=٣", "BYMONTHDAY=٣; give numbers"),
    ("FREQ=DAILY;INTERVAL=1_0", "INTERVAL=1_0; give a whole number"),
    ("FREQ=DAILY;COUNT=²", "COUNT=²; give a whole number"),
    ("FREQ=WEEKLY;BYMONTHDAY=3", "BYMONTHDAY with FREQ=WEEKLY, which RFC 5545 rules out"),
    ("FREQ=DAILY;BYYEARDAY=3", "BYYEARDAY with FREQ=DAILY"),
    ("FREQ=MONTHLY;BYWEEKNO=3;BYDAY=MO", "BYWEEKNO with FREQ=MONTHLY"),
    ("FREQ=WEEKLY;BYDAY=2MO", "BYDAY=2MO with FREQ=WEEKLY; give weekdays without a number"),
    ("FREQ=DAILY;BYDAY=-1FR", "BYDAY=-1FR with FREQ=DAILY"),
    ("FREQ=YEARLY;BYWEEKNO=20;BYDAY=1MO", "BYDAY=1MO with BYWEEKNO"),
    ("FREQ=YEARLY;BYWEEKNO=20", "BYWEEKNO without a day"),
    ("FREQ=MONTHLY;BYSETPOS=1", "BYSETPOS alone"),
    ("FREQ=MONTHLY;BYMONTHDAY=1;BYMONTHDAY=2", "BYMONTHDAY twice"),
    ("FREQ=DAILY;", "the part ''"),
    ("FREQ=WEEKLY;WKST=XX", "WKST=XX; give one of MO"),
    ("FREQ=DAILY;UNTIL=tomorrow", "UNTIL=TOMORROW; give a day such as"),
    ("FREQ=DAILY;UNTIL=20260231", "UNTIL=20260231; give a day such as"),
    ("FREQ=DAILY;UNTIL=2026-02-01", "UNTIL=2026-02-01; give a day such as"),
]


@pytest.mark.parametrize(("text", "said"), REFUSED)
def test_what_the_standard_rules_out_is_refused_with_what_to_give(text, said):
    with pytest.raises(ValueError, match=r"give|leave") as refused:
        fixed_dates(START, rule=text, until=date(2026, 12, 31))
    assert said in str(refused.value)


@pytest.mark.parametrize(
    "text",
    [
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=31",
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=MONTHLY;BYDAY=6MO",
        "FREQ=MONTHLY;BYDAY=MO;BYSETPOS=6",
        "FREQ=DAILY;INTERVAL=7;BYDAY=MO",  # from a Thursday
        "FREQ=YEARLY;INTERVAL=4;BYMONTH=2;BYMONTHDAY=29",  # from a year two after a leap year
        "FREQ=YEARLY;BYYEARDAY=366;BYMONTH=3",
    ],
)
def test_days_that_never_come_are_refused_at_once(text):
    """A library that looks for them to the year 9999 takes seconds."""
    begun = process_time()
    with pytest.raises(ValueError, match="brings no date in 40 years from 2026-01-01; give days that exist"):
        fixed_dates(START, rule=text, until=date(2030, 1, 1))
    assert process_time() - begun < 2


def test_a_rare_day_is_no_day_that_never_comes():
    monday = "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29;BYDAY=MO"
    assert fixed_dates(START, rule=monday, until=date(2030, 1, 1)) == ()
    assert fixed_dates(START, rule=monday, until=date(2049, 1, 1)) == (date(2044, 2, 29),)
    # 29 February 1888 and 1928 were Wednesdays with none between: the longest wait, as 1900 was no leap year.
    waits = "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29;BYDAY=WE"
    assert fixed_dates(date(1888, 3, 1), rule=waits, until=date(1889, 1, 1)) == ()
    assert fixed_dates(date(1888, 3, 1), rule=waits, until=date(1928, 12, 31)) == (date(1928, 2, 29),)
    assert fixed_dates(START, rule="FREQ=DAILY;UNTIL=20250101", until=date(2030, 1, 1)) == ()


def test_until_as_a_day_holds_to_its_end_and_as_a_time_to_that_time():
    nine = datetime.combine(date(2026, 2, 1), time(9))
    assert len(fixed_dates(nine, rule="FREQ=DAILY;UNTIL=20260203", until=date(2026, 3, 1))) == 3
    assert len(fixed_dates(nine, rule="FREQ=DAILY;UNTIL=20260203T085959", until=date(2026, 3, 1))) == 2


def test_the_ends_of_the_calendar():
    assert fixed_dates(date(9999, 12, 30), rule="FREQ=DAILY", until=date.max) == (date(9999, 12, 30), date.max)
    assert fixed_dates(date(9999, 12, 31), rule="FREQ=WEEKLY;WKST=SU", until=date.max) == (date.max,)
    assert fixed_dates(date.min, rule="FREQ=WEEKLY;BYDAY=MO;WKST=TH", until=date(1, 1, 9)) == (
        date(1, 1, 1),
        date(1, 1, 8),
    )
    assert fixed_dates(date(9999, 1, 1), rule="FREQ=YEARLY;BYWEEKNO=-1;BYDAY=FR", until=date.max) == (
        date(9999, 1, 1),  # the last week of 9998
        date.max,
    )


# --- against a reference library --------------------------------------------------------------------------------------
def numbers(most: int, *, from_the_end: bool) -> st.SearchStrategy[str]:
    """Up to three numbers, as often as not small."""
    one = st.one_of(st.integers(1, min(most, 5)), st.integers(1, most))
    if from_the_end:
        one = st.tuples(one, st.sampled_from((1, 1, -1))).map(lambda pair: pair[0] * pair[1])
    return st.lists(one, min_size=1, max_size=3, unique=True).map(lambda those: ",".join(map(str, those)))


@st.composite
def rules(draw):
    """Rules that the standard allows, of every frequency, with up to four of the parts that go with it."""
    freq = draw(st.sampled_from(FREQUENCIES))
    parts = {"FREQ": freq, "INTERVAL": str(draw(st.sampled_from((1, 1, 1, 2, 3, 7))))}
    for name, (most, from_the_end) in LISTS.items():
        if name not in FORBIDDEN[freq] and name != "BYSETPOS" and draw(st.integers(0, 3)) == 0:
            parts[name] = draw(numbers(most, from_the_end=from_the_end))
    if "BYWEEKNO" in parts or draw(st.booleans()):
        days = draw(st.lists(st.sampled_from(DAYS), min_size=1, max_size=3, unique=True))
        if freq in ("MONTHLY", "YEARLY") and "BYWEEKNO" not in parts and draw(st.booleans()):
            most = 5 if freq == "MONTHLY" or "BYMONTH" in parts else 53
            days = [f"{draw(st.integers(1, most)) * draw(st.sampled_from((1, -1)))}{day}" for day in days]
        parts["BYDAY"] = ",".join(days)
    parts["WKST"] = draw(st.sampled_from(DAYS))
    # In a week that begins before the start the library picks from the days left; we pick from the whole week.
    if freq in ("MONTHLY", "YEARLY") and len(parts) > 3 and draw(st.integers(0, 3)) == 0:
        parts["BYSETPOS"] = draw(numbers(6, from_the_end=True))
    if draw(st.integers(0, 3)) == 0:
        parts["COUNT"] = str(draw(st.integers(1, 9)))
    return ";".join(f"{name}={value}" for name, value in parts.items())


def by_the_library(text: str, start: date, last: date) -> tuple[date, ...]:
    """dateutil 2.9.0.post0, told that the calendar ends with the year of the last day, so that its search ends too."""
    ending = SimpleNamespace(**{**vars(datetime_module), "MAXYEAR": last.year})
    with mock.patch("dateutil.rrule.datetime", ending):
        found = rrulestr(text, dtstart=datetime.combine(start, datetime.min.time()))
        return tuple(itertools.takewhile(lambda day: day <= last, (moment.date() for moment in found)))


@settings(max_examples=400, deadline=None)
@given(rules(), st.dates(date(1995, 1, 1), date(2040, 12, 31)), st.integers(0, 1500))
def test_the_same_dates_as_the_reference_library(text, start, length):
    last = start + timedelta(days=length)
    assert tuple(dates_of(read_rule(text), start, last=last)) == by_the_library(text, start, last)


@settings(max_examples=200, deadline=None)
@given(st.text(st.sampled_from("FREQ=MONTHLYBDASUIK;,+-0123456789 "), max_size=40) | rules())
def test_any_text_is_read_or_refused_with_what_to_give(text):
    with contextlib.suppress(ValueError):
        read_rule(text)
        return
    with pytest.raises(ValueError, match=r"; give|; leave|, leave"):
        read_rule(text)
