"""Local days, months and clocks against computed tables and dateutil."""

import csv
import doctest
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from dateutil.relativedelta import relativedelta
from dateutil.tz import datetime_exists, gettz, resolve_imaginary
from hypothesis import given
from hypothesis import strategies as st

from plant.calc import calendar
from plant.calc.calendar import (
    add_months,
    hours_between,
    iso_week_label,
    local_day_bounds,
    local_month_bounds,
    months_between,
    overdue_from,
    resolve_wall_time,
)
from tests.reference.calendar import MONTHS_FROM_ANCHOR, OVERDUE, WALL_TIMES, YEARS_OF_53_WEEKS

REFERENCE = Path(__file__).parents[2] / "reference"
BERLIN = ZoneInfo("Europe/Berlin")
# Clocks that jump at midnight (Beirut, Havana), by half an hour (Lord Howe), over a whole day (Apia, December 2011).
ZONES = [
    ZoneInfo(name)
    for name in (
        "Europe/Berlin",
        "America/New_York",
        "Australia/Lord_Howe",
        "Asia/Beirut",
        "America/Havana",
        "Pacific/Apia",
    )
]
days = st.dates(date(2000, 1, 1), date(2035, 12, 31))
zones = st.sampled_from(ZONES)


def rows(name):
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def utc(text):
    return datetime.fromisoformat(text)


def bounds_of(row):
    zone = ZoneInfo(row["zone"])
    if row["what"] == "local day":
        return local_day_bounds(date.fromisoformat(row["local_start"]), zone)
    if row["what"] == "local month":
        year, month = row["local_start"].split("-")
        return local_month_bounds(int(year), int(month), zone)
    # A night shift from 22:00 to 06:00 on the clock.
    evening = datetime.fromisoformat(row["local_start"])
    (start,) = resolve_wall_time(evening, zone).candidates
    (end,) = resolve_wall_time(evening + timedelta(hours=8), zone).candidates
    return start, end


def test_examples():
    assert doctest.testmod(calendar).failed == 0


@pytest.mark.parametrize("row", rows("local_time.csv"), ids=lambda r: f"{r['what']} {r['zone']} {r['local_start']}")
def test_local_days_months_and_shifts(row):
    start, end = bounds_of(row)
    assert (start, end) == (utc(row["start_utc"]), utc(row["end_utc"]))
    assert hours_between(start, end) == float(row["hours"])
    zone = ZoneInfo(row["zone"])
    # The same two instants on the plant's clock: a subtraction there would not see the jump.
    assert hours_between(start.astimezone(zone), end.astimezone(zone)) == float(row["hours"])
    assert start.tzinfo is UTC


@pytest.mark.parametrize(("due", "zone", "instant"), OVERDUE)
def test_overdue_begins_at_the_plant_s_midnight(due, zone, instant):
    assert overdue_from(date.fromisoformat(due), ZoneInfo(zone)) == utc(instant)


@given(days, zones)
def test_days_follow_each_other_without_gap(day, zone):
    start, end = local_day_bounds(day, zone)
    assert end == local_day_bounds(day + timedelta(days=1), zone)[0]
    # Apia had no 30 December 2011.
    assert end - start in {timedelta(hours=h) for h in (0, 23, 23.5, 24, 24.5, 25)}
    if end > start:
        assert start.astimezone(zone).date() == day
        assert (end - timedelta(seconds=1)).astimezone(zone).date() == day
        assert (start - timedelta(seconds=1)).astimezone(zone).date() < day


@given(st.integers(2000, 2035), st.integers(1, 12), zones)
def test_months_are_made_of_their_days(year, month, zone):
    start, end = local_month_bounds(year, month, zone)
    first = date(year, month, 1)
    n_days = (add_months(first, 1) - first).days
    lengths = [hours_between(*local_day_bounds(first + timedelta(days=i), zone)) for i in range(n_days)]
    assert hours_between(start, end) == pytest.approx(sum(lengths))


def test_no_such_month():
    with pytest.raises(ValueError, match="month is 13; give 1 to 12"):
        local_month_bounds(2026, 13, BERLIN)


