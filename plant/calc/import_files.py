"""Files that people send in, as rows of cells: what kind of file it is, how it is written, where its head stands.

Nothing is written here and nothing is believed: a name such as ``x.csv`` says nothing, the bytes decide.

1. **Refusals** (`NotATable`) are whole sentences: what the file is, and what to send instead.
2. **Text** is UTF-8 or UTF-16 where the bytes say so; else Windows-1252 unless `charset_normalizer` reads another text.
3. **The delimiter** is the one under which the file has most known column names, then the most even rows.
4. **Workbooks** are looked at part by part before their cells are read (`plant.calc.workbook_parts`).
5. **Rows** are handed out one by one with the line number at which a person finds them.
6. **Bounds** (`plant.calc.import_limits`): rows, columns, characters, unpacked bytes and seconds. Whoever calls gives
   the clock; without one only the rest holds.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any, BinaryIO
from xml.etree import ElementTree

from charset_normalizer import from_bytes
from openpyxl.utils import get_column_letter

from plant.calc.import_limits import (
    LONGEST_CELL,
    LONGEST_HEAD,
    LONGEST_ROW,
    LOOK_EVERY,
    MOST_COLUMNS,
    Limits,
    NotATable,
)
from plant.calc.workbook_parts import (
    SEND,
    Halt,
    MergedRows,
    SheetFacts,
    check_archive,
    open_workbook,
    path_of,
    walk_sheet,
)

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
ENCODINGS = ("utf-8", "utf-16", "cp1252", "cp1250", "cp1251", "iso8859_15", "mac_roman")
LOOKED_AT = 512 * 1024  # bytes from which encoding and delimiter are told
LINES_LOOKED_AT = 200
HEAD_WITHIN = 15  # lines among which the head is looked for

Cell = str | int | float | bool | dt.datetime | dt.date | dt.time | dt.timedelta | None


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
    facts: SheetFacts | None = field(default=None, compare=False, repr=False)  # of the sheet that is read


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


def looks_like_workbook(file: BinaryIO, limits: Limits | None = None) -> bool:
    """Whether the bytes are those of an XLSX workbook; refuses what is no table at all.

    Parameters
    ----------
    file : binary file
        At any position; it is set back to its start.
    limits : Limits, optional
        How large a workbook may be.

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
        raise NotATable(f"The file is empty. {SEND}")
    for signature, what in _SIGNATURES:
        if head.startswith(signature):
            raise NotATable(f"The file is {what}, not a table. {SEND}")
    if head.startswith(b"PK"):
        check_archive(file, limits or Limits())
        return True
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<!doctype html", b"<html", b"<table", b"<?xml", b"<svg")):
        raise NotATable(f"The file is a web page or XML, not a table. {SEND}")
    if start.startswith((b"{", b"[{")):
        raise NotATable(f"The file is JSON, not a table. {SEND}")
    if not head.startswith((b"\xff\xfe", b"\xfe\xff")) and not _wide_without_mark(head):
        odd = sum(byte < 9 or 13 < byte < 32 for byte in head)
        if b"\x00" in head or odd > len(head) / 50:
            raise NotATable(f"The file holds binary data, not text. {SEND}")
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
    if name == "mac_roman" and not re.search(rb"[\x80-\x9f]", sample):
        name = "cp1252"  # the accented letters of Mac Roman lie there, those of Windows-1252 above
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


class _Lines:
    """Lines of a text file as the csv reader asks for them; a row without an end is refused before it fills memory."""

    def __init__(self, text: io.TextIOWrapper) -> None:
        self.text = text
        self.n_lines = self.n_characters = 0

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = self.text.readline(LONGEST_ROW + 1)
        if not line:
            raise StopIteration
        self.n_lines += 1
        self.n_characters += len(line)
        if self.n_characters > LONGEST_ROW:
            raise NotATable(
                f"The row that ends in line {self.n_lines:,} has more than {LONGEST_ROW:,} characters. Look there for "
                f"a quotation mark that is never closed, or for lines that have lost their ends. {SEND}"
            )
        return line

    def end_row(self) -> None:
        self.n_characters = 0


def _lines_of(text: Iterable[str], delimiter: str) -> Iterator[tuple[int, list[str], str]]:
    """(line at which the row starts, cells, problem); a broken row is handed out as such and reading goes on."""
    # strict: an inch mark inside a field is fine, a quotation mark that is opened and never closed is not.
    reader = csv.reader(text, delimiter=delimiter, strict=True)
    last = 0
    while True:
        if isinstance(text, _Lines):
            text.end_row()
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
    lines = sample.splitlines(keepends=True)[:LINES_LOOKED_AT]

    def score(delimiter: str) -> tuple[int, float, int]:
        rows = [cells for _line, cells, _problem in _lines_of(lines, delimiter) if any(c.strip() for c in cells)]
        if not rows:
            return 0, 0.0, 0
        names = max(_n_known(cells, known) for cells in rows[:HEAD_WITHIN])
        width, n = Counter(len(cells) for cells in rows).most_common(1)[0]
        return names, (n / len(rows) if width > 1 else 0.0), width

    return max(DELIMITERS, key=score)


