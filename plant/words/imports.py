"""What the import desk says of a file: why it is no table, what is wrong with a row or a cell, what is asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from plant.calc.import_columns import CellRule, Mark
from plant.calc.import_files import FileKind
from plant.calc.import_limits import FileRule, NotATable
from plant.calc.import_texts import delimiter_word, encoding_word
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.words import typing
from plant.words.reasons import Texts, Writers, sentence

SEND = _("Send a CSV file or an XLSX workbook with one row of column names on top.")
ENCODING_NAMES: Texts = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8",
    "utf-16": "UTF-16",
    "utf-16-le": "UTF-16",
    "utf-16-be": "UTF-16",
    "cp1252": _("Windows-1252 (Western)"),
    "latin-1": _("ISO 8859-1 (Western)"),
    "iso8859_15": _("ISO 8859-15 (Western)"),
    "cp1250": _("Windows-1250 (Central European)"),
    "cp1251": _("Windows-1251 (Cyrillic)"),
    "mac_roman": _("Mac Roman"),
}
DELIMITER_NAMES: Texts = {",": _("comma"), ";": _("semicolon"), "\t": _("tab"), "|": _("vertical bar")}


def _and_send(words: Any) -> Any:
    return format_lazy("{} {}", words, SEND)


CELLS: Texts = {
    CellRule.TWO_COLUMNS: _("Two columns may be the %(label)s: %(heads)s. Choose one of them."),
    CellRule.HEAD: _("“%(head)s”"),
    CellRule.HEAD_AND: _("“%(head)s” and %(rest)s"),
    CellRule.BOTH_ORDERS: _(
        "The file has dates in both orders: “%(one)s” and “%(other)s”. Choose one; rows of the other are refused."
    ),
    CellRule.DAY_FIRST: _("Day before month, as “%(text)s” shows."),
    CellRule.MONTH_FIRST: _("Month before day, as “%(text)s” shows."),
    CellRule.EITHER_ORDER: _(
        "“%(text)s” can be day %(one)s of month %(other)s or day %(other)s of month %(one)s. Choose the order."
    ),
    CellRule.BOTH_MARKS: _(
        "The file writes numbers in two ways: “%(one)s” and “%(other)s”. Choose one; rows of the other are refused."
    ),
    CellRule.DECIMAL_COMMA: _("Decimal comma, as “%(text)s” shows."),
    CellRule.DECIMAL_POINT: _("Decimal point, as “%(text)s” shows."),
    CellRule.EITHER_MARK: _("“%(text)s” can mean %(one)s or %(other)s. Choose the decimal mark."),
    CellRule.ALL_MIDNIGHT: _("Each of %(count)s times is 00:00, which says that only the day was kept."),
    CellRule.EMPTY: _("The cell is empty. It is needed in every row; fill it in."),
    CellRule.PROSE: _("The cell has %(length)s characters, which is no %(label)s. Write the value alone."),
    CellRule.SPREADSHEET_ERROR: _(
        "“%(text)s” is an error of the spreadsheet. Correct the formula, or write the value."
    ),
    CellRule.TEXT_TOO_LONG: _("The text has %(length)s characters; at most %(most)s are kept. Shorten it."),
    CellRule.NOT_WHOLE: _("“%(text)s” is not a whole number. Give one such as 4."),
    CellRule.OUT_OF_BOOK: _("“%(text)s” is out of a book's reach. Write a day from %(first)s to %(last)s."),
    CellRule.LOGGER: _(
        "“%(text)s” is what a logger writes when it has no value. Leave the cell empty if nobody knows it, or write "
        "the value."
    ),
    CellRule.DATE_FOR_NUMBER: _("“%(text)s” is a date where a number is expected. Write the number."),
    CellRule.NEGATIVE: _("“%(text)s” is negative; %(label)s is 0 or more. Write the right value."),
    CellRule.OTHER_MARK: _(
        "“%(number)s” has a %(found)s where this file has its decimal %(own)s. Write the number with a decimal "
        "%(own)s and no thousands separator, or choose %(found)s as the decimal mark of the file."
    ),
    CellRule.NO_CHOICE: _("“%(text)s” is not a known %(label)s. Write one of: %(choices)s."),
    CellRule.NO_CHOICE_BUT_NEAR: _(
        "“%(text)s” is not a known %(label)s. Write one of: %(choices)s. Did you mean %(near)s?"
    ),
    CellRule.NEITHER_YES_NOR_NO: _(
        "“%(text)s” is neither yes nor no. Write %(yes)s; %(no)s; or leave the cell empty where nobody knows."
    ),
    CellRule.WORD_OR: _("%(word)s or %(rest)s"),
    CellRule.ZONE_ELSEWHERE: _(
        "“%(text)s” has a zone, but its date stands in another cell. Write date and time in one cell."
    ),
    CellRule.NO_TIME: _("“%(text)s” is not a time of day. Write it as 14:30."),
    CellRule.NO_DATE_DAY_FIRST: _(
        "“%(text)s” is no date with day before month. Write it as 2026-11-25, or choose the other order for the file."
    ),
    CellRule.NO_DATE_MONTH_FIRST: _(
        "“%(text)s” is no date with month before day. Write it as 2026-11-25, or choose the other order for the file."
    ),
    CellRule.SHORT_YEAR: _("“%(text)s” has a year of %(digits)s digits. Write the year with four."),
    CellRule.DAY_COUNT: _(
        "“%(text)s” is a spreadsheet's count of days. Format the column as a date and save it again."
    ),
    CellRule.NO_DATE: _("“%(text)s” is not a date. Write it as 2026-11-25 14:30."),
    CellRule.OUT_OF_CALENDAR: _("“%(text)s” is out of the calendar. Write a year from 1 to 9998."),
    CellRule.CAME_TWICE: _(
        "“%(text)s” came twice in %(zone)s, as clocks were put back. Write %(first)s for the first or %(second)s for "
        "the second."
    ),
    CellRule.DID_NOT_EXIST: _(
        "“%(text)s” did not exist in %(zone)s, as clocks were put forward. Write %(first)s or %(second)s, whichever is "
        "meant."
    ),
    Mark.POINT: _("point"),
    Mark.COMMA: _("comma"),
}
FILES: Texts = {
    FileRule.EMPTY: _and_send(_("The file is empty.")),
    FileRule.OTHER_KIND: _and_send(_("The file is %(what)s, not a table.")),
    FileKind.PNG: _("a picture (PNG)"),
    FileKind.JPEG: _("a picture (JPEG)"),
    FileKind.GIF: _("a picture (GIF)"),
    FileKind.PDF: _("a PDF document"),
    FileKind.OLD_WORKBOOK: _("a workbook in the old binary format (.xls) or one with a password"),
    FileKind.GZIP: _("a packed file (gzip)"),
    FileKind.SEVEN_ZIP: _("a packed file (7z)"),
    FileKind.RAR: _("a packed file (RAR)"),
    FileKind.RTF: _("a text document (RTF)"),
    FileKind.XML: _("a web page or XML"),
    FileKind.JSON: "JSON",
    FileRule.BINARY: _and_send(_("The file holds binary data, not text.")),
    FileRule.NO_WORKBOOK: _and_send(_("The file is a packed archive (zip) without a workbook in it. Unpack it first.")),
    FileRule.LOCKED: _("The workbook is locked with a password. Save it without one and send it again."),
    FileRule.DAMAGED: _and_send(_("The workbook is damaged and cannot be opened.")),
    FileRule.DAMAGED_BY: _and_send(_("The workbook is damaged and cannot be opened (%(error)s).")),
    FileRule.UNPACKS_ODDLY: _(
        "The workbook would unpack to %(unpacked_mb)s MB from %(packed_mb)s MB, which no ordinary sheet does. It was "
        "not opened. Copy the rows into a new workbook, or save them as CSV."
    ),
    FileRule.UNPACKS_TO_MORE: _(
        "The workbook would unpack to %(unpacked_mb)s MB from %(packed_mb)s MB; up to %(most_mb)s MB are read. It was "
        "not opened. Save the sheet as CSV, cut it into several files, or ask whoever runs the site to raise "
        "DRIFTBOOK_LARGEST_IMPORT_UNPACKED_MB."
    ),
    FileRule.MORE_SHEETS: _("The workbook has more than %(most)s sheets. Copy the rows into a new workbook."),
    FileRule.LARGE_PART: _(
        "The part %(part)s of the workbook has %(size_mb)s MB; up to %(most_mb)s MB are read. Copy the rows into a new "
        "workbook, or save them as CSV."
    ),
    FileRule.ENTITIES: _("The workbook declares XML entities and was not opened. Save it as CSV."),
    FileRule.NO_SUCH_LINE: _and_send(_("The sheet names a line %(line)s, and no sheet has more than %(most)s.")),
    FileRule.MORE_CELLS: _(
        "Line %(line)s of the sheet has more than %(most)s cells. Copy the rows into a new workbook, or save them as "
        "CSV."
    ),
    FileRule.MORE_MERGED: _(
        "The sheet has more than %(most)s merged areas. Unmerge them and fill in each cell, or save the sheet as CSV."
    ),
    FileRule.MORE_ROWS: _(
        "The file has more than %(rows)s rows. Cut it into several files, for example one a year, or ask whoever runs "
        "the site to raise DRIFTBOOK_LARGEST_IMPORT_ROWS."
    ),
    FileRule.TOO_SLOW: _(
        "Reading the file takes longer than %(seconds)s s and was given up. Cut it into several files; a workbook is "
        "read faster when it is saved as CSV; or ask whoever runs the site to raise DRIFTBOOK_LARGEST_IMPORT_SECONDS."
    ),
    FileRule.TOO_SLOW_AFTER: _(
        "Reading the file takes longer than %(seconds)s s and was given up after %(rows)s rows. Cut it into several "
        "files; a workbook is read faster when it is saved as CSV; or ask whoever runs the site to raise "
        "DRIFTBOOK_LARGEST_IMPORT_SECONDS."
    ),
    FileRule.MORE_COLUMNS: _and_send(_("The file has %(columns)s columns; at most %(most)s are read.")),
    FileRule.ROW_WITHOUT_END: _and_send(
        _(
            "The row that ends in line %(line)s has more than %(most)s characters. Look there for a quotation mark "
            "that is never closed, or for lines that have lost their ends."
        )
    ),
    FileRule.OTHER_ENCODING: _("The file cannot be read as %(encoding)s. Choose another encoding."),
    FileRule.NO_HEAD: _("There is no row of column names in line %(line)s. Give the line in which they stand."),
    FileRule.OTHER_DELIMITER: _(
        "With %(chosen)s as separator each row has one column; with %(better)s it has %(columns)s. Choose %(better)s."
    ),
    FileRule.NO_SHEETS: _and_send(_("The workbook has no sheet with cells.")),
    FileRule.NO_SUCH_SHEET: _("There is no sheet “%(sheet)s”; the workbook has %(sheets)s."),
    FileRule.NO_HEAD_IN_SHEET: _("Sheet “%(sheet)s” has no row of column names. Choose another sheet or line."),
    FileRule.DAMAGED_SHEET: _and_send(_("The sheet is damaged and cannot be read.")),
    FileRule.DAMAGED_BELOW: _and_send(_("The sheet is damaged below the last row that was read.")),
    FileRule.ENCODING_GUESSED: _(
        "The text is not UTF-8; it was read as %(encoding)s. Look at letters such as ä, é or ° below and choose "
        "another encoding if they are wrong."
    ),
    FileRule.HEAD_BELOW: _("Column names stand in line %(line)s; what is above was left out."),
    FileRule.SHEET_READ: _("Sheet “%(sheet)s” is read; not read: %(others)s."),
    FileRule.FORMULAS: _(
        "%(formulas)s cells hold formulas; the values saved with them are used. %(without)s of them have none saved."
    ),
    FileRule.MERGED: _("Merged cells: %(areas)s."),
    FileRule.MERGED_AND_MORE: _("Merged cells: %(areas)s and more."),
    FileRule.OPEN_QUOTE: _(
        "A quotation mark is not closed or stands inside a quoted cell (%(error)s); nothing was read from this line. "
        'Close the quotation mark, or write two ("") for one inside a cell.'
    ),
    FileRule.OPEN_QUOTE_UP_TO: _(
        "A quotation mark is not closed or stands inside a quoted cell (%(error)s); nothing was read from this line up "
        'to line %(last)s. Close the quotation mark, or write two ("") for one inside a cell.'
    ),
    FileRule.ROW_TOO_WIDE: _(
        "The row has %(cells)s cells and the head %(columns)s: a cell may hold a %(separator)s without quotation "
        "marks. Correct the row and try it again."
    ),
    FileRule.ROW_TOO_NARROW: _(
        "The row has %(cells)s cells and the head %(columns)s: a separator is missing. "
        "Correct the row and try it again."
    ),
    FileRule.LONG_CELL_IN_ROW: _("A cell has more than %(most)s characters. Shorten it."),
    FileRule.LONG_CELL: _("The cell has more than %(most)s characters. Shorten it."),
    FileRule.MERGED_CELL: _(
        "The cell belongs to the merged cells %(area)s, and only the first of them has a value. Unmerge them and fill "
        "in each cell."
    ),
    FileRule.EMPTY_FORMULA: _(
        "Cell %(cell)s holds a formula without a saved value. Open the workbook in a spreadsheet program and save it, "
        "or write the value instead of the formula."
    ),
    **{encoding_word(name): words for name, words in ENCODING_NAMES.items()},
    **{delimiter_word(mark): name for mark, name in DELIMITER_NAMES.items()},
}
TEXTS: Texts = {**typing.TEXTS, **CELLS, **FILES}


def _grouped(number: float) -> str:
    return f"{number:,}"


# Sizes of files run into the millions. Lines are numbered as a spreadsheet numbers them: not grouped, but where one is
# out of every bound.
WRITERS: Writers = dict.fromkeys(
    ("length", "rows", "columns", "formulas", "without", "most", "unpacked_mb", "packed_mb", "most_mb", "size_mb"),
    _grouped,
)
_LARGE_LINES = {FileRule.NO_SUCH_LINE, FileRule.MORE_CELLS, FileRule.ROW_WITHOUT_END}


def import_words(reason: Reason) -> str:
    """What is said of a file, a row or a cell. Its figures stand in the file, so no units are the reader's."""
    writers = {**WRITERS, "line": _grouped} if reason.rule in _LARGE_LINES else WRITERS
    return sentence(reason, TEXTS, UnitSystem.METRIC, writers=writers)


