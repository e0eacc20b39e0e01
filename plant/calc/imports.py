"""What the cells of a sent file mean: columns matched to fields, numbers, units, dates and clock times.

Input is text as people and loggers write it, output are values in SI units and UTC. Whatever has two readings is asked
back and never guessed: the order of day and month where no date of the file decides it, a comma that may be a decimal
mark or a thousands separator, an hour that came twice when clocks were put back.

1. `match_columns` finds the column of each field by its name or another common name, and the unit in the head.
2. `decide_date_order` and `decide_decimal` look at all values of a column and say what decides, or that nothing does.
3. `read_cell` turns one cell into one value, or raises ValueError with a whole sentence.

Dates lie in the calendar of a book (`plant/calc/moments.py`); nothing here counts from 1970.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from plant.calc.calendar import local_day_bounds, resolve_wall_time
from plant.calc.import_files import Cell, cell_text, split_head, to_the_second
from plant.calc.moments import EARLIEST, LATEST, is_in_calendar
from plant.calc.units import QuantityKind, UnitSystem, parse_quantity, unit_label


class ColumnKind(StrEnum):
    """How the cells of a column are read."""

    TEXT = "text"
    CONVEYOR = "conveyor"  # a tag; the row of the register is looked up by whoever has one
    QUANTITY = "quantity"
    COUNT = "count"
    MOMENT = "moment"
    DAY = "day"
    TIME_OF_DAY = "time_of_day"
    CHOICE = "choice"
    YES_NO = "yes_no"


@dataclass(frozen=True)
class Column:
    """A field that a file may fill.

    `aliases` are other names under which it stands in the heads of files; `choices` are codes with the names that
    people write for them (the code itself is always understood).
    """

    name: str
    label: str
    kind: ColumnKind = ColumnKind.TEXT
    aliases: tuple[str, ...] = ()
    required: bool = False
    quantity: QuantityKind = QuantityKind.PLAIN
    allow_negative: bool = False
    choices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    help: Any = ""
    example: str = ""
    longest: int = 300
    # Of a moment: the field that keeps whether its time of day is known; a day alone is then enough.
    time_flag: str = ""


@dataclass(frozen=True)
class Reading:
    """The conventions of one file: what a person chose or the data decided."""

    system: UnitSystem = UnitSystem.METRIC
    units: Mapping[str, str] = field(default_factory=dict)  # field -> unit of bare numbers
    decimal: str = "point"  # point or comma
    date_order: str = "dmy"  # dmy or mdy
    time_zone: str = "UTC"
    plant_zone: str = ""  # whose days are meant where no time of day is written; the time zone's if empty
    doubled: str = "refuse"  # refuse, earlier or later
    midnight: str = "time"  # what 00:00 says: the time, or that only the day is known


@dataclass(frozen=True)
class Decision:
    """A convention told from the data: its value, or none with the reason, and the value that decided."""

    value: str = ""
    is_needed: bool = False
    words: str = ""


# --- columns ----------------------------------------------------------------------------------------------------------
@lru_cache(maxsize=4096)  # the same few words come in every row
def plain_name(text: str) -> str:
    """A column's name without case, marks and spaces: "Belt-width" and "belt_width" are one.

    Parameters
    ----------
    text : str
        A head or an alias.

    Returns
    -------
    str
        Letters and digits only.
    """
    return "".join(c for c in text.casefold() if c.isalnum())


def names_of(column: Column) -> set[str]:
    """All plain names under which a column is known, with the unit of its field too (width_mm).

    Parameters
    ----------
    column : Column
        A field.

    Returns
    -------
    set of str
        Plain names.
    """
    suffix = f"_{column.quantity.value}" if column.quantity.value else ""
    base = column.name.removesuffix(suffix) if suffix else column.name
    names = {plain_name(each) for each in (column.name, base, str(column.label), *column.aliases)}
    if suffix:
        names |= {name + plain_name(suffix) for name in list(names)}
    return names


def match_columns(heads: Sequence[str], columns: Sequence[Column]) -> tuple[dict[str, int], dict[str, str], list[str]]:
    """Which column of the file fills which field, with the units that the heads state.

    Parameters
    ----------
    heads : sequence of str
        Names of the file's columns, as `plant.calc.import_files.column_names` makes them.
    columns : sequence of Column
        Fields.

    Returns
    -------
    tuple of dict, dict, list
        Field to column (from 0); field to unit; sentences about fields for which two columns are as good.
    """
    plain = [plain_name(split_head(re.sub(r" \(column [A-Z]+\)$", "", head))[0]) for head in heads]
    matched: dict[str, int] = {}
    units: dict[str, str] = {}
    doubts: list[str] = []
    for column in columns:
        own = [at for at, name in enumerate(plain) if name and name == plain_name(column.name)]
        fits = own or [at for at, name in enumerate(plain) if name in names_of(column)]
        fits = [at for at in fits if at not in matched.values()]
        if len(fits) > 1:
            which = " and ".join(f"“{heads[at]}”" for at in fits)
            doubts.append(f"Two columns may be the {column.label}: {which}. Choose one of them.")
            continue
        if fits:
            matched[column.name] = fits[0]
            unit = unit_in_head(heads[fits[0]], column)
            if unit:
                units[column.name] = unit
    return matched, units, doubts


def unit_in_head(head: str, column: Column) -> str:
    """The unit that a head states for a quantity, as in "width [in]" or "width_mm"; empty where it states none.

    Parameters
    ----------
    head : str
        As it stands in the file.
    column : Column
        The field it fills.

    Returns
    -------
    str
        A unit that `plant.calc.units.parse_quantity` reads, or an empty text.
    """
    if column.kind is not ColumnKind.QUANTITY:
        return ""
    unit = split_head(head)[1]
    if not unit:
        tail = re.search(
            r"[_ ](mm|cm|m|km|in|inch|inches|ft|feet|kg|lb|lbs|t|h|hours|min|minutes|m_s|fpm|nm|n|deg)$", head
        )
        unit = {"m_s": "m/s"}.get(tail[1].lower(), tail[1]) if tail else ""
    return unit if unit and is_unit_of(unit, column.quantity) else ""


def is_unit_of(unit: str, kind: QuantityKind) -> bool:
    """Whether a unit fits a kind of quantity.

    Parameters
    ----------
    unit : str
        As written.
    kind : QuantityKind
        What is measured.

    Returns
    -------
    bool
        True if a number with this unit is understood.
    """
    try:
        parse_quantity(f"1 {unit}", kind, UnitSystem.US)
        return True
    except ValueError:
        return False


UNITS_OFFERED: dict[QuantityKind, tuple[str, ...]] = {
    QuantityKind.LENGTH_MM: ("mm", "cm", "m", "in", "ft"),
    QuantityKind.DISTANCE_M: ("m", "mm", "km", "ft", "in"),
    QuantityKind.SPEED_M_S: ("m/s", "m/min", "km/h", "ft/min", "ft/s"),
    QuantityKind.TORQUE_NM: ("N·m", "lbf·ft", "lbf·in", "kgf·m"),
    QuantityKind.FORCE_N: ("N", "kN", "lbf", "kgf"),
    QuantityKind.MASS_KG: ("kg", "g", "lb"),
    QuantityKind.TONNES: ("t", "kg", "lb", "short ton"),
    QuantityKind.HOURS: ("h", "min", "s", "d"),
    QuantityKind.MINUTES: ("min", "h", "s"),
    QuantityKind.DEGREES: ("°",),
    QuantityKind.PERCENT: ("%",),
    QuantityKind.PLAIN: (),
}


# --- conventions of the file ------------------------------------------------------------------------------------------
_SLASHED = re.compile(r"^(\d{1,2})([/.-])(\d{1,2})\2(\d{2,4})(?:$|[ T,])")


def decide_date_order(texts: Iterable[str]) -> Decision:
    """Whether 3/4/2026 is in March or in April, told from all dates of a file.

    Parameters
    ----------
    texts : iterable of str
        The cells of its date columns.

    Returns
    -------
    Decision
        value "dmy" or "mdy"; empty, and `is_needed`, where dates can be read both ways or the file has both orders.
        Dates with points are day first (common practice, no source); ISO dates need no decision.
    """
    day_first = month_first = both = ""
    for text in texts:
        match = _SLASHED.match(text.strip())
        if not match or match[2] == ".":
            continue
        first, second = int(match[1]), int(match[3])
        if first > 12 >= second:
            day_first = day_first or text.strip()
        elif second > 12 >= first:
            month_first = month_first or text.strip()
        elif first != second:
            both = both or text.strip()
    if day_first and month_first:
        words = f"The file has dates in both orders: “{day_first}” and “{month_first}”. "
        words += "Choose one; rows of the other are refused."
        return Decision(is_needed=True, words=words)
    if day_first:
        return Decision("dmy", words=f"Day before month, as “{day_first}” shows.")
    if month_first:
        return Decision("mdy", words=f"Month before day, as “{month_first}” shows.")
    if both:
        one, other = re.findall(r"\d+", both)[:2]
        words = f"“{both}” can be day {one} of month {other} or day {other} of month {one}. Choose the order."
        return Decision(is_needed=True, words=words)
    return Decision("dmy")


_NUMBER = re.compile(r"[-+]?\d[\d.,'’   ]*")


def decide_decimal(texts: Iterable[str]) -> Decision:
    """Whether a file writes 1.5 or 1,5, told from all its numbers.

    Parameters
    ----------
    texts : iterable of str
        The cells of its number columns.

    Returns
    -------
    Decision
        value "point" or "comma"; empty, and `is_needed`, where 1,234 may be either or both are used.
    """
    point = comma = either = ""
    for text in texts:
        match = _NUMBER.search(text)
        if not match:
            continue
        number = match.group().strip(" .,")
        n_points, n_commas = number.count("."), number.count(",")
        if n_points and n_commas:
            if number.rfind(".") > number.rfind(","):
                point = point or text.strip()
            else:
                comma = comma or text.strip()
        elif n_commas > 1:
            point = point or text.strip()
        elif n_points > 1:
            comma = comma or text.strip()
        elif n_commas or n_points:
            mark = "," if n_commas else "."
            before, after = number.split(mark)
            if len(after) == 3 and 1 <= len(before.lstrip("-+")) <= 3 and not before.lstrip("-+").startswith("0"):
                if mark == ",":
                    either = either or text.strip()
                # A point before three digits is a decimal point unless something in the file says comma.
            elif mark == ",":
                comma = comma or text.strip()
            else:
                point = point or text.strip()
    if point and comma:
        words = (
            f"The file writes numbers in two ways: “{point}” and “{comma}”. Choose one; rows of the other are refused."
        )
        return Decision(is_needed=True, words=words)
    if comma:
        return Decision("comma", words=f"Decimal comma, as “{comma}” shows.")
    if point:
        return Decision("point", words=f"Decimal point, as “{point}” shows.")
    if either:
        words = f"“{either}” can mean {either.replace(',', '')} or {either.replace(',', '.')}. Choose the decimal mark."
        return Decision(is_needed=True, words=words)
    return Decision("point")


_MIDNIGHT = re.compile(r".*\d[T ]+0{1,2}:00(?::00(?:[.,]0+)?)?", re.DOTALL)
FEWEST_MIDNIGHTS = 3  # rows from which an export is taken to have dropped the time of day; own rule


def decide_midnight(texts: Iterable[str]) -> Decision:
    """Whether 00:00 is the time of day or stands where nobody kept it, told from all moments of a file.

    Parameters
    ----------
    texts : iterable of str
        The cells of one column of moments, with the time of day from a column of its own where there is one.

    Returns
    -------
    Decision
        value "day" where at least three rows have a time and each is 00:00 without an offset from UTC, as exports write
        dates; else "time".

    Examples
    --------
    >>> decide_midnight(["2026-03-01 00:00:00", "2026-03-02 00:00:00", "2026-03-05 00:00:00"]).value
    'day'
    """
    n = 0
    for text in texts:
        if ":" not in text:
            continue
        if not _MIDNIGHT.fullmatch(text.strip()):
            return Decision("time")
        n += 1
    if n < FEWEST_MIDNIGHTS:
        return Decision("time")
    return Decision("day", words=f"Each of {n} times is 00:00, which says that only the day was kept.")


# --- cells ------------------------------------------------------------------------------------------------------------
LONGEST_VALUE = 200  # characters of a number, a date or a word of a list; anything longer is prose
_NO_VALUE = {"-", "–", "—", "n/a", "na", "none", "null", "nil", "?", "unknown"}
_BROKEN = {"bad", "nan", "inf", "-inf", "error", "err", "fault", "i/o timeout", "timeout", "no data", "bad input"}
_CODES_FOR_NOTHING = {"-9999", "-999", "-99999", "9999999", "-9999.0", "-999.0", "-9999,0", "-999,0"}


def is_empty(text: str) -> bool:
    """Whether a cell says that there is no value.

    Parameters
    ----------
    text : str
        The cell.

    Returns
    -------
    bool
        True for an empty cell, a dash, n/a and the like.
    """
    return not text or text.casefold() in _NO_VALUE


def read_cell(cell: Cell, column: Column, reading: Reading) -> Any:
    """The value of one cell.

    Parameters
    ----------
    cell : Cell
        As read from the file, or text that a person corrected.
    column : Column
        What it fills.
    reading : Reading
        The file's conventions.

    Returns
    -------
    object
        Text, a float in the stored unit, an int, a code of the choices, a bool, a UTC datetime, a date or a time; None
        where the cell is empty. A moment without a time of day is the first instant of its day.

    Raises
    ------
    ValueError
        A whole sentence: what stands there and what to write instead.

    Examples
    --------
    >>> width = Column("belt_width_mm", "belt width", ColumnKind.QUANTITY, quantity=QuantityKind.LENGTH_MM)
    >>> read_cell("47 1/4", width, Reading(units={"belt_width_mm": "in"}))
    1200.15
    >>> read_cell("1.234,5", width, Reading(decimal="comma"))
    1234.5
    """
    text = cell_text(cell)
    if column.kind is ColumnKind.YES_NO and text:
        return read_yes_no(text, column)
    if is_empty(text) and not (column.kind is ColumnKind.TEXT and text in {"?", "unknown"}):
        if column.required:
            raise ValueError("The cell is empty. It is needed in every row; fill it in.")
        return None
    if len(text) > LONGEST_VALUE and column.kind not in (ColumnKind.TEXT, ColumnKind.CONVEYOR):
        raise ValueError(f"The cell has {len(text):,} characters, which is no {column.label}. Write the value alone.")
    if text.startswith("#") and text.rstrip("!?/0").isupper():
        raise ValueError(f"“{text}” is an error of the spreadsheet. Mend the formula, or write the value.")
    if column.kind in (ColumnKind.TEXT, ColumnKind.CONVEYOR):
        if len(text) > column.longest:
            raise ValueError(f"The text has {len(text)} characters; at most {column.longest} are kept. Shorten it.")
        return text
    if column.kind is ColumnKind.CHOICE:
        return read_choice(text, column)
    refuse_broken(text)
    if column.kind is ColumnKind.QUANTITY:
        return read_number(cell, column, reading)
    if column.kind is ColumnKind.COUNT:
        number = read_number(cell, column, reading)
        if number != int(number):
            raise ValueError(f"“{text}” is not a whole number. Give one such as 4.")
        return int(number)
    if column.kind is ColumnKind.TIME_OF_DAY:
        return read_time(text)
    day, time, offset = read_day_and_time(cell, reading)
    if not is_in_calendar(day):
        raise ValueError(
            f"“{text}” is out of a book's reach. Write a day from {EARLIEST.isoformat()} to {LATEST.isoformat()}."
        )
    if column.kind is ColumnKind.DAY:
        return day
    if says_day_only(time, offset, reading):
        return first_instant(day, reading)
    assert time is not None
    return to_utc(day, time, offset, reading, text)


def says_day_only(time: dt.time | None, offset: dt.timedelta | None, reading: Reading) -> bool:
    """Whether a written moment tells its day alone: no time, or a 00:00 that stands where none was kept.

    Parameters
    ----------
    time, offset : time or None, timedelta or None
        As `read_day_and_time` gives them.
    reading : Reading
        Says what 00:00 means. With an offset from UTC it is always a time.

    Returns
    -------
    bool
    """
    return time is None or (time == dt.time() and offset is None and reading.midnight == "day")


def is_time_known(cell: Cell, reading: Reading) -> bool:
    """Whether a cell that `read_cell` reads as a moment tells the time of day, or the day alone.

    Parameters
    ----------
    cell : Cell
        As for `read_cell`.
    reading : Reading
        The file's conventions.

    Returns
    -------
    bool
    """
    _day, time, offset = read_day_and_time(cell, reading)
    return not says_day_only(time, offset, reading)


def first_instant(day: dt.date, reading: Reading) -> dt.datetime:
    """The first instant of a day by the plant's clock, which is not 00:00 where clocks are put forward then.

    Parameters
    ----------
    day : date
    reading : Reading
        Says whose day it is.

    Returns
    -------
    datetime
        In UTC.
    """
    return local_day_bounds(day, ZoneInfo(reading.plant_zone or reading.time_zone))[0]


def refuse_broken(text: str) -> None:
    """Refuse what loggers write when they have no value."""
    if text.casefold() in _BROKEN or text in _CODES_FOR_NOTHING:
        raise ValueError(
            f"“{text}” is what a logger writes when it has no value. Leave the cell empty if nobody knows it, "
            "or write the value."
        )


_CLOCK_HOURS = re.compile(r"(\d{1,6}):([0-5]\d)(?::([0-5]\d))?")


def read_number(cell: Cell, column: Column, reading: Reading) -> float:
    """A number with or without its unit, in the stored unit; hours may be written as 21:30.

    Parameters
    ----------
    cell : Cell
        Text, or a number of a workbook.
    column : Column
        Says the kind of quantity and whether it may be negative.
    reading : Reading
        Says the decimal mark and the unit of bare numbers.

    Returns
    -------
    float
        Stored unit of the column's quantity.

    Raises
    ------
    ValueError
        If it is not understood, of another kind, or negative.
    """
    if column.quantity is QuantityKind.HOURS and (clock := _CLOCK_HOURS.fullmatch(cell_text(cell))):
        hours, minutes, seconds = (int(part or 0) for part in clock.groups())
        return hours + minutes / 60 + seconds / 3600
    if isinstance(cell, dt.timedelta) and column.quantity is QuantityKind.MINUTES:
        return cell.total_seconds() / 60
    if isinstance(cell, dt.datetime | dt.date | dt.time | dt.timedelta):
        raise ValueError(f"“{cell_text(cell)}” is a date where a number is expected. Write the number.")
    typed = cell_text(cell)
    text = repr(cell) if isinstance(cell, float) else typed
    text = re.sub(r"[eE]\+?(-?\d+)$", lambda m: "" if int(m[1]) == 0 else m.group(), text)
    if not isinstance(cell, int | float):
        text = with_point(text, reading.decimal)
    if re.fullmatch(r"[-+]?\d+(\.\d+)?[eE][-+]?\d+", text):
        text = f"{float(text):.12f}".rstrip("0").rstrip(".")
    unit = reading.units.get(column.name, "")
    if unit and not re.search(r"[^\W\d_]|[\"'°%′″]", text):
        text = f"{text} {unit}"
    if text.lstrip().startswith(("-", "−")) and not column.allow_negative:
        raise ValueError(f"“{typed}” is negative; {column.label} is 0 or more. Write the right value.")
    try:
        return parse_quantity(text, column.quantity, reading.system, allow_negative=column.allow_negative).value
    except ValueError as error:
        raise ValueError(str(error).replace(f"“{text}”", f"“{typed}”")) from error


def with_point(text: str, decimal: str) -> str:
    """A number with a decimal point and no thousands separators; fractions, units and words stay as they are.

    Parameters
    ----------
    text : str
        As written in the file.
    decimal : {"point", "comma"}
        The file's decimal mark.

    Returns
    -------
    str
        The text with its numbers rewritten.

    Raises
    ------
    ValueError
        If a separator stands where the file's convention has none.

    Examples
    --------
    >>> with_point("1.234,5 mm", "comma"), with_point("1,234.5", "point"), with_point("43 1/4", "point")
    ('1234.5 mm', '1234.5', '43 1/4')
    """
    mark, group = (",", ".") if decimal == "comma" else (".", ",")
    spaces = "'’   "

    def rewrite(match: re.Match[str]) -> str:
        number = match.group()
        for space in spaces:
            number = re.sub(rf"(?<=\d){space}(?=\d{{3}}(?!\d))", "", number)
        if group in number:
            whole = number.split(mark, 1)[0]
            if not re.fullmatch(rf"\d{{1,3}}(?:{re.escape(group)}\d{{3}})+", whole) or group in number[len(whole) :]:
                raise ValueError(
                    f"“{number}” has a {'point' if group == '.' else 'comma'} where this file has its decimal "
                    f"{decimal}. Write the number with a decimal {decimal} and no thousands separator, "
                    f"or choose {'point' if group == '.' else 'comma'} as the decimal mark of the file."
                )
            number = number.replace(group, "")
        return number.replace(mark, ".")

    return re.sub(rf"\d+(?:[.,]\d+|[{spaces}]\d{{3}}(?!\d|/))*", rewrite, text)


def read_choice(text: str, column: Column) -> str:
    """The code that a word stands for; raises ValueError with the allowed words and the nearest one."""
    words = {plain_name(code): code for code in column.choices}
    for code, names in column.choices.items():
        words |= {plain_name(str(name)): code for name in names}
    if plain_name(text) in words:
        return words[plain_name(text)]
    near = difflib.get_close_matches(plain_name(text), words, n=1, cutoff=0.7)
    hint = f" Did you mean {words[near[0]]}?" if near else ""
    raise ValueError(f"“{text}” is not a known {column.label}. Write one of: {', '.join(column.choices)}.{hint}")


# What people and exports write for yes, for no, and where nobody knows.
YES_NO_WORDS: dict[bool | None, frozenset[str]] = {
    True: frozenset({"yes", "y", "true", "1", "x", "on"}),
    False: frozenset({"no", "n", "false", "0", "off"}),
    None: frozenset({"", "-", "–", "—", "n/a", "na", "?", "unknown", "not known", "not stated"}),
}


def read_yes_no(text: str, column: Column | None = None) -> bool | None:
    """Yes, no or not known, in the words of `YES_NO_WORDS` and those that the column adds.

    Parameters
    ----------
    text : str
        The cell.
    column : Column, optional
        Its choices "yes" and "no" name further words.

    Returns
    -------
    bool or None
        None where the cell says that nobody knows.

    Raises
    ------
    ValueError
        For any other word, with those that are understood; "none" among them, which may mean no as well as unknown.

    Examples
    --------
    >>> words = {"yes": ("full",), "no": ("empty",)}
    >>> loaded = Column("was_loaded", "belt was loaded", ColumnKind.YES_NO, choices=words)
    >>> read_yes_no("Full", loaded), read_yes_no("no", loaded), read_yes_no("?", loaded)
    (True, False, None)
    """
    word = " ".join(text.casefold().split())
    more = column.choices if column is not None else {}
    words = {True: more.get("yes", ()), False: more.get("no", ())}
    for answer, known in YES_NO_WORDS.items():
        if word in known or (answer is not None and word in words[answer]):
            if answer is None and column is not None and column.required:
                raise ValueError("The cell is empty. It is needed in every row; fill it in.")
            return answer
    yes, no = (" or ".join(("yes" if answer else "no", *words[answer])) for answer in (True, False))
    raise ValueError(f"“{text}” is neither yes nor no. Write {yes}; {no}; or leave the cell empty where nobody knows.")


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
    """A time of day without a zone; raises ValueError with an example."""
    time, offset = _time_and_offset(text)
    if offset is not None:
        raise ValueError(f"“{text}” has a zone, but its date stands in another cell. Write date and time in one cell.")
    return time


def _time_and_offset(text: str) -> tuple[dt.time, dt.timedelta | None]:
    match = _TIME.match(text.strip())
    bad = ValueError(f"“{text}” is not a time of day. Write it as 14:30.")
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


def read_day_and_time(cell: Cell, reading: Reading) -> tuple[dt.date, dt.time | None, dt.timedelta | None]:
    """Date, time and offset from UTC of a cell, the last two where they are written.

    Parameters
    ----------
    cell : Cell
        Text, or a date of a workbook.
    reading : Reading
        Says the order of day and month.

    Returns
    -------
    tuple of date, time or None, timedelta or None
        As written.

    Raises
    ------
    ValueError
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
        order = "day before month" if reading.date_order == "dmy" else "month before day"
        raise ValueError(
            f"“{text}” is no date with {order}. Write it as 2026-11-25, or choose the other order for the file."
        ) from None
    if not rest:
        return date, None, None
    time, offset = _time_and_offset(rest)
    return date, time, offset


