"""Files that people send in, as rows of cells: what kind of file it is, how it is written, where its head stands.

Nothing is written here and nothing is believed: a name such as ``x.csv`` says nothing, the bytes decide.

1. **Refusals** (`NotATable`) are whole sentences: what the file is, and what to send instead.
2. **Text** is UTF-8 or UTF-16 where the bytes say so; else Windows-1252 unless `charset_normalizer` reads another text.
3. **The delimiter** is the one under which the file has most known column names, then the most even rows.
4. **Workbooks** are zip archives. Sizes are read from the archive's directory before anything is unpacked; Python never
   unpacks more of a member than its directory entry states, so the sum of the stated sizes is a true bound. Merged
   cells and formulas without a saved value are found in the sheet's XML, because openpyxl's streaming reader shows
   neither.
5. **Rows** are handed out one by one with the line number at which a person finds them.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, BinaryIO
from xml.etree import ElementTree

import openpyxl
from charset_normalizer import from_bytes
from openpyxl.utils import get_column_letter, range_boundaries

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
ENCODINGS = ("utf-8", "utf-16", "cp1252", "cp1250", "cp1251", "iso8859_15", "mac_roman")
LOOKED_AT = 512 * 1024  # bytes from which encoding and delimiter are told
MOST_UNPACKED = 400 * 1024 * 1024  # bytes of a workbook when unpacked
MOST_RATIO = 150  # unpacked to packed; sheets of numbers reach about 30
RATIO_FROM = 20 * 1024 * 1024  # a small file may be as regular as it likes
MOST_ROWS = 1_000_000
MOST_COLUMNS = 300
LONGEST_CELL = 10_000
HEAD_WITHIN = 15  # lines among which the head is looked for

Cell = str | int | float | bool | dt.datetime | dt.date | dt.time | dt.timedelta | None


class NotATable(ValueError):
    """The file cannot be read as a table; the message says what it is and what to send."""


@dataclass(frozen=True)
class SourceRow:
    """One row of the file with the line at which it starts, and what is wrong with the row as such."""

    line_number: int
    cells: tuple[Cell, ...]
    problem: str = ""
    cell_problems: tuple[tuple[int, str], ...] = ()  # (column from 0, sentence)


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
    notes: tuple[str, ...] = ()


@dataclass
class SheetFacts:
    """What the streaming reader does not tell about a sheet."""

    merged: list[tuple[int, int, int, int, str]] = field(default_factory=list)  # column, row, column, row, name
    empty_formulas: set[tuple[int, int]] = field(default_factory=set)  # (row, column from 1)
    n_formulas: int = 0


# --- what kind of file ------------------------------------------------------------------------------------------------
_SIGNATURES = (
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "a workbook in the old binary format (.xls) or one with a password"),
    (b"\x1f\x8b", "a packed file (gzip)"),
    (b"7z\xbc\xaf", "a packed file (7z)"),
    (b"Rar!", "a packed file (RAR)"),
    (b"{\\rtf", "a text document (RTF)"),
)
_SEND = "Send a CSV file or an XLSX workbook with one row of column names on top."


def looks_like_workbook(file: BinaryIO) -> bool:
    """Whether the bytes are those of an XLSX workbook; refuses what is no table at all.

    Parameters
    ----------
    file : binary file
        At any position; it is set back to its start.

    Returns
    -------
    bool
        True for XLSX, False for text.

    Raises
    ------
    NotATable
        If it is empty, a picture, a document, a packed file, a web page or other bytes.
    """
    file.seek(0)
    head = file.read(4096)
    file.seek(0)
    if not head.strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
        raise NotATable(f"The file is empty. {_SEND}")
    for signature, what in _SIGNATURES:
        if head.startswith(signature):
            raise NotATable(f"The file is {what}, not a table. {_SEND}")
    if head.startswith(b"PK"):
        check_archive(file)
        return True
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<!doctype html", b"<html", b"<table", b"<?xml", b"<svg")):
        raise NotATable(f"The file is a web page or XML, not a table. {_SEND}")
    if start.startswith((b"{", b"[{")):
        raise NotATable(f"The file is JSON, not a table. {_SEND}")
    if not head.startswith((b"\xff\xfe", b"\xfe\xff")) and not _wide_without_mark(head):
        odd = sum(byte < 9 or 13 < byte < 32 for byte in head)
        if b"\x00" in head or odd > len(head) / 50:
            raise NotATable(f"The file holds binary data, not text. {_SEND}")
    return False


def _wide_without_mark(head: bytes) -> str:
    """UTF-16 without a mark: nearly every second byte of plain text is zero."""
    if len(head) < 8 or len(head) % 2:
        head = head[: len(head) // 2 * 2]
    if len(head) < 8:
        return ""
    even, odd = head[::2].count(0) / (len(head) // 2), head[1::2].count(0) / (len(head) // 2)
    if odd > 0.6 and even < 0.1:
        return "utf-16-le"
    if even > 0.6 and odd < 0.1:
        return "utf-16-be"
    return ""


def check_archive(file: BinaryIO) -> None:
    """Refuse an archive that is no workbook or would unpack to far more than it seems.

    Parameters
    ----------
    file : binary file
        A zip archive; it is set back to its start.

    Raises
    ------
    NotATable
        If it cannot be opened, holds no workbook, unpacks to more than is taken, or declares XML entities.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            members = archive.infolist()
            names = {each.filename for each in members}
            if "xl/workbook.xml" not in names:
                raise NotATable(
                    f"The file is a packed archive (zip) without a workbook in it. Unpack it first. {_SEND}"
                )
            if any(each.flag_bits & 1 for each in members):
                raise NotATable("The workbook is locked with a password. Save it without one and send it again.")
            unpacked = sum(each.file_size for each in members)
            packed = max(sum(each.compress_size for each in members), 1)
            if unpacked > MOST_UNPACKED or (unpacked > RATIO_FROM and unpacked / packed > MOST_RATIO):
                raise NotATable(
                    f"The workbook would unpack to {unpacked / 1e6:,.0f} MB from {packed / 1e6:,.1f} MB, which no "
                    "ordinary sheet does. It was not opened. Copy the rows into a new workbook, or save them as CSV."
                )
            for member in members:
                if member.filename.endswith((".xml", ".rels")):
                    with archive.open(member) as part:
                        if b"<!DOCTYPE" in part.read(4096):
                            raise NotATable("The workbook declares XML entities and was not opened. Save it as CSV.")
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, RuntimeError) as error:
        raise NotATable(f"The workbook is damaged and cannot be opened. {_SEND}") from error
    finally:
        file.seek(0)


