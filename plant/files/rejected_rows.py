"""The refused rows of a file, as a file that can be corrected and sent again."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

from plant.calc import import_rows
from plant.models import ImportBatch

REASONS, LINE = "reasons", "line in the first file"


def rejected_as_csv(batch: ImportBatch) -> Iterator[str]:
    """The open refused rows as a file that can be mended and sent again: the same columns, and the reasons."""
    rows = batch.rejected_rows.open()
    # The order of the file; a data base does not keep the order of a row's cells.
    heads: list[str] = list(batch.options.get("heads", []))
    for row in rows:
        heads += [head for head in row.values if head not in heads]
    delimiter = ";" if batch.options.get("decimal") == "comma" else ","
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=delimiter)

    def line(cells: list[Any]) -> str:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow(cells)
        return buffer.getvalue()

    yield "\ufeff" + line([*heads, REASONS, LINE])  # the mark tells spreadsheet programs that it is UTF-8
    for row in rows:
        reasons = " ".join(each["reason"] for each in row.problems)
        cells = [import_rows.guarded(row.values.get(head, "")) for head in heads]
        yield line([*cells, import_rows.guarded(reasons), row.line_number])
