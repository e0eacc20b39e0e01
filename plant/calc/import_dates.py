"""Dates and times of day in the cells of a sent file.

They lie in the calendar of a book (`plant/calc/moments.py`); nothing here counts from 1970.
"""

from __future__ import annotations

import datetime as dt
import re
from zoneinfo import ZoneInfo

from plant.calc.calendar import local_day_bounds, resolve_wall_time
from plant.calc.import_columns import CellRule, FileReading
from plant.calc.import_rows import Cell, cell_text, to_the_second
from plant.calc.reasons import NotAccepted, Reason


def says_day_only(time: dt.time | None, offset: dt.timedelta | None, reading: FileReading) -> bool:
    """Whether a written moment tells its day alone: no time, or a 00:00 that stands where none was kept.

    Parameters
    ----------
    time, offset : time or None, timedelta or None
        As `read_day_and_time` gives them.
    reading : FileReading
        Says what 00:00 means. With an offset from UTC it is always a time.

    Returns
    -------
    bool
    """
    return time is None or (time == dt.time() and offset is None and reading.midnight == "day")


def is_time_known(cell: Cell, reading: FileReading) -> bool:
    """Whether a cell that `read_cell` reads as a moment tells the time of day, or the day alone.

    Parameters
    ----------
    cell : Cell
        As for `read_cell`.
    reading : FileReading
        The file's conventions.

    Returns
    -------
    bool
    """
    _day, time, offset = read_day_and_time(cell, reading)
    return not says_day_only(time, offset, reading)


def first_instant(day: dt.date, reading: FileReading) -> dt.datetime:
    """The first instant of a day by the plant's clock, which is not 00:00 where clocks are put forward then.

    Parameters
    ----------
    day : date
    reading : FileReading
        Says whose day it is.

    Returns
    -------
    datetime
        In UTC.
    """
    return local_day_bounds(day, ZoneInfo(reading.plant_zone or reading.time_zone))[0]


_MONTH_NAMES = ["january", "february", "march", "april", "may", "june", "july", "august", "september"]
_MONTH_NAMES += ["october", "november", "december"]
_MONTHS = {name[:3]: n for n, name in enumerate(_MONTH_NAMES, start=1)}
_MONTHS |= {name: n for n, name in enumerate(_MONTH_NAMES, start=1)} | {"sept": 9}
_ISO = re.compile(r"^(\d{4})[-/](\d{1,2})[-/](\d{1,2})(?:[T ]+(.*))?$")
_LOCAL = re.compile(r"^(\d{1,2})([/.-])(\d{1,2})\2(\d{2,4})(?:,?[T ]+(.*))?$")
_DAY_NAMED = re.compile(r"^(\d{1,2})[. -]+([A-Za-z]{3,9})\.?[ ,-]+(\d{4})(?:,?[T ]+(.*))?$")
_MONTH_NAMED = re.compile(r"^([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4})(?:,?[T ]+(.*))?$")
_TIME = re.compile(
    r"^(\d{1,2})(?:[:.h](\d{2}))?(?::(\d{2}))?(?:[.,](\d{1,9}))?\s*([ap]\.?m\.?)?\s*(z|utc|[+-]\d{2}:?\d{2})?$",
    re.IGNORECASE,
)


def read_time(text: str) -> dt.time:
    """A time of day without a zone; raises NotAccepted with an example.

    Parameters
    ----------
    text : str
        The cell.
    """
    time, offset = _time_and_offset(text)
    if offset is not None:
        raise _refused(CellRule.ZONE_ELSEWHERE, text=text)
    return time


def _time_and_offset(text: str) -> tuple[dt.time, dt.timedelta | None]:
    match = _TIME.match(text.strip())
    bad = _refused(CellRule.NO_TIME, text=text)
    if not match or (match[2] is None and not match[5]):
        raise bad
    hour = int(match[1])
    if match[5]:
        if not 1 <= hour <= 12:
            raise bad
        hour = hour % 12 + (12 if match[5].lower().startswith("p") else 0)
    try:
        time = dt.time(hour, int(match[2] or 0), int(match[3] or 0), int((match[4] or "0").ljust(6, "0")[:6]))
    except ValueError:
        raise bad from None
    zone = (match[6] or "").lower()
    if not zone:
        return time, None
    if zone in {"z", "utc"}:
        return time, dt.timedelta(0)
    sign = -1 if zone[0] == "-" else 1
    return time, sign * dt.timedelta(hours=int(zone[1:3]), minutes=int(zone[-2:]))