# --- text -------------------------------------------------------------------------------------------------------------
def tell_encoding(file: BinaryIO) -> tuple[str, str]:
    """Encoding of a text file, and a note where it had to be guessed.

    Parameters
    ----------
    file : binary file
        Set back to its start.

    Returns
    -------
    tuple of str
        Name of the encoding, and a sentence or an empty text.
    """
    file.seek(0)
    head = file.read(4)
    file.seek(0)
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig", ""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16", ""
    sample = file.read(LOOKED_AT)
    file.seek(0)
    wide = _wide_without_mark(sample[:4096])
    if wide:
        return wide, ""
    if _decodes(file, "utf-8"):
        return "utf-8", ""
    file.seek(0)
    western = sample.decode("cp1252", errors="replace")
    best = from_bytes(sample, cp_isolation=["cp1252", "cp1250", "cp1251", "iso8859_15", "mac_roman"]).best()
    known = best is not None and str(best) != western and "cp1252" not in [best.encoding, *best.could_be_from_charset]
    name = best.encoding if best is not None and known else "cp1252"
    if name == "cp1252" and not _decodes(file, "cp1252"):
        name = "latin-1"
    file.seek(0)
    return name, (
        f"The text is not UTF-8; it was read as {encoding_label(name)}. "
        "Look at letters such as ä, é or ° below and choose another encoding if they are wrong."
    )


