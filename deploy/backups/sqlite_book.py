"""A book of SQLite as one file: copied while people write, looked over, counted. No Django in here."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

WAIT_S = 60
# Whoever has the number of a sign-in is signed in: they stay where they were made.
SIGN_INS = "django_session"


@dataclass(frozen=True)
class Facts:
    """What is known of a book that was copied: rows of each table, its migrations, the files that rows name."""

    rows: dict[str, int]
    migrations: list[list[str]]
    named_files: set[str]


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """A book that is there; opening makes none."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True, timeout=WAIT_S)) as book:
        yield book


def dump(source: Path, target: Path, file_columns: Sequence[tuple[str, str]]) -> Facts:
    """Copy a book, and what there is to say of the copy."""
    copy_book(source, target)
    with opened(target) as copy:
        named = {name for table, column in file_columns for name in values_of(copy, table, column)}
        return Facts(rows(copy), migrations(copy), named)


def copy_book(source: Path, target: Path) -> None:
    """The state of one moment, however much is written meanwhile; writers do not wait for it.

    All pages are read in one transaction, which in the site's mode of writing (WAL) sees what was committed before it
    began. Sign-ins are left out, and their bytes overwritten.
    """
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    with opened(source) as book, opened(target) as copy:
        book.backup(copy)
        # One file with nothing beside it.
        copy.execute("PRAGMA journal_mode=DELETE")
        copy.execute("PRAGMA secure_delete=ON")
        if SIGN_INS in tables(copy):
            copy.execute(f"DELETE FROM {SIGN_INS}")
        copy.commit()


def tables(book: sqlite3.Connection) -> list[str]:
    found = book.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
    )
    return sorted(name for (name,) in found)


def rows(book: sqlite3.Connection) -> dict[str, int]:
    """How many rows each table has."""
    return {name: int(book.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]) for name in tables(book)}


def migrations(book: sqlite3.Connection) -> list[list[str]]:
    if "django_migrations" not in tables(book):
        return []
    return sorted([app, name] for app, name in book.execute("SELECT app, name FROM django_migrations"))


def damage(book: sqlite3.Connection) -> str:
    """What SQLite finds wrong with the whole file, its indexes too; empty where nothing is."""
    found = str(book.execute("PRAGMA integrity_check(1)").fetchone()[0])
    return "" if found == "ok" else " ".join(found.split())


def values_of(book: sqlite3.Connection, table: str, column: str) -> set[str]:
    """What stands in a column; nothing where this book has no such column yet."""
    if column not in {each[1] for each in book.execute(f'PRAGMA table_info("{table}")')}:
        return set()
    return {str(value) for (value,) in book.execute(f'SELECT "{column}" FROM "{table}"') if value}
