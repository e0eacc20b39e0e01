"""Workbooks that people send in: their sheet and its rows, once `plant.calc.workbook_parts` has looked at the parts."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Any, BinaryIO
from xml.etree import ElementTree

from openpyxl.utils import get_column_letter

from plant.calc.import_limits import LONGEST_CELL, FileRule, ImportLimits, NotATable
from plant.calc.import_rows import (
    HEAD_WITHIN,
    Cell,
    FileShape,
    SourceRow,
    cell_text,
    column_names,
    find_header,
    n_known,
)
from plant.calc.reasons import Reason
from plant.calc.workbook_parts import (
    Halt,
    MergedRows,
    SheetFacts,
    open_workbook,
    path_of,
    walk_sheet,
)


def understand_workbook(
    file: BinaryIO, wanted: FileShape, known: Callable[[str], bool], limits: ImportLimits
) -> FileShape:
    """Which sheet of a workbook is read, and where its head stands.

    Parameters
    ----------
    file : binary file
        Seekable.
    wanted : FileShape
        What a person chose; whatever is empty in it is told from the file.
    known : callable
        Whether a text is the name of a column that is looked for.
    limits : ImportLimits
        How much is read.
    """
    book = open_workbook(file, limits)
    within = max(HEAD_WITHIN, wanted.header_line)
    try:
        sheets = tuple(sheet.title for sheet in book.worksheets)
        if not sheets:
            raise NotATable(FileRule.NO_SHEETS)
        if wanted.sheet and wanted.sheet not in sheets:
            raise NotATable(FileRule.NO_SUCH_SHEET, sheet=wanted.sheet, sheets=", ".join(sheets))
        heads = {}
        for title in [wanted.sheet] if wanted.sheet else sheets:
            # A row that is far too wide is refused here, before the library builds it.
            walk_sheet(file, path_of(book, title), limits, last_line=within)
            first = list(_numbered(book[title].iter_rows(max_row=within, values_only=True)))
            line = wanted.header_line or find_header(first, known)
            cells = next((cells for number, cells in first if number == line), ())
            heads[title] = (n_known(cells, known), line, cells)
        # The sheet with most known names; of equals the first.
        sheet = max(heads, key=lambda title: heads[title][0])
        _n, line, cells = heads[sheet]
        columns = column_names(cells)
        if not columns:
            raise NotATable(FileRule.NO_HEAD_IN_SHEET, sheet=sheet)
        facts = walk_sheet(file, path_of(book, sheet), limits, header_line=line, width=len(columns))
    except Halt as halt:
        raise halt.refusal from halt
    except NotATable:
        raise
    except BROKEN_SHEET as error:
        raise NotATable(FileRule.DAMAGED_SHEET) from error
    finally:
        book.close()
        file.seek(0)
    notes: list[Reason] = []
    if len(sheets) > 1:
        others = ", ".join(each for each in sheets if each != sheet)
        notes.append(Reason(FileRule.SHEET_READ, {"sheet": sheet, "others": others}))
    if line > 1:
        notes.append(Reason(FileRule.HEAD_BELOW, {"line": line}))
    if facts.n_formulas:
        values = {"formulas": facts.n_formulas, "without": len(facts.empty_formulas)}
        notes.append(Reason(FileRule.FORMULAS, values))
    below = [name for _c1, r1, _c2, r2, name in facts.merged if r2 > line]
    if below:
        rule = FileRule.MERGED_AND_MORE if len(below) > 8 else FileRule.MERGED
        notes.append(Reason(rule, {"areas": ", ".join(below[:8])}))
    return replace(
        wanted,
        is_workbook=True,
        sheet=sheet,
        sheets=sheets,
        header_line=line,
        columns=columns,
        notes=tuple(notes),
        facts=facts,
    )


def _numbered(rows: Iterable[tuple[Any, ...]]) -> Iterator[tuple[int, tuple[Any, ...]]]:
    yield from enumerate(rows, start=1)


def workbook_rows(file: BinaryIO, shape: FileShape, limits: ImportLimits) -> Iterator[SourceRow]:
    """The rows below the head of a sheet, empty ones left out.

    Parameters
    ----------
    file : binary file
        Seekable.
    shape : FileShape
        As `understand_file` gave it.
    limits : ImportLimits
        How much is read.
    """
    width = len(shape.columns)
    book = open_workbook(file, limits)
    try:
        facts = shape.facts or walk_sheet(file, path_of(book, shape.sheet), limits)
        merged = MergedRows(facts.merged)
        for line, cells in _numbered(book[shape.sheet].iter_rows(max_col=width, values_only=True)):
            if line <= shape.header_line:
                continue
            fitted = tuple(cells[:width]) + (None,) * (width - len(cells))
            problems = tuple(_cell_problems(merged, facts, line, width))
            if any(isinstance(cell, str) and len(cell) > LONGEST_CELL for cell in fitted):
                fitted, problems = _shortened(fitted, problems)
            if problems or any(cell_text(cell) for cell in fitted):
                yield SourceRow(line, fitted, None, problems)
    except Halt as halt:
        raise halt.refusal from halt
    except NotATable:
        raise
    except BROKEN_SHEET as error:
        raise NotATable(FileRule.DAMAGED_BELOW) from error
    finally:
        book.close()
        file.seek(0)


# What reading a sheet's cells raises where the XML is broken or its numbers, texts and references cannot be.
BROKEN_SHEET = (ElementTree.ParseError, ValueError, KeyError, IndexError, TypeError, zipfile.BadZipFile, EOFError)
Problems = tuple[tuple[int, Reason], ...]


def _shortened(cells: tuple[Cell, ...], problems: Problems) -> tuple[tuple[Cell, ...], Problems]:
    long = [at for at, cell in enumerate(cells) if isinstance(cell, str) and len(cell) > LONGEST_CELL]
    reason = Reason(FileRule.LONG_CELL, {"most": LONGEST_CELL})
    cut = tuple(cell[:LONGEST_CELL] if isinstance(cell, str) else cell for cell in cells)
    return cut, (*problems, *((at, reason) for at in long))


def _cell_problems(merged: MergedRows, facts: SheetFacts, line: int, width: int) -> Iterator[tuple[int, Reason]]:
    for c1, r1, c2, _r2, name in merged.at(line):
        for column in range(c1, min(c2, width) + 1):
            if (column, line) != (c1, r1):
                yield column - 1, Reason(FileRule.MERGED_CELL, {"area": name})
    if facts.empty_formulas:
        for column in range(1, width + 1):
            if (line, column) in facts.empty_formulas:
                cell = f"{get_column_letter(column)}{line}"
                yield column - 1, Reason(FileRule.EMPTY_FORMULA, {"cell": cell})