def encoding_label(name: str) -> str:
    """Name of an encoding as people see it in their programs.

    Parameters
    ----------
    name : str
        Name as Python knows it, such as utf-8-sig.
    """
    known = {
        "utf-8": "UTF-8",
        "utf-8-sig": "UTF-8",
        "utf-16": "UTF-16",
        "utf-16-le": "UTF-16",
        "utf-16-be": "UTF-16",
        "cp1252": "Windows-1252 (Western)",
        "latin-1": "ISO 8859-1 (Western)",
        "iso8859_15": "ISO 8859-15 (Western)",
        "cp1250": "Windows-1250 (Central European)",
        "cp1251": "Windows-1251 (Cyrillic)",
        "mac_roman": "Mac Roman",
    }
    return known.get(name, name)


def _decodes(file: BinaryIO, encoding: str) -> bool:
    file.seek(0)
    text = io.TextIOWrapper(file, encoding=encoding, errors="strict", newline="")
    try:
        while text.read(1 << 20):
            pass
        return True
    except UnicodeDecodeError:
        return False
    finally:
        text.detach()
        file.seek(0)


def _lines_of(text: Iterable[str], delimiter: str) -> Iterator[tuple[int, list[str], str]]:
    """(line at which the row starts, cells, problem); a broken row is handed out as such and reading goes on."""
    # strict: an inch mark inside a field is fine, a quotation mark that is opened and never closed is not.
    reader = csv.reader(text, delimiter=delimiter, strict=True)
    last = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            start, last = last + 1, max(reader.line_num, last + 1)
            upto = f" up to line {last}" if last > start else ""
            yield (
                start,
                [],
                f"A quotation mark is not closed or stands inside a quoted cell ({error}); nothing was read from this "
                f'line{upto}. Close the quotation mark, or write two ("") for one inside a cell.',
            )
            continue
        start, last = last + 1, reader.line_num
        yield start, cells, ""


def tell_delimiter(sample: str, known: Callable[[str], bool]) -> str:
    """The separator of a text table.

    Parameters
    ----------
    sample : str
        The beginning of the file.
    known : callable
        Whether a cell is the name of a column that is looked for.

    Returns
    -------
    str
        Comma, semicolon, tab or vertical bar; comma where the file has one column only.
    """
    lines = sample.splitlines(keepends=True)[:200]

    def score(delimiter: str) -> tuple[int, float, int]:
        rows = [cells for _line, cells, _problem in _lines_of(lines, delimiter) if any(c.strip() for c in cells)]
        if not rows:
            return 0, 0.0, 0
        names = max(sum(known(cell) for cell in cells) for cells in rows[:HEAD_WITHIN])
        width, n = Counter(len(cells) for cells in rows).most_common(1)[0]
        return names, (n / len(rows) if width > 1 else 0.0), width

    return max(DELIMITERS, key=score)


# --- the head ---------------------------------------------------------------------------------------------------------
def find_header(rows: Iterable[tuple[int, tuple[Cell, ...]]], known: Callable[[str], bool]) -> int:
    """Line of the head: the row with most known names among the first lines, else the first row that is not empty.

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
    counts = [(sum(known(cell_text(cell)) for cell in cells), -line) for line, cells in filled]
    best = max(counts)
    return -best[1] if best[0] > 0 else filled[0][0]


def cell_text(cell: Cell) -> str:
    """A cell as text: times in ISO 8601, whole numbers without a point.

    Parameters
    ----------
    cell : str, number, bool, date, datetime or None
        As the workbook holds it.
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, dt.datetime):
        # Spreadsheets keep times as day counts; half a millisecond off is their rounding.
        rounded = (cell + dt.timedelta(microseconds=500_000)).replace(microsecond=0)
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
    text = str(cell).replace("\x00", "").strip()
    # An apostrophe in front keeps a spreadsheet from taking text for a formula; it is no part of the text.
    return text[1:] if text[:1] == "'" and text[1:2] in FORMULA_MARKS else text


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
    """Names of all columns, told apart by their letter where two are the same or one is empty."""
    texts = [" ".join(cell_text(cell).split()) for cell in cells]
    while texts and not texts[-1]:
        texts.pop()
    times = Counter(text.casefold() for text in texts)
    return tuple(
        f"column {get_column_letter(n)}"
        if not text
        else (f"{text} (column {get_column_letter(n)})" if times[text.casefold()] > 1 else text)
        for n, text in enumerate(texts, start=1)
    )