@pytest.mark.parametrize("row", rows("iso_weeks.csv"), ids=lambda r: r["date"])
def test_iso_week_dates(row):
    assert iso_week_label(date.fromisoformat(row["date"])) == row["iso_week_date"]


def test_years_of_53_weeks():
    # 28 December always lies in the last week of its ISO year.
    assert [y for y in range(2000, 2041) if iso_week_label(date(y, 12, 28))[6:8] == "53"] == YEARS_OF_53_WEEKS


@given(days)
def test_iso_week_dates_are_read_back(day):
    assert datetime.strptime(iso_week_label(day), "%G-W%V-%u").date() == day  # noqa: DTZ007


@pytest.mark.parametrize(("anchor", "n", "expected"), MONTHS_FROM_ANCHOR)
def test_months_are_counted_from_the_anchor(anchor, n, expected):
    assert add_months(date.fromisoformat(anchor), n) == date.fromisoformat(expected)


@given(days, st.integers(-300, 300))
def test_months_agree_with_dateutil(anchor, n):
    assert add_months(anchor, n) == anchor + relativedelta(months=n)


def test_a_year_beyond_the_calendar_is_refused():
    with pytest.raises(ValueError, match="is in the year 10000; give a year from 1 to 9999"):
        add_months(date(9999, 12, 1), 1)


@pytest.mark.parametrize(("reading", "kind", "first", "second"), WALL_TIMES)
def test_clock_readings_that_are_missing_or_doubled(reading, kind, first, second):
    wall = resolve_wall_time(datetime.fromisoformat(reading), BERLIN)
    assert (wall.kind, wall.candidates) == (kind, (utc(first), utc(second)))


def test_a_missing_reading_shows_an_hour_more():
    wall = resolve_wall_time(datetime(2026, 3, 29, 2, 30), BERLIN)  # noqa: DTZ001
    assert wall.candidates[0].astimezone(BERLIN).strftime("%H:%M") == "03:30"


def test_a_reading_with_a_zone_is_refused():
    with pytest.raises(ValueError, match="has a zone already"):
        resolve_wall_time(datetime(2026, 3, 29, tzinfo=UTC), BERLIN)


@given(st.datetimes(datetime(2000, 1, 1), datetime(2030, 12, 31)), zones)  # noqa: DTZ001
def test_clock_readings_agree_with_dateutil(reading, zone):
    wall = resolve_wall_time(reading, zone)
    theirs = reading.replace(tzinfo=gettz(zone.key), fold=0)
    assert (wall.kind == "missing") == (not datetime_exists(theirs))
    assert wall.candidates[0] == resolve_imaginary(theirs).astimezone(UTC)
    if wall.kind != "missing":
        assert all(c.astimezone(zone).replace(tzinfo=None, fold=0) == reading for c in wall.candidates)


def test_months_that_overlap_a_period():
    def starts(a, b):
        return [month.isoformat()[:7] for month in months_between(a, b, BERLIN)]

    assert starts(date(2026, 1, 15), date(2026, 4, 1)) == ["2026-01", "2026-02", "2026-03"]
    # 23:30Z on 31 March is April on the plant's clock.
    assert starts(utc("2026-03-31T23:30Z"), utc("2026-03-31T23:45Z")) == ["2026-04"]
    assert starts(utc("2026-03-31T22:00Z"), utc("2026-04-30T22:00Z")) == ["2026-04"]
    assert starts(date(2026, 4, 1), date(2026, 4, 1)) == []
    assert starts(date(2026, 5, 1), date(2026, 4, 1)) == []
    assert len(starts(date(2023, 12, 1), date(2026, 12, 1))) == 36


def test_an_instant_needs_a_zone():
    with pytest.raises(ValueError, match="has no zone"):
        hours_between(datetime(2026, 1, 1), datetime(2026, 1, 2, tzinfo=UTC))  # noqa: DTZ001
    with pytest.raises(ValueError, match="has no zone"):
        list(months_between(datetime(2026, 1, 1), date(2026, 2, 1), BERLIN))  # noqa: DTZ001