def _n_known(cells: Sequence[Cell], known: Callable[[str], bool]) -> int:
    return sum(known(cell_text(cell)[:LONGEST_HEAD]) for cell in cells[: MOST_COLUMNS + 1])


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
    counts = [(_n_known(cells, known), -line) for line, cells in filled]
    best = max(counts)
    return -best[1] if best[0] > 0 else filled[0][0]


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
    """Names of all columns, told apart by their letter where two are the same or one is empty."""
    texts = [" ".join(cell_text(cell).split())[:LONGEST_HEAD] for cell in cells]
    while texts and not texts[-1]:
        texts.pop()
    if len(texts) > MOST_COLUMNS:
        raise NotATable(f"The file has {len(texts):,} columns; at most {MOST_COLUMNS} are read. {SEND}")
    times = Counter(text.casefold() for text in texts)
    return tuple(
        f"column {get_column_letter(n)}"
        if not text
        else (f"{text} (column {get_column_letter(n)})" if times[text.casefold()] > 1 else text)
        for n, text in enumerate(texts, start=1)
    )


# --- reading ----------------------------------------------------------------------------------------------------------
def understand_file(
    file: BinaryIO, known: Callable[[str], bool], wanted: FileShape | None = None, limits: Limits | None = None
) -> FileShape:
    """How a file is written: encoding and delimiter or sheet, the line of its head, its columns.

    Parameters
    ----------
    file : binary file
        Seekable.
    known : callable
        Whether a text is the name of a column that is looked for; the head is the line with most of them.
    wanted : FileShape, optional
        What a person chose; whatever is empty in it is told from the file.
    limits : Limits, optional
        How much is read.

    Returns
    -------
    FileShape
        Complete, with notes for the person.

    Raises
    ------
    NotATable
        If it is no table, or not under the choices made; the message says what to do.
    """
    limits = limits or Limits()
    is_workbook = looks_like_workbook(file, limits)
    wanted = wanted or FileShape(is_workbook)
    if is_workbook:
        return _understand_workbook(file, wanted, known, limits)
    return _understand_text(file, wanted, known)


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
    rows = _first_rows(sample, delimiter, wanted.header_line)
    header_line = wanted.header_line or find_header(rows, known)
    head = next((cells for line, cells in rows if line == header_line), None)
    if head is None:
        raise NotATable(f"There is no row of column names in line {header_line}. Give the line in which they stand.")
    columns = column_names(head)
    if len(columns) == 1 and delimiter != told:
        others = _first_rows(sample, told, header_line)
        other = next((column_names(cells) for line, cells in others if line == header_line), ())
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


def _first_rows(sample: str, delimiter: str, header_line: int) -> list[tuple[int, tuple[Cell, ...]]]:
    """The rows among which the head is: the first ones, and as far as the line that a person chose."""
    lines = sample.splitlines(keepends=True)[: max(LINES_LOOKED_AT, header_line)]
    rows: list[tuple[int, tuple[Cell, ...]]] = []
    for line, cells, _problem in _lines_of(lines, delimiter):
        if len(rows) >= HEAD_WITHIN and line > header_line:
            break
        rows.append((line, tuple(cells)))
    return rows


def _sample(file: BinaryIO, encoding: str) -> str:
    text = io.TextIOWrapper(file, encoding=encoding, newline="")
    try:
        sample = text.read(LOOKED_AT)
    finally:
        text.detach()
    # The last line may be cut.
    cut = max(sample.rfind("\n"), sample.rfind("\r"))
    return sample[: cut + 1] if len(sample) >= LOOKED_AT and cut > 0 else sample


def _understand_workbook(file: BinaryIO, wanted: FileShape, known: Callable[[str], bool], limits: Limits) -> FileShape:
    book = open_workbook(file, limits)
    within = max(HEAD_WITHIN, wanted.header_line)
    try:
        sheets = tuple(sheet.title for sheet in book.worksheets)
        if not sheets:
            raise NotATable(f"The workbook has no sheet with cells. {SEND}")
        if wanted.sheet and wanted.sheet not in sheets:
            raise NotATable(f"There is no sheet “{wanted.sheet}”; the workbook has {', '.join(sheets)}.")
        heads = {}
        for title in [wanted.sheet] if wanted.sheet else sheets:
            # A row that is far too wide is refused here, before the library builds it.
            walk_sheet(file, path_of(book, title), limits, last_line=within)
            first = list(_numbered(book[title].iter_rows(max_row=within, values_only=True)))
            line = wanted.header_line or find_header(first, known)
            cells = next((cells for number, cells in first if number == line), ())
            heads[title] = (_n_known(cells, known), line, cells)
        # The sheet with most known names; of equals the first.
        sheet = max(heads, key=lambda title: heads[title][0])
        _n, line, cells = heads[sheet]
        columns = column_names(cells)
        if not columns:
            raise NotATable(f"Sheet “{sheet}” has no row of column names. Choose another sheet or line.")
        facts = walk_sheet(file, path_of(book, sheet), limits, header_line=line, width=len(columns))
    except Halt as halt:
        raise halt.refusal from halt
    except NotATable:
        raise
    except BROKEN_SHEET as error:
        raise NotATable(f"The sheet is damaged and cannot be read. {SEND}") from error
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


