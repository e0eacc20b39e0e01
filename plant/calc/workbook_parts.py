"""What lies in a workbook's archive, looked at before the library that reads its cells is let near it.

A workbook is a zip archive of XML parts. Reading one is safe in this order:

1. **Sizes** come from the archive's directory, before anything is unpacked. Python never unpacks more of a member than
   its directory entry states, so the sums of the stated sizes are true bounds.
2. **Parts** are walked with a parser that builds nothing: an entity declaration is refused wherever it stands, rows and
   cells are counted, and merged areas and formulas without a saved value are kept, which openpyxl's streaming reader
   shows neither of.
3. **openpyxl** reads cells from what passed, through an archive that stops handing out bytes when time is up.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import IO, Any, BinaryIO
from xml.parsers import expat

from openpyxl.reader.excel import ExcelReader
from openpyxl.utils import column_index_from_string, range_boundaries
from openpyxl.workbook import Workbook

from plant.calc.import_limits import (
    LAST_LINE,
    MOST_CELLS_OF_A_ROW,
    MOST_MERGED,
    MOST_RATIO,
    MOST_SHEETS,
    MOST_SMALL_PART,
    MOST_TEXTS,
    RATIO_FROM,
    FileRule,
    ImportLimits,
    NotATable,
)

CHUNK = 1 << 16
BROKEN = (
    zipfile.BadZipFile, NotImplementedError, EOFError, OSError, RuntimeError, zlib.error, KeyError, ValueError,
    OverflowError,
)  # fmt: skip


# --- sizes ------------------------------------------------------------------------------------------------------------
def check_archive(file: BinaryIO, limits: ImportLimits) -> None:
    """Refuse an archive that is no workbook or would unpack to more than is read. Nothing is unpacked for it.

    Parameters
    ----------
    file : binary file
        A zip archive; it is set back to its start.
    limits : ImportLimits
        Says how many bytes unpacked are read.

    Raises
    ------
    NotATable
        If it cannot be opened, holds no workbook, is locked, or is too large.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            check_members(archive.infolist(), limits)
    except NotATable:
        raise
    except BROKEN as error:
        raise NotATable(FileRule.DAMAGED) from error
    finally:
        file.seek(0)


def check_members(members: list[zipfile.ZipInfo], limits: ImportLimits) -> None:
    """Refuse by what the archive's directory states of cells and texts; pictures and the like are never read.

    Parameters
    ----------
    members : list of ZipInfo
        The directory.
    limits : ImportLimits
        Says how many bytes unpacked are read.

    Raises
    ------
    NotATable
        With the bound that it passes.
    """
    if not any(each.filename == "xl/workbook.xml" for each in members):
        raise NotATable(FileRule.NO_WORKBOOK)
    if any(each.flag_bits & 1 for each in members):
        raise NotATable(FileRule.LOCKED)
    sheets = [each for each in members if is_sheet(each.filename)]
    read = [*sheets, *(each for each in members if is_texts(each.filename))]
    unpacked, packed = sum(each.file_size for each in read), sum(each.compress_size for each in read)
    sizes = {"unpacked_mb": round(unpacked / 1e6), "packed_mb": round(packed / 1e6, 1)}
    if unpacked > RATIO_FROM and unpacked > MOST_RATIO * packed:
        raise NotATable(FileRule.UNPACKS_ODDLY, **sizes)
    if unpacked > limits.unpacked_mb * 1_000_000:
        raise NotATable(FileRule.UNPACKS_TO_MORE, **sizes, most_mb=limits.unpacked_mb)
    if len(sheets) > MOST_SHEETS:
        raise NotATable(FileRule.MORE_SHEETS, most=MOST_SHEETS)


def is_sheet(name: str) -> bool:
    """Whether a part holds the cells of a sheet."""
    return name.startswith("xl/worksheets/") and name.endswith(".xml")


def is_texts(name: str) -> bool:
    """Whether a part is the table of texts that cells share."""
    return name.casefold() == "xl/sharedstrings.xml"


# --- an archive that stops --------------------------------------------------------------------------------------------
class Halt(Exception):
    """Carries a refusal out through the library that was reading, which makes faults of its own of other errors."""

    def __init__(self, refusal: NotATable) -> None:
        super().__init__(str(refusal))
        self.refusal = refusal


class Stoppable(io.RawIOBase):
    """A member's bytes, handed out only while there is time."""

    def __init__(self, member: IO[bytes], limits: ImportLimits) -> None:
        super().__init__()
        self.member, self.limits = member, limits

    def readable(self) -> bool:
        return True

    def read(self, size: int | None = -1, /) -> bytes:
        try:
            self.limits.look(0)
        except NotATable as refusal:
            raise Halt(refusal) from refusal
        return self.member.read(-1 if size is None else size)

    def close(self) -> None:
        self.member.close()
        super().close()


