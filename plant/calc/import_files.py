"""Files that people send in, as rows of cells: what kind of file it is, how it is written, where its head stands.

Nothing is written here and nothing is believed: a name such as ``x.csv`` says nothing, the bytes decide.

1. **Refusals** (`NotATable`) say what the file is, and what to send instead.
2. **Text** is read in `plant.calc.import_texts`, workbooks in `plant.calc.import_workbooks`.
3. **Rows** are handed out one by one with the line number at which a person finds them.
4. **Bounds** (`plant.calc.import_limits`): rows, columns, characters, unpacked bytes and seconds. Whoever calls gives
   the clock; without one only the rest holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from enum import StrEnum
from typing import BinaryIO

from plant.calc.import_limits import LOOK_EVERY, FileRule, ImportLimits, NotATable
from plant.calc.import_rows import FileShape, SourceRow
from plant.calc.import_texts import Lines, lines_of, text_of, text_rows, understand_text, wide_without_mark
from plant.calc.import_workbooks import understand_workbook, workbook_rows
from plant.calc.workbook_parts import (
    check_archive,
)


class FileKind(StrEnum):
    """What a file is that is no table."""

    PNG = "files.kind.png"
    JPEG = "files.kind.jpeg"
    GIF = "files.kind.gif"
    PDF = "files.kind.pdf"
    OLD_WORKBOOK = "files.kind.old_workbook"
    GZIP = "files.kind.gzip"
    SEVEN_ZIP = "files.kind.7z"
    RAR = "files.kind.rar"
    RTF = "files.kind.rtf"
    XML = "files.kind.xml"
    JSON = "files.kind.json"


_SIGNATURES = (
    (b"\x89PNG", FileKind.PNG),
    (b"\xff\xd8\xff", FileKind.JPEG),
    (b"GIF8", FileKind.GIF),
    (b"%PDF", FileKind.PDF),
    (b"\xd0\xcf\x11\xe0", FileKind.OLD_WORKBOOK),
    (b"\x1f\x8b", FileKind.GZIP),
    (b"7z\xbc\xaf", FileKind.SEVEN_ZIP),
    (b"Rar!", FileKind.RAR),
    (b"{\\rtf", FileKind.RTF),
)


def looks_like_workbook(file: BinaryIO, limits: ImportLimits | None = None) -> bool:
    """Whether the bytes are those of an XLSX workbook; refuses what is no table at all.

    Parameters
    ----------
    file : binary file
        At any position; it is set back to its start.
    limits : ImportLimits, optional
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
        raise NotATable(FileRule.EMPTY)
    for signature, what in _SIGNATURES:
        if head.startswith(signature):
            raise NotATable(FileRule.OTHER_KIND, what=what)
    if head.startswith(b"PK"):
        check_archive(file, limits or ImportLimits())
        return True
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<!doctype html", b"<html", b"<table", b"<?xml", b"<svg")):
        raise NotATable(FileRule.OTHER_KIND, what=FileKind.XML)
    if start.startswith((b"{", b"[{")):
        raise NotATable(FileRule.OTHER_KIND, what=FileKind.JSON)
    if not head.startswith((b"\xff\xfe", b"\xfe\xff")) and not wide_without_mark(head):
        odd = sum(byte < 9 or 13 < byte < 32 for byte in head)
        if b"\x00" in head or odd > len(head) / 50:
            raise NotATable(FileRule.BINARY)
    return False


def understand_file(
    file: BinaryIO, known: Callable[[str], bool], wanted: FileShape | None = None, limits: ImportLimits | None = None
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
    limits : ImportLimits, optional
        How much is read.

    Returns
    -------
    FileShape
        Complete, with notes for the person.

    Raises
    ------
    NotATable
        If it is no table, or not under the choices made; the reason says why.
    """
    limits = limits or ImportLimits()
    is_workbook = looks_like_workbook(file, limits)
    wanted = wanted or FileShape(is_workbook)
    if is_workbook:
        return understand_workbook(file, wanted, known, limits)
    return understand_text(file, wanted, known)


def count_rows(file: BinaryIO, shape: FileShape, limits: ImportLimits | None = None) -> int:
    """How many rows `read_rows` will give, without reading their cells.

    Parameters
    ----------
    file : binary file
        Seekable.
    shape : FileShape
        As `understand_file` gave it.
    limits : ImportLimits, optional
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
    limits = limits or ImportLimits()
    if shape.facts is not None:
        limits.look(shape.facts.n_filled)
        return shape.facts.n_filled
    if shape.is_workbook:
        return sum(1 for _row in read_rows(file, shape, limits))
    n = 0
    with text_of(file, shape.encoding) as text:
        for line, cells, problem in lines_of(Lines(text), shape.delimiter):
            if line > shape.header_line and (problem or any(map(str.strip, cells))):
                n += 1
                if n % LOOK_EVERY == 0 or n > limits.rows:
                    limits.look(n)
    return n


def read_rows(file: BinaryIO, shape: FileShape, limits: ImportLimits | None = None) -> Iterator[SourceRow]:
    """The rows below the head, empty ones left out.

    Parameters
    ----------
    file : binary file
        Seekable.
    shape : FileShape
        As `understand_file` gave it.
    limits : ImportLimits, optional
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
    limits = limits or ImportLimits()
    rows = workbook_rows(file, shape, limits) if shape.is_workbook else text_rows(file, shape)
    for n, row in enumerate(rows, start=1):
        if n % LOOK_EVERY == 0 or n > limits.rows:
            limits.look(n)
        yield row