def no_table(problem: NotATable, fields: Iterable[str] = ()) -> Refused:
    """The refusal of a file that is no table, or not under the choices made."""
    words = import_words(problem.reason)
    return Refused(words, code="no_table", fields=dict.fromkeys(fields, words))


def encoding_name(encoding: str) -> str:
    """An encoding as people see it in their programs."""
    return str(ENCODING_NAMES.get(encoding, encoding))


def write_words(tally: Mapping[str, int], *, n_tried: int, n_rows: int) -> str:
    """What the button that writes a file would do: in the numbers of the preview, where all rows were tried out."""
    if n_tried < n_rows or tally.get(""):
        return ngettext("Write what is new of %(n)s row", "Write what is new of %(n)s rows", n_rows) % {"n": n_rows}
    n_new, n_changed, n_wrong = (tally.get(name, 0) for name in ("written", "changed", "refused"))
    acts = [
        words % {"n": n}
        for n, words in (
            (n_new, ngettext("write %(n)s new row", "write %(n)s new rows", n_new)),
            (n_changed, ngettext("change %(n)s row", "change %(n)s rows", n_changed)),
            (n_wrong, ngettext("keep %(n)s row for correction", "keep %(n)s rows for correction", n_wrong)),
        )
        if n
    ]
    if not acts:
        return str(_("Import all the same: nothing is new"))
    text = str(_("%(acts)s and %(last)s")) % {"acts": ", ".join(acts[:-1]), "last": acts[-1]} if acts[1:] else acts[0]
    return text[0].upper() + text[1:]