# openpyxl looks through each sheet for its size when it opens a workbook, to the very end where none is stated.
_NO_ROWS = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData/></worksheet>'


class BoundedArchive(zipfile.ZipFile):
    """A workbook's archive whose parts are looked at when they are asked for, and that stops when time is up.

    While it `is_opening`, sheets look empty and cost nothing.
    """

    def __init__(self, file: BinaryIO, limits: ImportLimits) -> None:
        super().__init__(file)
        self.limits, self.is_opening = limits, True

    def open(self, name: Any, *args: Any, **more: Any) -> Any:
        info = name if isinstance(name, zipfile.ZipInfo) else self.getinfo(name)
        if not is_sheet(info.filename):
            try:
                self.check_part(info)
            except NotATable as refusal:
                raise Halt(refusal) from refusal
        elif self.is_opening:
            return io.BytesIO(_NO_ROWS)
        return Stoppable(super().open(info, *args, **more), self.limits)

    def check_part(self, info: zipfile.ZipInfo) -> None:
        """Refuse a part that is too large or declares entities; sheets are walked by themselves."""
        most = int(self.limits.unpacked_mb * 1_000_000 * MOST_TEXTS) if is_texts(info.filename) else MOST_SMALL_PART
        if info.file_size > most:
            sizes = {"size_mb": round(info.file_size / 1e6, 1), "most_mb": round(most / 1e6, 1)}
            raise NotATable(FileRule.LARGE_PART, part=info.filename, **sizes)
        if info.filename.endswith((".xml", ".rels")):
            with super().open(info) as part:
                walk(part, self.limits)


def open_workbook(file: BinaryIO, limits: ImportLimits) -> Workbook:
    """The workbook, its rows still unread.

    Parameters
    ----------
    file : binary file
        A workbook whose archive was checked.
    limits : ImportLimits
        Say how much is read and how long it may take.

    Returns
    -------
    openpyxl.Workbook
        Read only; its sheets have no size, so that rows are read as far as there are any.

    Raises
    ------
    NotATable
        If it is damaged, declares entities, has a part that is too large, or takes too long.
    """
    file.seek(0)
    try:
        reader = ExcelReader(file, read_only=True, data_only=True, keep_links=False)
        reader.archive = archive = BoundedArchive(file, limits)
        reader.read()
        archive.is_opening = False
    except Halt as halt:
        raise halt.refusal from halt
    except Exception as error:  # openpyxl raises whatever its parsers do
        raise NotATable(FileRule.DAMAGED_BY, error=type(error).__name__) from error
    book: Workbook = reader.wb
    for sheet in book.worksheets:
        sheet.reset_dimensions()
    return book


def path_of(book: Workbook, sheet: str) -> str:
    """Where a sheet lies in the archive.

    Parameters
    ----------
    book : openpyxl.Workbook
    sheet : str
        Its title.
    """
    # openpyxl keeps it under a private name and offers no other.
    return str(book[sheet]._worksheet_path).lstrip("/")


# --- walking parts ----------------------------------------------------------------------------------------------------
def walk(part: IO[bytes], limits: ImportLimits, parser: Any = None) -> None:
    """Walk XML without building anything of it.

    Parameters
    ----------
    part : binary file
    limits : ImportLimits
        Say how long it may take.
    parser : optional
        One that has handlers.

    Raises
    ------
    NotATable
        If it declares entities, is broken, or takes too long.
    """
    parser = parser or new_parser()
    try:
        while chunk := part.read(CHUNK):
            limits.look(0)
            parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise NotATable(FileRule.DAMAGED) from error


def new_parser() -> Any:
    """A parser without handlers that refuses a part which declares entities."""
    parser = expat.ParserCreate(namespace_separator=" ")

    def declared(*_args: Any) -> None:
        raise NotATable(FileRule.ENTITIES)

    parser.StartDoctypeDeclHandler = declared
    return parser


@dataclass
class SheetFacts:
    """What the streaming reader does not tell about a sheet."""

    merged: list[tuple[int, int, int, int, str]] = field(default_factory=list)  # column, row, column, row, name
    empty_formulas: set[tuple[int, int]] = field(default_factory=set)  # (row, column from 1)
    n_formulas: int = 0
    n_filled: int = 0  # rows below the head with a value in one of its columns


class _Enough(Exception):
    """Ends a walk early."""


_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main "


