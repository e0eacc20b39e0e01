"""What the cells of a sent file mean: numbers with their units, words of a list, yes and no, texts.

Input is text as people and loggers write it, output are values in SI units and UTC. Whatever has two readings is asked
back and never guessed: a comma that may be a decimal mark or a thousands separator, an hour that came twice when clocks
were put back. Dates stand in `plant.calc.import_dates`.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
from typing import Any

from plant.calc.import_columns import CellRule, Column, ColumnKind, FileReading, Mark, plain_name
from plant.calc.import_dates import (
    first_instant,
    read_day_and_time,
    read_time,
    says_day_only,
    to_utc,
)
from plant.calc.import_rows import Cell, cell_text
from plant.calc.moments import EARLIEST, LATEST, is_in_calendar
from plant.calc.reasons import NotAccepted, Reason
from plant.calc.typed_quantities import parse_quantity
from plant.calc.units import QuantityKind

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


def read_cell(cell: Cell, column: Column, reading: FileReading) -> Any:
    """The value of one cell.

    Parameters
    ----------
    cell : Cell
        As read from the file, or text that a person corrected.
    column : Column
        What it fills.
    reading : FileReading
        The file's conventions.

    Returns
    -------
    object
        Text, a float in the stored unit, an int, a code of the choices, a bool, a UTC datetime, a date or a time; None
        where the cell is empty. A moment without a time of day is the first instant of its day.

    Raises
    ------
    NotAccepted
        With what stands there and what to write instead.

    Examples
    --------
    >>> width = Column("belt_width_mm", "belt width", ColumnKind.QUANTITY, quantity=QuantityKind.LENGTH_MM)
    >>> read_cell("47 1/4", width, FileReading(units={"belt_width_mm": "in"}))
    1200.15
    >>> read_cell("1.234,5", width, FileReading(decimal="comma"))
    1234.5
    """
    text = cell_text(cell)
    own = reading.words.get(column.name)
    if own and (meant := own.get(word_key(text))) is not None:
        # The plant's own word for it, or one that says nothing there.
        text = cell = meant
    if column.kind is ColumnKind.YES_NO and text:
        return read_yes_no(text, column)
    if is_empty(text) and not (column.kind is ColumnKind.TEXT and text in {"?", "unknown"}):
        if column.required:
            raise _refused(CellRule.EMPTY)
        return None
    refuse_odd_text(text, column)
    if column.kind in (ColumnKind.TEXT, ColumnKind.CONVEYOR):
        return text
    if column.kind is ColumnKind.CHOICE:
        return read_choice(text, column)
    refuse_broken(text)
    if column.kind is ColumnKind.QUANTITY:
        return read_number(cell, column, reading)
    if column.kind is ColumnKind.COUNT:
        return read_count(cell, column, reading)
    if column.kind is ColumnKind.TIME_OF_DAY:
        return read_time(text)
    return read_moment(cell, column, reading)


def read_count(cell: Cell, column: Column, reading: FileReading) -> int:
    """A whole number; anything else is refused."""
    number = read_number(cell, column, reading)
    if number != int(number):
        raise _refused(CellRule.NOT_WHOLE, text=cell_text(cell))
    return int(number)


def read_moment(cell: Cell, column: Column, reading: FileReading) -> dt.date | dt.datetime:
    """A day, or a moment in UTC: the first instant of the day where no time of day is given."""
    text = cell_text(cell)
    day, time, offset = read_day_and_time(cell, reading)
    if not is_in_calendar(day):
        raise _refused(CellRule.OUT_OF_BOOK, text=text, first=EARLIEST.isoformat(), last=LATEST.isoformat())
    if column.kind is ColumnKind.DAY:
        return day
    if says_day_only(time, offset, reading):
        return first_instant(day, reading)
    assert time is not None
    return to_utc(day, time, offset, reading, text)


def refuse_odd_text(text: str, column: Column) -> None:
    """Refuse what is too long for its column, and the errors that spreadsheets write."""
    is_text = column.kind in (ColumnKind.TEXT, ColumnKind.CONVEYOR)
    if len(text) > LONGEST_VALUE and not is_text:
        raise _refused(CellRule.PROSE, length=len(text), label=str(column.label))
    if text.startswith("#") and text.rstrip("!?/0").isupper():
        raise _refused(CellRule.SPREADSHEET_ERROR, text=text)
    if len(text) > column.longest and is_text:
        raise _refused(CellRule.TEXT_TOO_LONG, length=len(text), most=column.longest)


def refuse_broken(text: str) -> None:
    """Refuse what loggers write when they have no value."""
    if text.casefold() in _BROKEN or text in _CODES_FOR_NOTHING:
        raise _refused(CellRule.LOGGER, text=text)


_CLOCK_HOURS = re.compile(r"(\d{1,6}):([0-5]\d)(?::([0-5]\d))?")


def read_number(cell: Cell, column: Column, reading: FileReading) -> float:
    """A number with or without its unit, in the stored unit; hours may be written as 21:30.

    Parameters
    ----------
    cell : Cell
        Text, or a number of a workbook.
    column : Column
        Says the kind of quantity and whether it may be negative.
    reading : FileReading
        Says the decimal mark and the unit of bare numbers.

    Returns
    -------
    float
        Stored unit of the column's quantity.

    Raises
    ------
    NotAccepted
        If it is not understood, of another kind, or negative.
    """
    if column.quantity is QuantityKind.HOURS and (clock := _CLOCK_HOURS.fullmatch(cell_text(cell))):
        hours, minutes, seconds = (int(part or 0) for part in clock.groups())
        return hours + minutes / 60 + seconds / 3600
    if isinstance(cell, dt.timedelta) and column.quantity is QuantityKind.MINUTES:
        return cell.total_seconds() / 60
    if isinstance(cell, dt.datetime | dt.date | dt.time | dt.timedelta):
        raise _refused(CellRule.DATE_FOR_NUMBER, text=cell_text(cell))
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
        raise _refused(CellRule.NEGATIVE, text=typed, label=str(column.label))
    try:
        return parse_quantity(text, column.quantity, reading.system, allow_negative=column.allow_negative).value
    except NotAccepted as problem:
        raise NotAccepted(_as_typed(problem.reason, text.strip(), typed)) from problem


def _as_typed(reason: Reason, text: str, typed: str) -> Reason:
    """The same reason, naming the cell as it stands in the file."""
    values = {
        name: _as_typed(value, text, typed) if isinstance(value, Reason) else typed if value == text else value
        for name, value in reason.values.items()
    }
    return Reason(reason.rule, values)


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
    NotAccepted
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
                found, own = (Mark.POINT, Mark.COMMA) if group == "." else (Mark.COMMA, Mark.POINT)
                raise _refused(CellRule.OTHER_MARK, number=number, found=found, own=own)
            number = number.replace(group, "")
        return number.replace(mark, ".")

    return re.sub(rf"\d+(?:[.,]\d+|[{spaces}]\d{{3}}(?!\d|/))*", rewrite, text)


def word_key(text: str) -> str:
    """What tells one word of a file from another: its letters and digits, or its marks where it has none ("+").

    Parameters
    ----------
    text : str
        A cell.
    """
    return plain_name(text) or text.strip()


def choice_words(column: Column) -> dict[str, str]:
    """The code of each word that a column of choices understands by itself.

    Parameters
    ----------
    column : Column

    Returns
    -------
    dict of str to str
        Code by plain word.
    """
    words = {plain_name(code): code for code in column.choices}
    for code, names in column.choices.items():
        words |= {plain_name(str(name)): code for name in names}
    return words


def read_choice(text: str, column: Column) -> str:
    """The code that a word stands for; raises NotAccepted with the allowed words and the nearest one."""
    words = choice_words(column)
    if plain_name(text) in words:
        return words[plain_name(text)]
    near = difflib.get_close_matches(plain_name(text), words, n=1, cutoff=0.7)
    values = {"text": text, "label": str(column.label), "choices": ", ".join(column.choices)}
    if near:
        raise _refused(CellRule.NO_CHOICE_BUT_NEAR, **values, near=words[near[0]])
    raise _refused(CellRule.NO_CHOICE, **values)


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
    NotAccepted
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
                raise _refused(CellRule.EMPTY)
            return answer
    yes, no = (_one_of(("yes" if answer else "no", *words[answer])) for answer in (True, False))
    raise _refused(CellRule.NEITHER_YES_NOR_NO, text=text, yes=yes, no=no)


def _one_of(words: tuple[str, ...]) -> str | Reason:
    """Words that people may write, with "or" between them."""
    first, *rest = words
    return Reason(CellRule.WORD_OR, {"word": str(first), "rest": _one_of(tuple(rest))}) if rest else str(first)


def _refused(rule: CellRule, **values: str | int | Reason) -> NotAccepted:
    return NotAccepted(Reason(rule, values))
