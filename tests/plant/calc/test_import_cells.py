"""What cells mean: units, decimal marks, date orders and clock changes, with refusals that say what to write."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from plant.calc.import_cells import read_cell, with_point
from plant.calc.import_columns import Column, ColumnKind, FileReading, match_columns
from plant.calc.import_conventions import decide_date_order, decide_decimal, decide_midnight
from plant.calc.import_dates import is_time_known
from plant.calc.units import QuantityKind
from plant.words.imports import import_words
from tests.plant.refusals import refused_with

TAG = Column("conveyor", "conveyor", ColumnKind.CONVEYOR, aliases=("tag", "belt"), required=True)
WIDTH = Column("belt_width_mm", "belt width", ColumnKind.QUANTITY, ("width",), quantity=QuantityKind.LENGTH_MM)
LIFT = Column("lift_m", "lift", ColumnKind.QUANTITY, quantity=QuantityKind.DISTANCE_M, allow_negative=True)
WHEN = Column("happened_at", "when", ColumnKind.MOMENT, required=True)
STRAND = Column("strand", "strand", ColumnKind.CHOICE, choices={"carry": ("top",), "return": ("bottom", "ret")})
LOADED = Column(
    "was_loaded", "belt was loaded", ColumnKind.YES_NO, choices={"yes": ("loaded", "full"), "no": ("empty", "unloaded")}
)
UTC = dt.UTC
# A workbook keeps 10:00 as a day count that comes back a hair early, and knows no zone.
SPREADSHEET_TEN = dt.datetime(2026, 3, 1, 9, 59, 59, 999_800)  # noqa: DTZ001

# What spreadsheets and data bases write where something has no end; half a second more lies in no calendar.
NO_END = dt.datetime(9999, 12, 31, 23, 59, 59, 999_000)  # noqa: DTZ001


def test_columns_are_found_by_other_names_and_heads_give_units():
    heads = ["Belt", "Width [in]", "remark"]
    assert match_columns(heads, [TAG, WIDTH]) == ({"conveyor": 0, "belt_width_mm": 1}, {"belt_width_mm": "in"}, {})
    assert match_columns(["tag", "width_mm"], [TAG, WIDTH])[1] == {"belt_width_mm": "mm"}
    assert match_columns(["belt_width_mm"], [WIDTH])[1] == {"belt_width_mm": "mm"}
    assert match_columns(["Width [kg]"], [WIDTH])[1] == {}  # not a unit of a length


def test_a_number_of_the_other_decimal_mark_names_both_ways_out():
    with refused_with("or choose comma as the decimal mark of the file"):
        with_point("21,5", "point")


DAY_ONLY = Column("happened_at", "when", ColumnKind.MOMENT, required=True, time_flag="time_is_known")


@pytest.mark.parametrize(
    ("cell", "midnight", "known"),
    [
        ("2026-03-01", "time", False),
        ("2026-03-01 14:30", "time", True),
        ("2026-03-01 00:00", "time", True),
        ("2026-03-01 00:00", "day", False),
        ("2026-03-01 00:00:01", "day", True),
        ("2026-03-01T00:00+01:00", "day", True),  # an offset is written by who keeps times
        (dt.datetime(2026, 3, 1), "day", False),  # noqa: DTZ001 - a workbook knows no zone
        (dt.datetime(2026, 3, 1), "time", True),  # noqa: DTZ001
        (dt.datetime(2026, 3, 1, 9), "day", True),  # noqa: DTZ001
        (dt.date(2026, 3, 1), "time", False),
    ],
)
def test_whether_the_time_of_day_is_written(cell, midnight, known):
    reading = FileReading(time_zone="Europe/Berlin", midnight=midnight)
    assert is_time_known(cell, reading) is known
    assert read_cell(cell, DAY_ONLY, reading).astimezone(ZoneInfo("Europe/Berlin")).date() == dt.date(2026, 3, 1)


# Clocks of Cairo were put forward at 00:00 on 24 April 2026 and those of Havana back to 00:00 on 1 November 2026, by
# the time zone data base (tzdata 2026a, files africa and northamerica; from memory, and held by the assertions).
@pytest.mark.parametrize(
    ("zone", "day", "first"),
    [("Africa/Cairo", "2026-04-24", "01:00"), ("America/Havana", "2026-11-01", "00:00")],
)
def test_a_day_begins_where_its_clock_begins_also_where_midnight_is_skipped_or_comes_twice(zone, day, first):
    tz = ZoneInfo(zone)
    begins = read_cell(day, DAY_ONLY, FileReading(time_zone=zone))
    assert f"{begins.astimezone(tz):%Y-%m-%d %H:%M}" == f"{day} {first}"
    assert (begins - dt.timedelta(seconds=1)).astimezone(tz).date() < begins.astimezone(tz).date()
    with refused_with(r"did not exist|came twice"):
        read_cell(f"{day} 00:00", DAY_ONLY, FileReading(time_zone=zone))


def test_a_day_without_a_time_is_a_day_of_the_plant_whatever_clock_the_file_has():
    reading = FileReading(time_zone="Asia/Tokyo", plant_zone="Europe/Berlin")
    assert read_cell("2026-03-01", DAY_ONLY, reading) == dt.datetime(2026, 2, 28, 23, tzinfo=UTC)
    assert read_cell("2026-03-01 10:00", DAY_ONLY, reading) == dt.datetime(2026, 3, 1, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        (["2026-03-01 00:00"] * 3, "day"),
        (["01/03/2026 00:00:00", "2026-03-02T00:00:00.000", "2.3.2026 0:00", "2026-03-04", ""], "day"),
        (["2026-03-01 00:00"] * 2, "time"),
        (["2026-03-01 00:00"] * 9 + ["2026-03-01 10:00"], "time"),
        (["2026-03-01T00:00+01:00"] * 3, "time"),
        (["2026-03-01"] * 9, "time"),
        (["2026-03-01 12:00 AM"] * 3, "time"),
    ],
)
def test_an_export_whose_times_are_all_midnight_kept_no_times(texts, value):
    assert decide_midnight(texts).value == value


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("Yes", True), ("TRUE", True), ("1", True), ("x", True), ("loaded", True), ("Full", True),
        ("no", False), ("0", False), ("empty", False), ("Unloaded", False),
        ("", None), ("?", None), ("not  known", None), ("n/a", None), ("-", None),
    ],
)  # fmt: skip
def test_words_for_yes_and_no(text, answer):
    assert read_cell(text, LOADED, FileReading()) is answer


@pytest.mark.parametrize("text", ["half", "none", "null", "yes?", "loaded?", "2", "maybe", "full load", "#N/A"])
def test_words_that_say_neither_are_refused_with_those_that_do(text):
    with refused_with("is neither yes nor no") as refusal:
        read_cell(text, LOADED, FileReading())
    words = "Write yes or loaded or full; no or empty or unloaded; or leave the cell empty where nobody knows."
    assert refusal.said == f"“{text}” is neither yes nor no. {words}"


def test_prose_where_a_number_or_a_date_is_expected_is_refused_by_its_length():
    for column in (WIDTH, Column("when", "when", ColumnKind.MOMENT)):
        with refused_with(f"The cell has 5,000 characters, which is no {column.label}"):
            read_cell("9" * 5000, column, FileReading())


def test_two_columns_for_one_field_are_asked_back():
    matched, _units, doubts = match_columns(["Tag (column A)", "tag (column B)"], [TAG])
    assert matched == {}
    assert {name: import_words(each) for name, each in doubts.items()} == {
        "conveyor": "Two columns may be the conveyor: “Tag (column A)” and “tag (column B)”. Choose one of them."
    }


@pytest.mark.parametrize(
    ("texts", "value", "asked"),
    [
        (["25/11/2026", "1/2/2026"], "dmy", False),
        (["11/25/2026", "1/2/2026"], "mdy", False),
        (["1/2/2026", "3/4/2026"], "", True),
        (["25/11/2026", "11/25/2026"], "", True),
        (["2026-11-25", "1.2.2026", "5/5/2026"], "dmy", False),
    ],
)
def test_the_order_of_day_and_month_is_told_from_the_data_or_asked(texts, value, asked):
    decision = decide_date_order(texts)
    assert (decision.value, decision.is_needed) == (value, asked)
    if asked:
        assert "Choose" in import_words(decision.reason)


@pytest.mark.parametrize(
    ("texts", "value", "asked"),
    [
        (["1.5", "12"], "point", False),
        (["1,5", "12"], "comma", False),
        (["1.234,5"], "comma", False),
        (["1,234.5", "1,200"], "point", False),
        (["1,234,567"], "point", False),
        (["1,234"], "", True),
        (["1,5", "1.5"], "", True),
        (["43 1/4"], "point", False),
        (["1,150 1/2"], "point", False),
        (["1.5", "1,150-1/2"], "point", False),
        (["1,5", "1.150 1/2"], "comma", False),
        (["1,5", "1,150 1/2"], "", True),
    ],
)
def test_the_decimal_mark_is_told_from_the_data_or_asked(texts, value, asked):
    decision = decide_decimal(texts)
    assert (decision.value, decision.is_needed) == (value, asked)


@pytest.mark.parametrize(
    ("cell", "reading", "wanted"),
    [
        ("1200", FileReading(), 1200.0),
        (1200.5, FileReading(decimal="comma"), 1200.5),  # a number of a workbook has no mark
        ("1.200,5", FileReading(decimal="comma"), 1200.5),
        ("1,200.5", FileReading(), 1200.5),
        ("1 200", FileReading(), 1200.0),
        ("1'200", FileReading(), 1200.0),
        ("47 1/4", FileReading(units={"belt_width_mm": "in"}), 1200.15),  # 47.25 x 25.4 by hand
        ("1200 mm", FileReading(units={"belt_width_mm": "in"}), 1200.0),  # the unit in the cell wins
        ('43 1/4"', FileReading(), 1098.55),
        (1.2e3, FileReading(), 1200.0),
        ("1.2E3", FileReading(), 1200.0),
        ("", FileReading(), None),
        ("n/a", FileReading(), None),
    ],
)
def test_lengths_are_read_in_their_units(cell, reading, wanted):
    assert read_cell(cell, WIDTH, reading) == (wanted if wanted is None else pytest.approx(wanted, rel=1e-12))


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("Bad", "a logger writes"),
        ("NaN", "a logger writes"),
        ("-9999", "a logger writes"),
        (-9999, "a logger writes"),
        ("#REF!", "error of the spreadsheet"),
        ("-12", "negative"),
        ("1,23", "decimal point"),
        ("12 kg", "not a unit of length"),
        ("wide", "no number"),
        (dt.date(2026, 3, 1), "is a date"),
    ],
)
def test_what_is_no_length_is_refused_with_what_stands_there(cell, words):
    with refused_with(words):
        read_cell(cell, WIDTH, FileReading())


@pytest.mark.parametrize(("cell", "hours"), [("21:30", 21.5), (dt.timedelta(hours=30.25), 30.25), ("21.5", 21.5)])
def test_hours_may_be_written_as_a_clock_shows_them(cell, hours):
    assert (
        read_cell(cell, Column("running_h", "h", ColumnKind.QUANTITY, quantity=QuantityKind.HOURS), FileReading())
        == hours
    )


def test_a_lift_may_be_negative():
    assert read_cell("-12.5", LIFT, FileReading()) == -12.5


@pytest.mark.parametrize(
    ("cell", "reading", "wanted"),
    [
        ("2026-03-01T10:15:00Z", FileReading(time_zone="Europe/Berlin"), dt.datetime(2026, 3, 1, 10, 15, tzinfo=UTC)),
        ("2026-03-01 10:15", FileReading(time_zone="Europe/Berlin"), dt.datetime(2026, 3, 1, 9, 15, tzinfo=UTC)),
        ("2026-03-01T10:15+02:00", FileReading(), dt.datetime(2026, 3, 1, 8, 15, tzinfo=UTC)),
        ("3/4/2026 2:05 PM", FileReading(date_order="mdy"), dt.datetime(2026, 3, 4, 14, 5, tzinfo=UTC)),
        ("3/4/2026 14:05", FileReading(), dt.datetime(2026, 4, 3, 14, 5, tzinfo=UTC)),
        ("03.04.2026", FileReading(date_order="mdy"), dt.datetime(2026, 4, 3, tzinfo=UTC)),
        ("3 Dec 2026 06:00", FileReading(), dt.datetime(2026, 12, 3, 6, tzinfo=UTC)),
        ("Dec 3, 2026", FileReading(), dt.datetime(2026, 12, 3, tzinfo=UTC)),
        ("1851-03-15T22:46:11Z", FileReading(), dt.datetime(1851, 3, 15, 22, 46, 11, tzinfo=UTC)),
        (SPREADSHEET_TEN, FileReading(), dt.datetime(2026, 3, 1, 10, tzinfo=UTC)),
    ],
)
def test_times_of_all_spellings_become_utc(cell, reading, wanted):
    assert read_cell(cell, WHEN, reading) == wanted


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("25/13/2026", "no date with day before month"),
        ("1/2/26", "Write the year with four"),
        ("45321.5", "count of days"),
        ("yesterday", "not a date"),
        ("2026-03-01 25:00", "not a time of day"),
        (NO_END, "“9999-12-31 23:59:59” is out of a book's reach"),
        ("", "needed in every row"),
    ],
)
def test_what_is_no_time_is_refused(cell, words):
    with refused_with(words):
        read_cell(cell, WHEN, FileReading())


def test_the_doubled_hour_is_asked_back_with_both_readings():
    """Clocks in Berlin went from 03:00 summer time to 02:00 winter time on 25 October 2026 (IANA time zone data)."""
    berlin = FileReading(time_zone="Europe/Berlin")
    with refused_with(r"came twice.*2026-10-25T02:30\+02:00.*2026-10-25T02:30\+01:00"):
        read_cell("2026-10-25 02:30", WHEN, berlin)
    earlier = FileReading(time_zone="Europe/Berlin", doubled="earlier")
    later = FileReading(time_zone="Europe/Berlin", doubled="later")
    assert read_cell("2026-10-25 02:30", WHEN, earlier) == dt.datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert read_cell("2026-10-25 02:30", WHEN, later) == dt.datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    assert read_cell("2026-10-25T02:30+01:00", WHEN, berlin) == dt.datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_the_missing_hour_is_refused_with_both_readings():
    """Clocks in Berlin went from 02:00 to 03:00 on 29 March 2026."""
    with refused_with(r"did not exist.*T03:30\+02:00.*T01:30\+01:00"):
        read_cell("2026-03-29 02:30", WHEN, FileReading(time_zone="Europe/Berlin", doubled="later"))


def test_words_of_the_trade_become_codes_and_others_get_the_list():
    assert read_cell("Bottom", STRAND, FileReading()) == "return"
    assert read_cell("CARRY", STRAND, FileReading()) == "carry"
    with refused_with(r"Write one of: carry, return\. Did you mean return\?"):
        read_cell("retrn", STRAND, FileReading())
