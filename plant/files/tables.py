"""Rows of a table as CSV and as a workbook: stored numbers in SI, times by the plant's clock, never a formula."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterable, Iterator
from typing import Any

from django.utils import timezone
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from plant.calc.import_rows import guarded
from plant.calc.units import UnitSystem

XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class Echo:
    """A file that hands back each line that csv writes, for a streamed answer."""

    def write(self, line: str) -> str:
        return line


def plain(value: Any, zone: dt.tzinfo) -> Any:
    """A value as it stands in a file: ISO 8601 in the plant's clock for times, numbers as numbers."""
    if isinstance(value, dt.datetime):
        return value.astimezone(zone).isoformat(timespec="seconds")
    if isinstance(value, dt.date):
        return value.isoformat()
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    return str(value)


def lines_of(table: Any, zone: dt.tzinfo) -> Iterator[list[Any]]:
    """Head and rows of a django_tables2 table, unpaged, without the columns that it keeps out of files."""
    if hasattr(table, "use_units"):
        table.use_units(UnitSystem.METRIC)  # files hold stored numbers, so their heads name SI units
    rows = table.as_values(exclude_columns=getattr(table, "exclude_from_files", ()))
    while True:
        # A streamed answer is written after the middleware has put the plant's clock away again.
        with timezone.override(zone):  # around each row, for words such as "4 days late"
            row = next(rows, None)
        if row is None:
            return
        cells = (plain(value, zone) for value in row)
        yield [guarded(each) if isinstance(each, str) else each for each in cells]


def csv_lines(lines: Iterable[list[Any]]) -> Iterator[str]:
    """Each line as CSV has it, one by one."""
    writer = csv.writer(Echo())
    return (writer.writerow(line) for line in lines)


def workbook_of(lines: Iterable[list[Any]]) -> bytes:
    """The lines as a workbook of one sheet."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet("rows")
    for line in lines:
        cells = []
        for value in line:
            cell = WriteOnlyCell(sheet, value=value)
            if isinstance(value, str):
                cell.data_type = "s"  # never a formula, whatever the text begins with
            cells.append(cell)
        sheet.append(cells)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()