def _day_parts(text: str, reading: Reading) -> tuple[int, int, int, str]:
    if match := _ISO.match(text):
        return int(match[1]), int(match[2]), int(match[3]), match[4] or ""
    if match := _LOCAL.match(text):
        if len(match[4]) != 4:
            raise ValueError(f"“{text}” has a year of {len(match[4])} digits. Write the year with four.")
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
        raise ValueError(f"“{text}” is a spreadsheet's count of days. Format the column as a date and save it again.")
    raise ValueError(f"“{text}” is not a date. Write it as 2026-11-25 14:30.")


def to_utc(day: dt.date, time: dt.time, offset: dt.timedelta | None, reading: Reading, typed: str) -> dt.datetime:
    """The instant of a written date and time.

    Parameters
    ----------
    day, time : date, time
        As written.
    offset : timedelta or None
        Offset from UTC where it is written; it wins over the file's zone.
    reading : Reading
        Says the zone, and which of two readings of a doubled hour is meant.
    typed : str
        The cell, for the message.

    Returns
    -------
    datetime
        In UTC.

    Raises
    ------
    ValueError
        If the hour does not exist in that zone, or came twice and nobody said which is meant; with both readings.
    """
    naive = dt.datetime.combine(day, time)
    try:
        if offset is not None:
            return (naive - offset).replace(tzinfo=dt.UTC)
        zone = ZoneInfo(reading.time_zone)
        found = resolve_wall_time(naive, zone)
    except OverflowError:
        raise ValueError(f"“{typed}” is out of the calendar. Write a year from 1 to 9998.") from None
    first, last = found.candidates[0], found.candidates[-1]
    if found.kind == "plain":
        return first
    both = [each.astimezone(zone).isoformat(timespec="minutes") for each in (first, last)]
    if found.kind == "doubled":
        if reading.doubled in ("earlier", "later"):
            return first if reading.doubled == "earlier" else last
        raise ValueError(
            f"“{typed}” came twice in {reading.time_zone}, as clocks were put back. "
            f"Write {both[0]} for the first or {both[1]} for the second."
        )
    raise ValueError(
        f"“{typed}” did not exist in {reading.time_zone}, as clocks were put forward. "
        f"Write {both[0]} or {both[1]}, whichever is meant."
    )


def default_unit(column: Column, system: UnitSystem) -> str:
    """The unit in which a bare number of a column is read where nobody said another.

    Parameters
    ----------
    column : Column
    system : UnitSystem
        In which the person who sends the file reads and types.
    """
    return unit_label(column.quantity, system)
