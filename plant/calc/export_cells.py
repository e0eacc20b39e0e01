"""Cells of the files in which a plant is taken out: values as text and back, exactly and the same in every language.

Numbers as Python writes them (the shortest text that is the same number again), times in UTC by ISO 8601, days as days,
yes and no as `true` and `false`. Nothing between two commas is "not stated"; an empty text is two quotation marks, as
PostgreSQL writes and reads CSV. A text that a spreadsheet would take for a formula has an apostrophe in front.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
import uuid
from collections.abc import Callable, Iterable, Sequence
from enum import StrEnum
from typing import Any

from plant.calc.import_rows import guarded


class CellKind(StrEnum):
    """What a column holds."""

    TEXT = "text"
    WHOLE = "integer"
    NUMBER = "number"
    YES_NO = "true/false"
    DAY = "day"
    MOMENT = "moment"
    JSON = "JSON"


# Last words of a column's name and the unit that they stand for, the longest first.
UNITS = {
    "_m_s": "m/s",
    "_mm": "mm",
    "_nm": "N·m",
    "_kg": "kg",
    "_deg": "°",
    "_pct": "%",
    "_days": "d",
    "_minutes": "min",
    "_years": "a",
    "_m": "m",
    "_h": "h",
    "_s": "s",
    "_t": "t",
    "_n": "N",
}
# A whole number of JSON in a data base may have lost its point and its exponent there.
WHOLE_FROM = 1e15


class CellFault(ValueError):
    """A text is no value of its column."""


def unit_of(name: str) -> str:
    """The unit that the name of a column ends with; empty where it names none.

    Parameters
    ----------
    name : str
        Such as "torque_nm".

    Examples
    --------
    >>> unit_of("torque_nm"), unit_of("speed_m_s"), unit_of("note")
    ('N·m', 'm/s', '')
    """
    return next((unit for ending, unit in UNITS.items() if name.endswith(ending)), "")


def json_text(value: Any) -> str:
    """JSON on one line, the same for the same content whatever a data base made of it.

    Parameters
    ----------
    value : Any
        As `json.loads` gives it.
    """
    return json.dumps(_plain(value), ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(name): _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, float) and abs(value) >= WHOLE_FROM and value == int(value):
        return int(value)
    return value


# --- out --------------------------------------------------------------------------------------------------------------
def moment_text(value: dt.datetime) -> str:
    """A moment in UTC, to the microsecond where it has any.

    Parameters
    ----------
    value : datetime
        With its zone.

    Examples
    --------
    >>> moment_text(dt.datetime(2026, 11, 30, 12, 5, tzinfo=dt.timezone(dt.timedelta(hours=1))))
    '2026-11-30T11:05:00Z'
    """
    return value.astimezone(dt.UTC).replace(tzinfo=None).isoformat() + "Z"


def _text(value: Any) -> str:
    return '"' + guarded_text(str(value)).replace('"', '""') + '"'


def guarded_text(text: str) -> str:
    """Text with an apostrophe in front where a spreadsheet would take it for a formula, or where it begins with one.

    Parameters
    ----------
    text : str
        As it stands in the book.
    """
    return f"'{text}" if text.startswith("'") else guarded(text)


_WRITERS: dict[CellKind, Callable[[Any], str]] = {
    CellKind.TEXT: _text,
    CellKind.JSON: _text,
    CellKind.WHOLE: str,
    CellKind.NUMBER: lambda value: repr(float(value)),
    CellKind.YES_NO: lambda value: "true" if value else "false",
    CellKind.DAY: lambda value: str(value.isoformat()),
    CellKind.MOMENT: moment_text,
}


def csv_line(values: Iterable[Any], kinds: Iterable[CellKind]) -> str:
    """One row as CSV has it (RFC 4180), with its end.

    Parameters
    ----------
    values : iterable
        None where nothing is stated.
    kinds : iterable of CellKind
        One for each value.
    """
    return (
        ",".join("" if value is None else _WRITERS[kind](value) for value, kind in zip(values, kinds, strict=True))
        + "\r\n"
    )


def head_line(names: Iterable[str]) -> str:
    """The first line of a file.

    Parameters
    ----------
    names : iterable of str
        Of its columns.
    """
    return ",".join(names) + "\r\n"


class RowsHash:
    """What the rows of a table come to, in whatever order they come."""

    MODULUS = 2**256

    def __init__(self) -> None:
        self.n_rows = 0
        self._sum = 0

    def add(self, line: str) -> None:
        self._sum = (self._sum + int.from_bytes(hashlib.sha256(line.encode()).digest(), "big")) % self.MODULUS
        self.n_rows += 1

    def __str__(self) -> str:
        return f"{self.n_rows} {self._sum:064x}"


# --- back -------------------------------------------------------------------------------------------------------------
MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{6})?Z")
DAY = re.compile(r"\d{4}-\d\d-\d\d")
WHOLE = re.compile(r"-?\d{1,19}")
NUMBER = re.compile(r"-?\d+(\.\d+)?(e[+-]?\d+)?")


def _matching(pattern: re.Pattern[str], text: str) -> str:
    if not pattern.fullmatch(text):
        raise CellFault(text)
    return text


def _text_back(text: str) -> str:
    return text.removeprefix("'")


def _json_back(text: str) -> Any:
    return json.loads(_text_back(text))


def _yes_no_back(text: str) -> bool:
    if text not in ("true", "false"):
        raise CellFault(text)
    return text == "true"


_READERS: dict[CellKind, Callable[[str], Any]] = {
    CellKind.TEXT: _text_back,
    CellKind.JSON: _json_back,
    CellKind.WHOLE: lambda text: int(_matching(WHOLE, text)),
    CellKind.NUMBER: lambda text: float(_matching(NUMBER, text)),
    CellKind.YES_NO: _yes_no_back,
    CellKind.DAY: lambda text: dt.date.fromisoformat(_matching(DAY, text)),
    CellKind.MOMENT: lambda text: dt.datetime.fromisoformat(_matching(MOMENT, text)),
}


def value_of(text: str | None, kind: CellKind) -> Any:
    """The value that a cell holds; None where nothing stands between two commas.

    Parameters
    ----------
    text : str or None
        As it stands in the file.
    kind : CellKind
        Of the column.

    Raises
    ------
    CellFault
        If it is no value of this kind.
    """
    if text is None:
        return None
    try:
        return _READERS[kind](text)
    except (ValueError, OverflowError) as error:
        raise CellFault(text) from error


# --- row keys in addresses and JSON -----------------------------------------------------------------------------------
MARK = re.compile(r"\{([a-z_]+):([^{}]+)\}")


def marked(file: str, key: str) -> str:
    """A row as it stands within a text: its file and its key.

    Parameters
    ----------
    file : str
        Name of the file.
    key : str
        Row key.
    """
    return f"{{{file}:{key}}}"


def strings_mapped(value: Any, change: Callable[[str], str]) -> Any:
    """JSON with each of its texts changed.

    Parameters
    ----------
    value : Any
        As `json.loads` gives it.
    change : callable
        Text to text.
    """
    if isinstance(value, str):
        return change(value)
    if isinstance(value, dict):
        return {name: strings_mapped(each, change) for name, each in value.items()}
    return [strings_mapped(each, change) for each in value] if isinstance(value, list) else value


def keys_mapped(value: Any, entry: str, change: Callable[[Any], Any]) -> Any:
    """JSON with the keys of rows in it changed; those that come to nothing are left out.

    Parameters
    ----------
    value : Any
        A list of keys, or, with an entry, a list of mappings that hold such a list under it.
    entry : str
        Its name; empty for a list of keys.
    change : callable
        Key to key, or None.
    """
    if not isinstance(value, list):
        return value
    if not entry:
        return [fresh for fresh in map(change, value) if fresh is not None]
    return [
        {**each, entry: keys_mapped(each.get(entry), "", change)} if isinstance(each, dict) else each for each in value
    ]


def is_uuid(text: str) -> bool:
    """Whether a text is a row key as the files write it.

    Parameters
    ----------
    text : str
        Small letters and dashes.
    """
    try:
        return str(uuid.UUID(text)) == text
    except ValueError:
        return False


def row_hash(cells: Sequence[str | None]) -> bytes:
    """Sixteen bytes that stand for the cells of a row, to know it by when it comes twice.

    Parameters
    ----------
    cells : sequence of str or None
        As they stand in the file.
    """
    return hashlib.blake2b(json.dumps(cells).encode(), digest_size=16).digest()
