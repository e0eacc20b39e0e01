"""What an error of the data base says of the book: somebody else writes, no room, damage, an older state, out of reach.

By the codes that the data bases give, not by their sentences: result codes of SQLite (sqlite.org/rescode.html) and
SQLSTATE of PostgreSQL (its manual, appendix A).
"""

from __future__ import annotations

import errno
import shutil
import sqlite3
from collections.abc import Iterator

from django.conf import settings
from django.db import OperationalError

from plant.words.storage import BookFault

# No room: an error that only a full disk brings, or one that it brings among others.
FULL = {sqlite3.SQLITE_FULL}
MAYBE_FULL = {sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN}
POSTGRES_FULL = "53100"
NO_ROOM_BYTES = 1024 * 1024

OF_SQLITE = {
    sqlite3.SQLITE_BUSY: BookFault.BUSY,
    sqlite3.SQLITE_LOCKED: BookFault.BUSY,
    sqlite3.SQLITE_CORRUPT: BookFault.DAMAGED,
    sqlite3.SQLITE_NOTADB: BookFault.DAMAGED,
    sqlite3.SQLITE_CANTOPEN: BookFault.OUT_OF_REACH,
    sqlite3.SQLITE_READONLY: BookFault.OUT_OF_REACH,
    sqlite3.SQLITE_PERM: BookFault.OUT_OF_REACH,
    sqlite3.SQLITE_IOERR: BookFault.OUT_OF_REACH,
}
# SQLite has no code of its own for these two.
MISSING_IN_SQLITE = ("no such table", "no such column", "has no column named")
# By the whole code or its class, the first two characters.
OF_POSTGRES = {
    "55P03": BookFault.BUSY,  # lock not available
    "57014": BookFault.BUSY,  # cancelled: statement or lock timeout
    "40001": BookFault.BUSY,  # serialization failure
    "40P01": BookFault.BUSY,  # deadlock
    "42P01": BookFault.BEHIND,  # undefined table
    "42703": BookFault.BEHIND,  # undefined column
    "25006": BookFault.OUT_OF_REACH,  # read only
    "XX": BookFault.DAMAGED,
    "58": BookFault.OUT_OF_REACH,  # the system below failed
    "08": BookFault.OUT_OF_REACH,  # connection
    "57": BookFault.OUT_OF_REACH,  # the server stops or starts
    "53": BookFault.OUT_OF_REACH,  # out of connections or memory
}


def book_fault(error: BaseException) -> BookFault | None:
    """What an error says of the book; None where it says nothing of it, but of a row or of the code."""
    if is_full_disk(error):
        return BookFault.FULL
    for each in causes(error):
        code = getattr(each, "sqlite_errorcode", None)
        if code is not None and code & 0xFF in OF_SQLITE:
            return OF_SQLITE[code & 0xFF]
        if isinstance(each, sqlite3.OperationalError) and any(words in str(each) for words in MISSING_IN_SQLITE):
            return BookFault.BEHIND
        state = getattr(each, "sqlstate", None) or ""
        found = OF_POSTGRES.get(state) or OF_POSTGRES.get(state[:2])
        if found is not None:
            return found
    return BookFault.UNKNOWN if isinstance(error, OperationalError) else None


def causes(error: BaseException | None) -> Iterator[BaseException]:
    """The error and what it came from."""
    while error is not None:
        yield error
        error = error.__cause__


def is_full_disk(error: BaseException | None) -> bool:
    """Whether an error, or the one that it came from, says that the disk is full."""
    while error is not None:
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
            return True
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code in FULL or getattr(error, "sqlstate", "") == POSTGRES_FULL:
            return True
        if code in MAYBE_FULL and has_no_room():
            return True
        error = error.__cause__ or error.__context__
    return False


def has_no_room() -> bool:
    try:
        return shutil.disk_usage(settings.DATA_DIR).free < NO_ROOM_BYTES
    except OSError:  # the folder itself is gone, and the page that says so must come
        return False
