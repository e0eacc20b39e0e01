"""How much of a sent file is read, and what is said where a file holds more.

A file is read while somebody waits for the page, and a small file can hold very much. So sizes are looked at before
anything is unpacked, rows, cells and merged areas are counted while reading, and time is looked at again and again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from plant.calc.wording import figure

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


class NotATable(ValueError):
    """The file cannot be read as a table; the message says what it is and what to send."""


def always_in_time() -> bool:
    """Where nobody waits for the reading, it is never late."""
    return False


@dataclass(frozen=True)
class Limits:
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
            With what to do.
        """
        if n_rows > self.rows:
            raise NotATable(
                f"The file has more than {self.rows:,} rows. Cut it into several files, for example one a year, or ask "
                "whoever runs the site to raise DRIFTBOOK_LARGEST_IMPORT_ROWS."
            )
        if self.is_late():
            upto = f" after {n_rows:,} rows" if n_rows else ""
            raise NotATable(
                f"Reading the file takes longer than {figure(self.seconds)} s and was given up{upto}. Cut it into "
                "several files; a workbook is read faster when it is saved as CSV; or ask whoever runs the site to "
                "raise DRIFTBOOK_LARGEST_IMPORT_SECONDS."
            )
