"""Rows of a table that leaves the site, as Parquet."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from plant.calc.export_cells import CellKind
from plant.selectors.export_tables import ExportColumn

Rows = list[tuple[Any, ...]]

ARROW = {
    CellKind.TEXT: pa.string(),
    CellKind.JSON: pa.string(),
    CellKind.WHOLE: pa.int64(),
    CellKind.NUMBER: pa.float64(),
    CellKind.YES_NO: pa.bool_(),
    CellKind.DAY: pa.date32(),
    CellKind.MOMENT: pa.timestamp("us", "UTC"),
}


def schema_of(columns: tuple[ExportColumn, ...]) -> pa.Schema:
    return pa.schema([pa.field(each.name, ARROW[each.kind]) for each in columns])


def frame_of(chunk: Rows, columns: tuple[ExportColumn, ...]) -> pd.DataFrame:
    """Rows as a typed frame, in which "not stated" is not an empty text and no number."""
    cells = zip(*chunk, strict=True)
    return pd.DataFrame(
        {
            each.name: pd.arrays.ArrowExtensionArray(pa.array(values, ARROW[each.kind]))
            for each, values in zip(columns, cells, strict=True)
        }
    )


@contextlib.contextmanager
def parquet_rows(file: Any, columns: tuple[ExportColumn, ...]) -> Iterator[Callable[[Rows], None]]:
    """What writes rows into a file, piece by piece; the file is whole when it ends."""
    schema = schema_of(columns)
    with pq.ParquetWriter(file, schema) as writer:
        yield lambda rows: writer.write_table(
            pa.Table.from_pandas(frame_of(rows, columns), schema, preserve_index=False)
        )
