"""Text files that people send in: encoding, delimiter, rows.

Text is UTF-8 or UTF-16 where the bytes say so; else Windows-1252 unless `charset_normalizer` reads another text. The
delimiter is the one under which the file has most known column names, then the most even rows.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import BinaryIO

from charset_normalizer import from_bytes

from plant.calc.import_limits import LONGEST_CELL, LONGEST_ROW, FileRule, NotATable
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
from plant.calc.reasons import Reason, Word

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
ENCODINGS = ("utf-8", "utf-16", "cp1252", "cp1250", "cp1251", "iso8859_15", "mac_roman")
LOOKED_AT = 512 * 1024  # bytes from which encoding and delimiter are told
LINES_LOOKED_AT = 200


def wide_without_mark(head: bytes) -> str:
    """UTF-16 without a mark: nearly every second byte of plain text is zero.

    Parameters
    ----------
    head : bytes
        The beginning of the file.
    """
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


def tell_encoding(file: BinaryIO) -> tuple[str, Reason | None]:
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
        return "utf-8-sig", None
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16", None
    sample = file.read(LOOKED_AT)
    file.seek(0)
    wide = wide_without_mark(sample[:4096])
    if wide:
        return wide, None
    if _decodes(file, "utf-8"):
        return "utf-8", None
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
    return name, Reason(FileRule.ENCODING_GUESSED, {"encoding": encoding_word(name)})


def encoding_word(name: str) -> Word:
    """The word under which a text names an encoding.

    Parameters
    ----------
    name : str
        Name as Python knows it, such as utf-8-sig.
    """
    return Word(f"files.encoding.{name}")


def delimiter_word(delimiter: str) -> str:
    """The word under which a text names a separator.

    Parameters
    ----------
    delimiter : str
        One of `DELIMITERS`; any other stands for itself.
    """
    return Word(f"files.delimiter.{DELIMITERS[delimiter]}") if delimiter in DELIMITERS else delimiter


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


class Lines:
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
            raise NotATable(FileRule.ROW_WITHOUT_END, line=self.n_lines, most=LONGEST_ROW)
        return line

    def end_row(self) -> None:
        self.n_characters = 0


def lines_of(text: Iterable[str], delimiter: str) -> Iterator[tuple[int, list[str], Reason | None]]:
    """(line at which the row starts, cells, problem); a broken row is handed out as such and reading goes on.

    Parameters
    ----------
    text : iterable of str
        Its lines.
    delimiter : str
        One character.
    """
    # strict: an inch mark inside a field is fine, a quotation mark that is opened and never closed is not.
    reader = csv.reader(text, delimiter=delimiter, strict=True)
    last = 0
    while True:
        if isinstance(text, Lines):
            text.end_row()
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            start, last = last + 1, max(reader.line_num, last + 1)
            values = {"error": str(error)}
            if last > start:
                yield start, [], Reason(FileRule.OPEN_QUOTE_UP_TO, {**values, "last": last})
            else:
                yield start, [], Reason(FileRule.OPEN_QUOTE, values)
            continue
        start, last = last + 1, reader.line_num
        yield start, cells, None


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
        rows = [cells for _line, cells, _problem in lines_of(lines, delimiter) if any(c.strip() for c in cells)]
        if not rows:
            return 0, 0.0, 0
        names = max(n_known(cells, known) for cells in rows[:HEAD_WITHIN])
        width, n = Counter(len(cells) for cells in rows).most_common(1)[0]
        return names, (n / len(rows) if width > 1 else 0.0), width

    return max(DELIMITERS, key=score)


def understand_text(file: BinaryIO, wanted: FileShape, known: Callable[[str], bool]) -> FileShape:
    """How a text file is written.

    Parameters
    ----------
    file : binary file
        Seekable.
    wanted : FileShape
        What a person chose; whatever is empty in it is told from the file.
    known : callable
        Whether a text is the name of a column that is looked for.
    """
    encoding, note = (wanted.encoding, None) if wanted.encoding else tell_encoding(file)
    notes = [note] if note else []
    file.seek(0)
    try:
        sample = _sample(file, encoding)
    except (UnicodeError, LookupError) as error:
        raise NotATable(FileRule.OTHER_ENCODING, encoding=encoding_word(encoding)) from error
    told = tell_delimiter(sample, known)
    delimiter = wanted.delimiter or told
    rows = _first_rows(sample, delimiter, wanted.header_line)
    header_line = wanted.header_line or find_header(rows, known)
    head = next((cells for line, cells in rows if line == header_line), None)
    if head is None:
        raise NotATable(FileRule.NO_HEAD, line=header_line)
    columns = column_names(head)
    if len(columns) == 1 and delimiter != told:
        others = _first_rows(sample, told, header_line)
        other = next((column_names(cells) for line, cells in others if line == header_line), ())
        if len(other) > 1:
            raise NotATable(
                FileRule.OTHER_DELIMITER,
                chosen=delimiter_word(delimiter),
                better=delimiter_word(told),
                columns=len(other),
            )
    if header_line > 1:
        notes.append(Reason(FileRule.HEAD_BELOW, {"line": header_line}))
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
    for line, cells, _problem in lines_of(lines, delimiter):
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


@contextmanager
def text_of(file: BinaryIO, encoding: str) -> Iterator[io.TextIOWrapper]:
    """The file as text; it stays open afterwards.

    Parameters
    ----------
    file : binary file
        Seekable.
    encoding : str
        As Python names it.
    """
    file.seek(0)
    text = io.TextIOWrapper(file, encoding=encoding, newline="", errors="replace")
    try:
        yield text
    finally:
        if not file.closed:
            text.detach()


def text_rows(file: BinaryIO, shape: FileShape) -> Iterator[SourceRow]:
    """The rows below the head of a text file, empty ones left out.

    Parameters
    ----------
    file : binary file
        Seekable.
    shape : FileShape
        As `understand_file` gave it.
    """
    width = len(shape.columns)
    with text_of(file, shape.encoding) as text:
        for line, cells, problem in lines_of(Lines(text), shape.delimiter):
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
    problem = None
    if len(texts) > width:
        separator = delimiter_word(delimiter)
        problem = Reason(FileRule.ROW_TOO_WIDE, {"cells": len(texts), "columns": width, "separator": separator})
    elif len(texts) < width:
        problem = Reason(FileRule.ROW_TOO_NARROW, {"cells": len(texts), "columns": width})
    if len(max(texts, key=len)) > LONGEST_CELL:
        problem = problem or Reason(FileRule.LONG_CELL_IN_ROW, {"most": LONGEST_CELL})
        texts = [each[:LONGEST_CELL] for each in texts]
    fitted = texts[:width]
    return SourceRow(line, tuple(fitted + [""] * (width - len(fitted))), problem)
