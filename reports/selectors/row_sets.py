"""Tables of plain values, typed, as an edition of the month keeps them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.utils.dateparse import parse_date, parse_datetime

TEXT, NUMBER, DATE, MOMENT = "text", "number", "date", "moment"
Column = tuple[str, str]
RowSet = dict[str, Any]


def row_set(
    columns: Sequence[Column], rows: Iterable[tuple[str, Sequence[Any]]], *, sums: Sequence[int] = (), **filters: int
) -> RowSet:
    """A table as plain values.

    Parameters
    ----------
    columns : sequence of (head, kind)
    rows : iterable of (address of what the row tells of, cells)
    sums : sequence of int, optional
        Columns whose sum stands below the table.
    **filters : int
        Column in which a word of the page's address is looked for, such as belt=1.
    """
    kept = list(rows)
    return {
        "heads": [head for head, _kind in columns],
        "kinds": [kind for _head, kind in columns],
        "rows": [list(cells) for _url, cells in kept],
        "links": [url for url, _cells in kept],
        "sums": list(sums),
        "filters": filters,
    }


def sum_of(values: Sequence[float | None]) -> float | None:
    """Of what is known; None where nothing is, which is no nought."""
    known = [each for each in values if each is not None]
    return sum(known) if known else None


# --- cells as people read them ----------------------------------------------------------------------------------------
def kinds_of(table: Mapping[str, Any]) -> list[str]:
    """Kinds of the columns; editions of earlier versions have none and are shown as text."""
    return list(table.get("kinds") or [TEXT] * len(table["heads"]))


def typed(value: Any, kind: str) -> Any:
    """The stored value as date, moment or number; None where nothing is stored."""
    if value is None or value == "":
        return None
    if kind == MOMENT:
        return parse_datetime(value)
    return parse_date(value) if kind == DATE else value
