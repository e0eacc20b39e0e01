"""The folder in which a plant is taken out: names of its parts, and how its tables are read back, strictly.

The reader of CSV is one of our own. That of Python (before 3.12) and that of pandas take an empty text for nothing
between two commas; that of Apache Arrow 26 tells them apart, but loses the end of a line within a text where its blocks
meet. This one takes RFC 4180 and nothing beside it, so that a file that was saved by another program is seen.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from enum import StrEnum
from pathlib import Path
from typing import Any

# Raised when a folder of before could be misread.
FORMAT = 1
MANIFEST, DICTIONARY, README = "manifest.json", "dictionary.csv", "README.txt"
CSV, PARQUET, PAPERS = "csv", "parquet", "papers"
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
AT_ONCE = 2000  # rows


class FolderRule(StrEnum):
    """What is wrong with a folder."""

    NO_FOLDER = "folder.none"
    NO_MANIFEST = "folder.no_manifest"
    LATER_VERSION = "folder.later_version"
    MISSING = "folder.missing"
    NOT_LISTED = "folder.not_listed"
    UNKNOWN_FILE = "folder.unknown_file"
    BYTE_ORDER_MARK = "folder.byte_order_mark"
    NOT_UTF8 = "folder.not_utf8"
    HEADS_ORDER = "folder.heads_order"
    HEAD_MISSING = "folder.head_missing"
    HEAD_UNKNOWN = "folder.head_unknown"
    CELLS = "folder.cells"
    BREAKS_OFF = "folder.breaks_off"
    UNREADABLE = "folder.unreadable"
    N_ROWS = "folder.n_rows"
    NOT_STATED = "folder.not_stated"
    NO_VALUE = "folder.no_value"
    TOO_LONG = "folder.too_long"
    POINTS_NOWHERE = "folder.points_nowhere"
    TWICE = "folder.twice"
    NO_KEY = "folder.no_key"
    NO_FILE = "folder.no_file"
    CHANGED = "folder.changed"
    PLANT_KNOWN = "folder.plant_known"
    NAME_TAKEN = "folder.name_taken"
    ONE_PLANT = "folder.one_plant"
    REFUSED = "folder.refused"
    NOT_EQUAL = "folder.not_equal"


class TableFault(ValueError):
    """A table cannot be read on; `rule` and `values` say why."""

    def __init__(self, rule: FolderRule, **values: Any) -> None:
        super().__init__(str(rule))
        self.rule, self.values = rule, values


def version_parts(text: str) -> tuple[int, ...]:
    """A version as numbers, to be compared.

    Parameters
    ----------
    text : str
        Such as "0.3.0".

    Examples
    --------
    >>> version_parts("0.3.0") < version_parts("0.10")
    True
    """
    return tuple(int(each) for each in re.findall(r"\d+", text))


CELL = re.compile(r'(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\Z)')


def cells_of(line: str) -> list[str | None] | None:
    """The cells of a row; None where it is no row of CSV.

    Parameters
    ----------
    line : str
        Without its end; a text in quotation marks may hold ends of lines.

    Examples
    --------
    >>> cells_of('"S-12",,"",7')
    ['S-12', None, '', '7']
    """
    cells: list[str | None] = []
    at = 0
    while True:
        found = CELL.match(line, at)
        if found is None:
            return None
        text, bare, end = found.groups()
        cells.append((bare or None) if text is None else text.replace('""', '"'))
        if not end:
            return cells
        at = found.end()


def rows_of_table(path: Path, heads: Sequence[str]) -> Iterator[tuple[int, list[str | None]]]:
    """The rows of a table with their numbers as a spreadsheet counts them: the heads are row 1.

    Parameters
    ----------
    path : Path
        Of a CSV file.
    heads : sequence of str
        Its columns in their order.

    Raises
    ------
    TableFault
        If it is not in UTF-8, the heads are others, a row has more or fewer cells, or the file breaks off.
    """
    for row, line in _lines_of(path):
        cells = cells_of(line)
        if row == 1:
            _check_heads(cells, heads)
        elif cells is None:
            raise TableFault(FolderRule.UNREADABLE, row=row)
        elif len(cells) != len(heads):
            raise TableFault(FolderRule.CELLS, row=row, found=len(cells), wanted=len(heads))
        else:
            yield row, cells


def _lines_of(path: Path) -> Iterator[tuple[int, str]]:
    """Rows as text: a line, or several where a text holds their ends."""
    with path.open("rb") as file:
        row, open_text = 1, b""
        for line in file:
            if row == 1 and line.startswith(BYTE_ORDER_MARK):
                raise TableFault(FolderRule.BYTE_ORDER_MARK)
            open_text += line
            if open_text.count(b'"') % 2:
                continue
            if not line.endswith(b"\n"):
                raise TableFault(FolderRule.BREAKS_OFF, row=row)
            try:
                yield row, open_text.decode("utf-8").removesuffix("\n").removesuffix("\r")
            except UnicodeDecodeError as error:
                raise TableFault(FolderRule.NOT_UTF8, row=row, byte=f"{open_text[error.start]:02x}") from error
            row, open_text = row + 1, b""
        if open_text or row == 1:
            raise TableFault(FolderRule.BREAKS_OFF, row=row)


def _check_heads(found: list[str | None] | None, heads: Sequence[str]) -> None:
    if found == list(heads):
        return
    names = [each or "" for each in found or []]
    unknown, missing = [each for each in names if each not in heads], [each for each in heads if each not in names]
    if unknown:
        raise TableFault(FolderRule.HEAD_UNKNOWN, head=unknown[0])
    if missing:
        raise TableFault(FolderRule.HEAD_MISSING, head=missing[0])
    raise TableFault(FolderRule.HEADS_ORDER, wanted=", ".join(heads))
