"""How much of a sent file is read, and by which rules a file or a row is not.

A file is read while somebody waits for the page, and a small file can hold very much. So sizes are looked at before
anything is unpacked, rows, cells and merged areas are counted while reading, and time is looked at again and again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from plant.calc.reasons import NotAccepted, Reason

MOST_RATIO = 60  # unpacked to packed; workbooks of logs were measured at 10 to 15, regular numbers reach about 30
RATIO_FROM = 10_000_000  # bytes; a small file may be as regular as it likes
MOST_SMALL_PART = 4_000_000  # bytes of a part that holds neither cells nor texts: styles, names, relations
MOST_TEXTS = 0.5  # of the unpacked bytes, for the table of texts that cells share
MOST_SHEETS = 100
MOST_COLUMNS = 300
MOST_CELLS_OF_A_ROW = 16_384  # of a row in a workbook, by its format
LAST_LINE = 1_048_576  # of a sheet, by its format
MOST_MERGED = 1_000
LONGEST_CELL = 10_000
LONGEST_HEAD = 200
LONGEST_ROW = 1_000_000  # characters between two ends of rows in a text file
LOOK_EVERY = 256  # rows after which time is looked at


class FileRule(StrEnum):
    """Why a file, or a row of it, is not read, and what is said of one that is."""

    EMPTY = "files.empty"
    OTHER_KIND = "files.other_kind"
    BINARY = "files.binary"
    NO_WORKBOOK = "files.no_workbook"
    LOCKED = "files.locked"
    DAMAGED = "files.damaged"
    DAMAGED_BY = "files.damaged_by"
    UNPACKS_ODDLY = "files.unpacks_oddly"
    UNPACKS_TO_MORE = "files.unpacks_to_more"
    MORE_SHEETS = "files.more_sheets"
    LARGE_PART = "files.large_part"
    ENTITIES = "files.entities"
    NO_SUCH_LINE = "files.no_such_line"
    MORE_CELLS = "files.more_cells"
    MORE_MERGED = "files.more_merged"
    MORE_ROWS = "files.more_rows"
    TOO_SLOW = "files.too_slow"
    TOO_SLOW_AFTER = "files.too_slow_after"
    MORE_COLUMNS = "files.more_columns"
    ROW_WITHOUT_END = "files.row_without_end"
    OTHER_ENCODING = "files.other_encoding"
    NO_HEAD = "files.no_head"
    OTHER_DELIMITER = "files.other_delimiter"
    NO_SHEETS = "files.no_sheets"
    NO_SUCH_SHEET = "files.no_such_sheet"
    NO_HEAD_IN_SHEET = "files.no_head_in_sheet"
    DAMAGED_SHEET = "files.damaged_sheet"
    DAMAGED_BELOW = "files.damaged_below"
    # Notes
    ENCODING_GUESSED = "files.encoding_guessed"
    HEAD_BELOW = "files.head_below"
    SHEET_READ = "files.sheet_read"
    FORMULAS = "files.formulas"
    MERGED = "files.merged"
    MERGED_AND_MORE = "files.merged_and_more"
    # Rows and cells
    OPEN_QUOTE = "files.open_quote"
    OPEN_QUOTE_UP_TO = "files.open_quote_up_to"
    ROW_TOO_WIDE = "files.row_too_wide"
    ROW_TOO_NARROW = "files.row_too_narrow"
    LONG_CELL_IN_ROW = "files.long_cell_in_row"
    LONG_CELL = "files.long_cell"
    MERGED_CELL = "files.merged_cell"
    EMPTY_FORMULA = "files.empty_formula"


class NotATable(NotAccepted):
    """The file cannot be read as a table; the reason says what it is."""

    def __init__(self, rule: FileRule, **values: str | float) -> None:
        super().__init__(Reason(rule, values))


def always_in_time() -> bool:
    """Where nobody waits for the reading, it is never late."""
    return False


@dataclass(frozen=True)
class ImportLimits:
    """How much is read of one file. The site's own numbers come from its settings, whose names the refusals give.

    `is_late` is asked while reading; whoever has a clock gives it, with the seconds that it allows.
    """

    rows: int = 200_000
    unpacked_mb: int = 100
    seconds: float = 0.0
    is_late: Callable[[], bool] = always_in_time

    def __post_init__(self) -> None:
        if self.rows < 1 or self.unpacked_mb < 1:
            raise ValueError(f"rows is {self.rows} and unpacked_mb {self.unpacked_mb}; give 1 or more")

    def look(self, n_rows: int) -> None:
        """Refuse to go on where there are too many rows, or where time is up.

        Parameters
        ----------
        n_rows : int
            Rows seen so far.

        Raises
        ------
        NotATable
            With the bound that it passes.
        """
        if n_rows > self.rows:
            raise NotATable(FileRule.MORE_ROWS, rows=self.rows)
        if self.is_late():
            if n_rows:
                raise NotATable(FileRule.TOO_SLOW_AFTER, seconds=self.seconds, rows=n_rows)
            raise NotATable(FileRule.TOO_SLOW, seconds=self.seconds)