def read_day_and_time(cell: Cell, reading: FileReading) -> tuple[dt.date, dt.time | None, dt.timedelta | None]:
    """Date, time and offset from UTC of a cell, the last two where they are written.

    Parameters
    ----------
    cell : Cell
        Text, or a date of a workbook.
    reading : FileReading
        Says the order of day and month.

    Returns
    -------
    tuple of date, time or None, timedelta or None
        As written.

    Raises
    ------
    NotAccepted
        If it is no date, has a year of two digits, or is a spreadsheet's day count.
    """
    if isinstance(cell, dt.datetime):
        cell = to_the_second(cell)
        return cell.date(), cell.time(), None
    if isinstance(cell, dt.date):
        return cell, None, None
    text = cell_text(cell)
    year, month, day, rest = _day_parts(text, reading)
    try:
        date = dt.date(year, month, day)
    except ValueError:
        is_day_first = reading.date_order == "dmy"
        raise _refused(
            CellRule.NO_DATE_DAY_FIRST if is_day_first else CellRule.NO_DATE_MONTH_FIRST, text=text
        ) from None
    if not rest:
        return date, None, None
    time, offset = _time_and_offset(rest)
    return date, time, offset


def _day_parts(text: str, reading: FileReading) -> tuple[int, int, int, str]:
    if match := _ISO.match(text):
        return int(match[1]), int(match[2]), int(match[3]), match[4] or ""
    if match := _LOCAL.match(text):
        if len(match[4]) != 4:
            raise _refused(CellRule.SHORT_YEAR, text=text, digits=len(match[4]))
        first, second = int(match[1]), int(match[3])
        # Dates with points are written day first wherever they are written.
        day_first = reading.date_order == "dmy" or match[2] == "."
        day, month = (first, second) if day_first else (second, first)
        return int(match[4]), month, day, match[5] or ""
    if (match := _DAY_NAMED.match(text)) and match[2].lower() in _MONTHS:
        return int(match[3]), _MONTHS[match[2].lower()], int(match[1]), match[4] or ""
    if (match := _MONTH_NAMED.match(text)) and match[1].lower() in _MONTHS:
        return int(match[3]), _MONTHS[match[1].lower()], int(match[2]), match[4] or ""
    if re.fullmatch(r"\d{4,5}([.,]\d+)?", text):
        raise _refused(CellRule.DAY_COUNT, text=text)
    raise _refused(CellRule.NO_DATE, text=text)


def to_utc(day: dt.date, time: dt.time, offset: dt.timedelta | None, reading: FileReading, typed: str) -> dt.datetime:
    """The instant of a written date and time.

    Parameters
    ----------
    day, time : date, time
        As written.
    offset : timedelta or None
        Offset from UTC where it is written; it wins over the file's zone.
    reading : FileReading
        Says the zone, and which of two readings of a doubled hour is meant.
    typed : str
        The cell, for the message.

    Returns
    -------
    datetime
        In UTC.

    Raises
    ------
    NotAccepted
        If the hour does not exist in that zone, or came twice and nobody said which is meant; with both readings.
    """
    naive = dt.datetime.combine(day, time)
    try:
        if offset is not None:
            return (naive - offset).replace(tzinfo=dt.UTC)
        zone = ZoneInfo(reading.time_zone)
        found = resolve_wall_time(naive, zone)
    except OverflowError:
        raise _refused(CellRule.OUT_OF_CALENDAR, text=typed) from None
    first, last = found.candidates[0], found.candidates[-1]
    if found.kind == "plain":
        return first
    both = [each.astimezone(zone).isoformat(timespec="minutes") for each in (first, last)]
    if found.kind == "doubled":
        if reading.doubled in ("earlier", "later"):
            return first if reading.doubled == "earlier" else last
        raise _refused(CellRule.CAME_TWICE, text=typed, zone=reading.time_zone, first=both[0], second=both[1])
    raise _refused(CellRule.DID_NOT_EXIST, text=typed, zone=reading.time_zone, first=both[0], second=both[1])


def _refused(rule: CellRule, **values: str | int) -> NotAccepted:
    return NotAccepted(Reason(rule, values))