# --- reading ----------------------------------------------------------------------------------------------------------
def understand_file(file: BinaryIO, known: Callable[[str], bool], wanted: FileShape | None = None) -> FileShape:
    """How a file is written: encoding and delimiter or sheet, the line of its head, its columns.

    Parameters
    ----------
    file : binary file
        Seekable.
    known : callable
        Whether a text is the name of a column that is looked for; the head is the line with most of them.
    wanted : FileShape, optional
        What a person chose; whatever is empty in it is told from the file.

    Returns
    -------
    FileShape
        Complete, with notes for the person.

    Raises
    ------
    NotATable
        If it is no table, or not under the choices made; the message says what to do.
    """
    is_workbook = looks_like_workbook(file)
    wanted = wanted or FileShape(is_workbook)
    shape = _understand_workbook(file, wanted, known) if is_workbook else _understand_text(file, wanted, known)
    if len(shape.columns) > MOST_COLUMNS:
        raise NotATable(f"The file has {len(shape.columns)} columns; at most {MOST_COLUMNS} are read. {_SEND}")
    return shape


def _understand_text(file: BinaryIO, wanted: FileShape, known: Callable[[str], bool]) -> FileShape:
    encoding, note = (wanted.encoding, "") if wanted.encoding else tell_encoding(file)
    notes = [note] if note else []
    file.seek(0)
    try:
        sample = _sample(file, encoding)
    except (UnicodeError, LookupError) as error:
        raise NotATable(f"The file cannot be read as {encoding_label(encoding)}. Choose another encoding.") from error
    told = tell_delimiter(sample, known)
    delimiter = wanted.delimiter or told
    rows = []
    for line, cells, _problem in _lines_of(sample.splitlines(keepends=True)[:200], delimiter):
        rows.append((line, tuple(cells)))
        if len(rows) >= HEAD_WITHIN:
            break
    header_line = wanted.header_line or find_header(rows, known)
    head = next((cells for line, cells in rows if line == header_line), None)
    if head is None:
        raise NotATable(f"There is no row of column names in line {header_line}. Give the line in which they stand.")
    columns = column_names(head)
    if len(columns) == 1 and delimiter != told:
        other = next(column_names(c) for line, c in _first_rows(sample, told) if line == header_line or not header_line)
        if len(other) > 1:
            raise NotATable(
                f"With {DELIMITERS[delimiter]} as separator each row has one column; with {DELIMITERS[told]} it has "
                f"{len(other)}. Choose {DELIMITERS[told]}."
            )
    if header_line > 1:
        notes.append(f"Column names stand in line {header_line}; what is above was left out.")
    return replace(
        wanted,
        is_workbook=False,
        encoding=encoding,
        delimiter=delimiter,
        header_line=header_line,
        columns=columns,
        notes=tuple(notes),
    )


def _first_rows(sample: str, delimiter: str) -> list[tuple[int, tuple[Cell, ...]]]:
    lines = sample.splitlines(keepends=True)[:200]
    return [(line, tuple(cells)) for line, cells, _problem in _lines_of(lines, delimiter)]


def _sample(file: BinaryIO, encoding: str) -> str:
    text = io.TextIOWrapper(file, encoding=encoding, newline="")
    try:
        sample = text.read(LOOKED_AT)
    finally:
        text.detach()
    # The last line may be cut.
    cut = max(sample.rfind("\n"), sample.rfind("\r"))
    return sample[: cut + 1] if len(sample) >= LOOKED_AT and cut > 0 else sample