def count_rows(file: BinaryIO, shape: FileShape, limits: Limits | None = None) -> int:
    """How many rows `read_rows` will give, without reading their cells.

    Parameters
    ----------
    file : binary file
        Seekable.
    shape : FileShape
        As `understand_file` gave it.
    limits : Limits, optional
        How much is read.

    Returns
    -------
    int
        Rows below the head; of a workbook those that hold blanks only are counted along.

    Raises
    ------
    NotATable
        If there are more than are read, or it takes too long.
    """
    limits = limits or Limits()
    if shape.facts is not None:
        limits.look(shape.facts.n_filled)
        return shape.facts.n_filled
    if shape.is_workbook:
        return sum(1 for _row in read_rows(file, shape, limits))
    n = 0
    with _text_of(file, shape.encoding) as text:
        for line, cells, problem in _lines_of(_Lines(text), shape.delimiter):
            if line > shape.header_line and (problem or any(map(str.strip, cells))):
                n += 1
                if n % LOOK_EVERY == 0 or n > limits.rows:
                    limits.look(n)
    return n


def read_rows(file: BinaryIO, shape: FileShape, limits: Limits | None = None) -> Iterator[SourceRow]:
    """The rows below the head, empty ones left out.

    Parameters
    ----------
    file : binary file
        Seekable.
    shape : FileShape
        As `understand_file` gave it.
    limits : Limits, optional
        How much is read.

    Yields
    ------
    SourceRow
        Cells as wide as the head; a row of another width, a merged cell or a formula without a value is a problem.

    Raises
    ------
    NotATable
        If the file has more rows than are read, breaks off, or takes too long.
    """
    limits = limits or Limits()
    rows = _workbook_rows(file, shape, limits) if shape.is_workbook else _text_rows(file, shape)
    for n, row in enumerate(rows, start=1):
        if n % LOOK_EVERY == 0 or n > limits.rows:
            limits.look(n)
        yield row


@contextmanager
def _text_of(file: BinaryIO, encoding: str) -> Iterator[io.TextIOWrapper]:
    file.seek(0)
    text = io.TextIOWrapper(file, encoding=encoding, newline="", errors="replace")
    try:
        yield text
    finally:
        if not file.closed:
            text.detach()


def _text_rows(file: BinaryIO, shape: FileShape) -> Iterator[SourceRow]:
    width = len(shape.columns)
    with _text_of(file, shape.encoding) as text:
        for line, cells, problem in _lines_of(_Lines(text), shape.delimiter):
            if line <= shape.header_line:
                continue
            if problem:
                yield SourceRow(line, ("",) * width, problem)
            elif any(map(str.strip, cells)):
                yield _fitted(line, cells, width, shape.delimiter)


def _fitted(line: int, cells: list[str], width: int, delimiter: str) -> SourceRow:
    while len(cells) > width and not cells[-1].strip():
        cells.pop()
    texts = [cell_text(cell) for cell in cells]
    problem = ""
    if len(texts) != width:
        why = (
            f"a cell may hold a {DELIMITERS.get(delimiter, delimiter)} without quotation marks"
            if len(texts) > width
            else "a separator is missing"
        )
        problem = f"The row has {len(texts)} cells and the head {width}: {why}. Mend the row and try it again."
    if len(max(texts, key=len)) > LONGEST_CELL:
        problem = problem or f"A cell has more than {LONGEST_CELL:,} characters. Shorten it."
        texts = [each[:LONGEST_CELL] for each in texts]
    fitted = texts[:width]
    return SourceRow(line, tuple(fitted + [""] * (width - len(fitted))), problem)


def _workbook_rows(file: BinaryIO, shape: FileShape, limits: Limits) -> Iterator[SourceRow]:
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
                yield SourceRow(line, fitted, "", problems)
    except Halt as halt:
        raise halt.refusal from halt
    except NotATable:
        raise
    except BROKEN_SHEET as error:
        raise NotATable(f"The sheet is damaged below the last row that was read. {SEND}") from error
    finally:
        book.close()
        file.seek(0)


# What reading a sheet's cells raises where the XML is broken or its numbers, texts and references cannot be.
BROKEN_SHEET = (ElementTree.ParseError, ValueError, KeyError, IndexError, TypeError, zipfile.BadZipFile, EOFError)
Problems = tuple[tuple[int, str], ...]


def _shortened(cells: tuple[Cell, ...], problems: Problems) -> tuple[tuple[Cell, ...], Problems]:
    long = [at for at, cell in enumerate(cells) if isinstance(cell, str) and len(cell) > LONGEST_CELL]
    words = f"The cell has more than {LONGEST_CELL:,} characters. Shorten it."
    cut = tuple(cell[:LONGEST_CELL] if isinstance(cell, str) else cell for cell in cells)
    return cut, (*problems, *((at, words) for at in long))


def _cell_problems(merged: MergedRows, facts: SheetFacts, line: int, width: int) -> Iterator[tuple[int, str]]:
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
