"""Rows of a sent file: their cells as text, the row of column names among them."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from openpyxl.utils import get_column_letter

from plant.calc.import_limits import LONGEST_HEAD, MOST_COLUMNS, FileRule, NotATable
from plant.calc.reasons import Reason
from plant.calc.workbook_parts import (
    SheetFacts,
)

HEAD_WITHIN = 15  # lines among which the head is looked for
# A number, a day or a time, with a unit or a half of the day behind it.
VALUE = re.compile(r"[-+]?[0-9][0-9.,:/ T+-]*(?: ?[A-Za-z%°·/²³]{1,6})?")
Cell = str | int | float | bool | dt.datetime | dt.date | dt.time | dt.timedelta | None


@dataclass(frozen=True)
class SourceRow:
    """One row of the file with the line at which it starts, and what is wrong with the row as such."""

    line_number: int
    cells: tuple[Cell, ...]
    problem: Reason | None = None
    cell_problems: tuple[tuple[int, Reason], ...] = ()  # (column from 0, what is wrong)


@dataclass(frozen=True)
class FileShape:
    """How a file is written: given by a person or told from its bytes."""

    is_workbook: bool
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    header_line: int = 0
    sheets: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    notes: tuple[Reason, ...] = ()
    facts: SheetFacts | None = field(default=None, compare=False, repr=False)  # of the sheet that is read


def n_known(cells: Sequence[Cell], known: Callable[[str], bool]) -> int:
    """How many cells of a row are names of columns that are looked for.

    Parameters
    ----------
    cells : sequence of Cell
        The row.
    known : callable
        Whether a text is the name of a column that is looked for.
    """
    return sum(known(cell_text(cell)[:LONGEST_HEAD]) for cell in cells[: MOST_COLUMNS + 1])


def is_a_name(cell: Cell) -> bool:
    """Whether a cell may name a column: a text with a letter that is no number, no day and no time."""
    text = cell_text(cell) if isinstance(cell, str) else ""
    return any(each.isalpha() for each in text) and not VALUE.fullmatch(text)


def find_header(rows: Iterable[tuple[int, tuple[Cell, ...]]], known: Callable[[str], bool]) -> int:
    """Line of the head: the row with most known names among the first lines.

    A row that holds values is no head for one name that it happens to hold: half of its cells have to be known. Where
    no name is known, the head is the first row of names alone that is at least half as wide as the widest row (a title
    above the table is not), else the first row that is not empty.

    Parameters
    ----------
    rows : iterable of (int, cells)
        The first rows with their line numbers.
    known : callable
        Whether a cell is the name of a column that is looked for.

    Returns
    -------
    int
        Line number; 0 where there is no row.
    """
    filled = [(line, cells) for line, cells in rows if any(cell_text(cell) for cell in cells)]
    if not filled:
        return 0
    counts = []
    for line, cells in filled:
        n, width = n_known(cells, known), n_filled(cells)
        counts.append((n if holds_names(cells) or 2 * n >= width else 0, -line))
    best = max(counts)
    if best[0] > 0:
        return -best[1]
    widest = max(n_filled(cells) for _line, cells in filled)
    named = (line for line, cells in filled if holds_names(cells) and 2 * n_filled(cells) >= widest)
    return next(named, filled[0][0])


def n_filled(cells: Sequence[Cell]) -> int:
    """Count the cells of a row that are not empty."""
    return sum(bool(cell_text(cell)) for cell in cells)


def holds_names(cells: Sequence[Cell]) -> bool:
    """Whether every cell of a row that is not empty may name a column."""
    return all(is_a_name(cell) for cell in cells if cell_text(cell))


def to_the_second(cell: dt.datetime) -> dt.datetime:
    """A moment of a workbook to the second: spreadsheets keep day counts, and half a millisecond off is their rounding.

    Parameters
    ----------
    cell : datetime
        As the workbook holds it.

    Returns
    -------
    datetime
        The nearest second; at the end of the calendar, which stands for "no end", the second before.

    Examples
    --------
    >>> to_the_second(dt.datetime(2026, 3, 1, 5, 59, 59, 999_500)).isoformat()
    '2026-03-01T06:00:00'
    """
    try:
        return (cell + dt.timedelta(microseconds=500_000)).replace(microsecond=0)
    except OverflowError:
        return cell.replace(microsecond=0)


def cell_text(cell: Cell) -> str:
    """A cell as text: times in ISO 8601, whole numbers without a point.

    Parameters
    ----------
    cell : str, number, bool, date, datetime or None
        As the workbook holds it.
    """
    if isinstance(cell, str):  # by far the most
        text = cell.replace("\x00", "").strip()
        # An apostrophe in front keeps a spreadsheet from taking text for a formula; it is no part of the text.
        return text[1:] if text[:1] == "'" and text[1:2] in FORMULA_MARKS else text
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, dt.datetime):
        rounded = to_the_second(cell)
        return (
            rounded.isoformat(sep=" ", timespec="seconds")
            if rounded.time() != dt.time()
            else rounded.date().isoformat()
        )
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    if isinstance(cell, dt.timedelta):
        minutes, seconds = divmod(round(cell.total_seconds()), 60)
        return f"{minutes // 60}:{minutes % 60:02}" + (f":{seconds:02}" if seconds else "")
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell)


# Beginnings that a spreadsheet takes for a formula; a signed number is none, "-2+3" is one.
FORMULA_MARKS = ("=", "+", "-", "@", "\t", "\r", "\n")
SIGNED_NUMBER = re.compile(r"[+-]\d+(?:[.,]\d+)?")


def guarded(text: str) -> str:
    """Text that a spreadsheet would take for a formula, with an apostrophe in front; `cell_text` takes it off again.

    Parameters
    ----------
    text : str
        What goes into a cell of a file.
    """
    return f"'{text}" if text.startswith(FORMULA_MARKS) and not SIGNED_NUMBER.fullmatch(text) else text


def column_names(cells: Iterable[Cell]) -> tuple[str, ...]:
    """Names of all columns, told apart by their letter where two are the same or one is empty.

    Parameters
    ----------
    cells : iterable of Cell
        The row of column names.
    """
    texts = [" ".join(cell_text(cell).split())[:LONGEST_HEAD] for cell in cells]
    while texts and not texts[-1]:
        texts.pop()
    if len(texts) > MOST_COLUMNS:
        raise NotATable(FileRule.MORE_COLUMNS, columns=len(texts), most=MOST_COLUMNS)
    times = Counter(text.casefold() for text in texts)
    return tuple(
        f"column {get_column_letter(n)}"
        if not text
        else (f"{text} (column {get_column_letter(n)})" if times[text.casefold()] > 1 else text)
        for n, text in enumerate(texts, start=1)
    )


def as_text(row: SourceRow, columns: tuple[str, ...], decimal: str = "point") -> dict[str, str]:
    """A row as texts by column name, as it is kept and shown when it is refused.

    Parameters
    ----------
    row : SourceRow
        As read.
    columns : tuple of str
        Names of the columns.
    decimal : {"point", "comma"}, optional
        How numbers of the file are written, so that the kept text is read back to the same number.

    Returns
    -------
    dict of str to str
        Text by column.
    """
    texts = {}
    for name, cell in zip(columns, row.cells, strict=False):
        text = cell_text(cell)
        if decimal == "comma" and isinstance(cell, float):
            text = text.replace(".", ",")
        texts[name] = text
    return texts


_HEAD_UNIT = re.compile(r"^(?P<name>.*?)\s*(?:\[(?P<square>[^\]]+)\]|\((?P<round>[^)]+)\))\s*(?:\(column [A-Z]+\))?$")


def split_head(name: str) -> tuple[str, str]:
    """Name and unit of a column head: "width [in]" -> ("width", "in"); the unit is empty where none is written.

    Parameters
    ----------
    name : str
        Head as it stands in the file.

    Returns
    -------
    tuple of str
        Name without the unit, and the unit.

    Examples
    --------
    >>> split_head("Belt width [in]"), split_head("tag"), split_head("torque (lbf·ft)")
    (('Belt width', 'in'), ('tag', ''), ('torque', 'lbf·ft'))
    """
    match = _HEAD_UNIT.match(name)
    if not match:
        return name, ""
    unit = match["square"] or match["round"] or ""
    if unit.startswith("column "):
        return match["name"], ""
    return match["name"].strip() or name, unit.strip()