def _understand_workbook(file: BinaryIO, wanted: FileShape, known: Callable[[str], bool]) -> FileShape:
    book = _open_workbook(file)
    try:
        sheets = tuple(sheet.title for sheet in book.worksheets)
        if not sheets:
            raise NotATable(f"The workbook has no sheet with cells. {_SEND}")
        if wanted.sheet and wanted.sheet not in sheets:
            raise NotATable(f"There is no sheet “{wanted.sheet}”; the workbook has {', '.join(sheets)}.")
        heads = {}
        for title in [wanted.sheet] if wanted.sheet else sheets:
            first = list(_numbered(book[title].iter_rows(max_row=HEAD_WITHIN, values_only=True)))
            line = wanted.header_line or find_header(first, known)
            cells = next((cells for number, cells in first if number == line), ())
            heads[title] = (sum(known(cell_text(cell)) for cell in cells), line, column_names(cells))
        # The sheet with most known names; of equals the first.
        sheet = max(heads, key=lambda title: heads[title][0])
        _n, line, columns = heads[sheet]
        if not columns:
            raise NotATable(f"Sheet “{sheet}” has no row of column names. Choose another sheet or line.")
        facts = read_sheet_facts(file, _path_of(book, sheet))
    finally:
        book.close()
        file.seek(0)
    notes = []
    if len(sheets) > 1:
        others = ", ".join(each for each in sheets if each != sheet)
        notes.append(f"Sheet “{sheet}” is read; not read: {others}.")
    if line > 1:
        notes.append(f"Column names stand in line {line}; what is above was left out.")
    if facts.n_formulas:
        notes.append(
            f"{facts.n_formulas:,} cells hold formulas; the values saved with them are used. "
            f"{len(facts.empty_formulas):,} of them have none saved."
        )
    below = [name for _c1, r1, _c2, r2, name in facts.merged if r2 > line]
    if below:
        notes.append(f"Merged cells: {', '.join(below[:8])}{' and more' if len(below) > 8 else ''}.")
    return replace(
        wanted, is_workbook=True, sheet=sheet, sheets=sheets, header_line=line, columns=columns, notes=tuple(notes)
    )


def _numbered(rows: Iterable[tuple[Any, ...]]) -> Iterator[tuple[int, tuple[Any, ...]]]:
    yield from enumerate(rows, start=1)


def _open_workbook(file: BinaryIO) -> openpyxl.Workbook:
    file.seek(0)
    try:
        return openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
    except Exception as error:  # openpyxl raises whatever its parsers do
        raise NotATable(f"The workbook is damaged and cannot be opened ({type(error).__name__}). {_SEND}") from error


def _path_of(book: openpyxl.Workbook, sheet: str) -> str:
    # openpyxl keeps where a sheet lies in the archive under a private name and offers no other.
    return str(book[sheet]._worksheet_path)


_SPREADSHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


def read_sheet_facts(file: BinaryIO, path: str) -> SheetFacts:
    """Merged ranges, and formulas with and without a saved value, from a sheet's XML.

    Parameters
    ----------
    file : binary file
        The workbook.
    path : str
        Where the sheet lies in the archive.

    Returns
    -------
    SheetFacts
        Coordinates counted from 1.

    Raises
    ------
    NotATable
        If the XML is broken.
    """
    facts = SheetFacts()
    file.seek(0)
    try:
        with zipfile.ZipFile(file) as archive, archive.open(path.lstrip("/")) as part:
            for _event, element in ElementTree.iterparse(part):
                if element.tag == f"{_SPREADSHEET}c":
                    if element.find(f"{_SPREADSHEET}f") is not None:
                        facts.n_formulas += 1
                        value = element.find(f"{_SPREADSHEET}v")
                        if (value is None or not (value.text or "")) and element.get("t") != "str":
                            column, row, _c, _r = range_boundaries(element.get("r", "A1"))
                            facts.empty_formulas.add((int(row or 0), int(column or 0)))
                    element.clear()
                elif element.tag == f"{_SPREADSHEET}row":
                    element.clear()
                elif element.tag == f"{_SPREADSHEET}mergeCell":
                    name = element.get("ref", "")
                    c1, r1, c2, r2 = range_boundaries(name)
                    facts.merged.append((int(c1 or 0), int(r1 or 0), int(c2 or 0), int(r2 or 0), name))
    except (ElementTree.ParseError, KeyError, zipfile.BadZipFile, OSError, EOFError) as error:
        raise NotATable(f"The sheet is damaged and cannot be read. {_SEND}") from error
    finally:
        file.seek(0)
    return facts


def read_rows(file: BinaryIO, shape: FileShape) -> Iterator[SourceRow]:
    """The rows below the head, empty ones left out.

    Parameters
    ----------
    file : binary file
        Seekable.
    shape : FileShape
        As `understand_file` gave it.

    Yields
    ------
    SourceRow
        Cells as wide as the head; a row of another width, a merged cell or a formula without a value is a problem.

    Raises
    ------
    NotATable
        If the file has more rows than are taken, or breaks off.
    """
    rows = _workbook_rows(file, shape) if shape.is_workbook else _text_rows(file, shape)
    for n, row in enumerate(rows, start=1):
        if n > MOST_ROWS:
            raise NotATable(f"The file has more than {MOST_ROWS:,} rows. Cut it into several files.")
        yield row