class _SheetWalk:
    """Counts rows and cells of a sheet while its XML goes by, and keeps its facts."""

    def __init__(self, limits: ImportLimits, header_line: int, width: int, last_line: int | None) -> None:
        self.limits, self.header_line, self.width, self.last_line = limits, header_line, width, last_line
        self.facts = SheetFacts()
        self.n_rows = self.n_cells = self.line = self.column = 0
        self.is_filled = self.in_formula_cell = False
        self.saved = ""
        self.parser = new_parser()
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.buffer_text = True

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == _MAIN + "c":
            self.cell(attributes)
        elif name in (_MAIN + "v", _MAIN + "is"):
            if self.in_formula_cell:
                self.parser.CharacterDataHandler = self.text
            elif not self.is_filled and self.column <= self.width:
                self.is_filled = True
        elif name == _MAIN + "f":
            self.facts.n_formulas += 1
            self.in_formula_cell = True
        elif name == _MAIN + "row":
            self.row(attributes)
        elif name == _MAIN + "mergeCell":
            self.merge(attributes.get("ref", ""))

    def row(self, attributes: dict[str, str]) -> None:
        self.n_rows += 1
        self.line = int(float(attributes.get("r") or self.line + 1))
        self.n_cells, self.column, self.is_filled = 0, 0, False
        if not 0 < self.line <= LAST_LINE:
            raise NotATable(FileRule.NO_SUCH_LINE, line=self.line, most=LAST_LINE)
        if self.last_line is not None and self.line > self.last_line:
            raise _Enough
        # Rows that are there but empty cost time as well; ten times as many are let pass.
        self.limits.look(max(self.facts.n_filled, self.n_rows // 10))

    def cell(self, attributes: dict[str, str]) -> None:
        self.n_cells += 1
        if self.n_cells > MOST_CELLS_OF_A_ROW:
            raise NotATable(FileRule.MORE_CELLS, line=self.line, most=MOST_CELLS_OF_A_ROW)
        place = attributes.get("r", "")
        self.column = column_index_from_string(place.rstrip("0123456789")) if place else self.column + 1
        self.in_formula_cell, self.saved = False, "" if attributes.get("t") != "str" else " "

    def text(self, data: str) -> None:
        self.saved = (self.saved + data)[:9]

    def end(self, name: str) -> None:
        if name == _MAIN + "c" and self.in_formula_cell:
            self.parser.CharacterDataHandler = None
            if not self.saved:
                self.facts.empty_formulas.add((self.line, self.column))
            if self.column <= self.width:
                self.is_filled = True  # a formula without a value is a problem that the person is told of
            self.in_formula_cell = False
        elif name == _MAIN + "row":
            self.facts.n_filled += self.is_filled and self.line > self.header_line

    def merge(self, name: str) -> None:
        if len(self.facts.merged) >= MOST_MERGED:
            raise NotATable(FileRule.MORE_MERGED, most=MOST_MERGED)
        c1, r1, c2, r2 = range_boundaries(name)
        self.facts.merged.append((int(c1 or 0), int(r1 or 0), int(c2 or 0), int(r2 or 0), name))


def walk_sheet(
    file: BinaryIO,
    path: str,
    limits: ImportLimits,
    *,
    header_line: int = 0,
    width: int = MOST_CELLS_OF_A_ROW,
    last_line: int | None = None,
) -> SheetFacts:
    """Merged ranges, formulas with and without a saved value, and how many rows have values, from a sheet's XML.

    Parameters
    ----------
    file : binary file
        The workbook.
    path : str
        Where the sheet lies in the archive.
    limits : ImportLimits
        How many rows are read and how long it may take.
    header_line, width : int, optional
        Rows below that line are counted that have a value in the first so many columns.
    last_line : int, optional
        Where to stop; to the end if left out.

    Returns
    -------
    SheetFacts
        Coordinates counted from 1.

    Raises
    ------
    NotATable
        If the XML is broken, or there are more rows, cells or merged areas than are read.
    """
    looks = _SheetWalk(limits, header_line, width, last_line)
    file.seek(0)
    try:
        with zipfile.ZipFile(file) as archive, archive.open(path) as part:
            walk(part, limits, looks.parser)
    except _Enough:
        pass
    except NotATable:
        raise
    except BROKEN as error:
        raise NotATable(FileRule.DAMAGED_SHEET) from error
    finally:
        file.seek(0)
    return looks.facts


# --- merged cells -----------------------------------------------------------------------------------------------------
class MergedRows:
    """The merged ranges that touch a line; asked for rising lines."""

    def __init__(self, merged: Iterable[tuple[int, int, int, int, str]]) -> None:
        self.ahead = sorted(merged, key=lambda each: each[1], reverse=True)
        self.here: list[tuple[int, int, int, int, str]] = []

    def at(self, line: int) -> Iterator[tuple[int, int, int, int, str]]:
        while self.ahead and self.ahead[-1][1] <= line:
            self.here.append(self.ahead.pop())
        if self.here:
            self.here = [each for each in self.here if each[3] >= line]
        return iter(self.here)