def _text_rows(file: BinaryIO, shape: FileShape) -> Iterator[SourceRow]:
    file.seek(0)
    text = io.TextIOWrapper(file, encoding=shape.encoding, newline="", errors="replace")
    width = len(shape.columns)
    try:
        for line, cells, problem in _lines_of(text, shape.delimiter):
            if line <= shape.header_line:
                continue
            if problem:
                yield SourceRow(line, ("",) * width, problem)
            elif any(cell.strip() for cell in cells):
                yield _fitted(line, cells, width, shape.delimiter)
    finally:
        text.detach()


def _fitted(line: int, cells: list[str], width: int, delimiter: str) -> SourceRow:
    texts = [cell_text(cell) for cell in cells]
    while len(texts) > width and not texts[-1]:
        texts.pop()
    problem = ""
    if len(texts) != width:
        why = (
            f"a cell may hold a {DELIMITERS.get(delimiter, delimiter)} without quotation marks"
            if len(texts) > width
            else "a separator is missing"
        )
        problem = f"The row has {len(texts)} cells and the head {width}: {why}. Mend the row and try it again."
    too_long = next((n for n, each in enumerate(texts) if len(each) > LONGEST_CELL), None)
    if too_long is not None:
        problem = problem or f"A cell has more than {LONGEST_CELL:,} characters. Shorten it."
    fitted = [each[:LONGEST_CELL] for each in texts[:width]]
    return SourceRow(line, tuple(fitted + [""] * (width - len(fitted))), problem)


def _workbook_rows(file: BinaryIO, shape: FileShape) -> Iterator[SourceRow]:
    width = len(shape.columns)
    book = _open_workbook(file)
    try:
        facts = read_sheet_facts(file, _path_of(book, shape.sheet))
        merged = _MergedRows(facts.merged)
        try:
            for line, cells in _numbered(book[shape.sheet].iter_rows(max_col=width, values_only=True)):
                if line <= shape.header_line:
                    continue
                fitted = tuple(cells[:width]) + (None,) * (width - len(cells))
                problems = tuple(_cell_problems(merged, facts, line, width))
                if any(cell_text(cell) for cell in fitted) or problems:
                    yield SourceRow(line, fitted, "", problems)
        except (ElementTree.ParseError, ValueError, KeyError, zipfile.BadZipFile, EOFError) as error:
            raise NotATable(f"The sheet is damaged below the last row that was read. {_SEND}") from error
    finally:
        book.close()
        file.seek(0)


class _MergedRows:
    """The merged ranges that touch a line; asked for rising lines."""

    def __init__(self, merged: list[tuple[int, int, int, int, str]]) -> None:
        self.ahead = sorted(merged, key=lambda each: each[1], reverse=True)
        self.here: list[tuple[int, int, int, int, str]] = []

    def at(self, line: int) -> list[tuple[int, int, int, int, str]]:
        while self.ahead and self.ahead[-1][1] <= line:
            self.here.append(self.ahead.pop())
        self.here = [each for each in self.here if each[3] >= line]
        return self.here


def _cell_problems(merged: _MergedRows, facts: SheetFacts, line: int, width: int) -> Iterator[tuple[int, str]]:
    for c1, r1, c2, _r2, name in merged.at(line):
        for column in range(c1, min(c2, width) + 1):
            if (column, line) != (c1, r1):
                yield (
                    column - 1,
                    f"The cell belongs to the merged cells {name}, and only the first of them has a value. "
                    "Unmerge them and fill in each cell.",
                )
    if facts.empty_formulas:
        for column in range(1, width + 1):
            if (line, column) in facts.empty_formulas:
                yield (
                    column - 1,
                    f"Cell {get_column_letter(column)}{line} holds a formula without a saved value. Open the workbook "
                    "in a spreadsheet program and save it, or write the value instead of the formula.",
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
