"""One number for all that a book holds: every row of every table, and every file. The same on SQLite and on PostgreSQL.

Tables are those of the migrations that the book has, read through Django, so that a moment is a moment and a choice is
a choice whatever the data base makes of it. The rows of a table are added up, so their order does not matter. Sign-ins
are left out: they end when a book is put back.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader

from deploy.backups import archive, sqlite_book

ROUND = 2**256
AT_ONCE = 2000
WHOLE_NUMBERS_BELOW = 1e15


def book_hash(connection: BaseDatabaseWrapper, data: Path) -> str:
    """What rows and files come to.

    Parameters
    ----------
    connection
        Of a book whose migrations this version knows.
    data : Path
        The data folder, whose files and mails count.
    """
    return total({**hashes_of_tables(connection), **hashes_of_files(data)})


def total(parts: dict[str, str]) -> str:
    text = "\n".join(f"{name} {value}" for name, value in sorted(parts.items()))
    return hashlib.sha256(text.encode()).hexdigest()


def hashes_of_tables(connection: BaseDatabaseWrapper) -> dict[str, str]:
    """By the name of the table: how many rows, and what they come to."""
    hashes = {}
    for model in models_of(connection):
        names = [each.attname for each in model._meta.local_concrete_fields]
        rows = model._base_manager.using(connection.alias).order_by().values_list(*names)
        n_rows, sum_ = 0, 0
        for row in rows.iterator(chunk_size=AT_ONCE):
            text = json.dumps([plain(value) for value in row], ensure_ascii=False, sort_keys=True)
            sum_ = (sum_ + int.from_bytes(hashlib.sha256(text.encode()).digest(), "big")) % ROUND
            n_rows += 1
        hashes[model._meta.db_table] = f"{n_rows} {sum_:064x}"
    steps = sorted(MigrationLoader(connection).applied_migrations)
    hashes["django_migrations"] = hashlib.sha256(json.dumps(steps).encode()).hexdigest()
    return hashes


def models_of(connection: BaseDatabaseWrapper) -> list[type[models.Model]]:
    """The tables as the migrations of this book left them, which may be behind the code."""
    loader = MigrationLoader(connection)
    applied = set(loader.applied_migrations)
    if set(loader.graph.leaf_nodes()) <= applied:
        known = apps
    else:
        # An app without steps in the book has no tables in it.
        known = loader.project_state([step for step in loader.graph.nodes if step in applied]).apps
    every = (each for each in known.get_models(include_auto_created=True) if each._meta.managed)
    kept = (each for each in every if not each._meta.proxy and each._meta.db_table != sqlite_book.SIGN_INS)
    return sorted(kept, key=lambda each: each._meta.db_table)


def plain(value: Any) -> Any:
    """A value as both data bases mean it."""
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, int | float | Decimal):
        return number(value)
    if isinstance(value, dict):
        return {str(name): plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat()
    if isinstance(value, dt.date | dt.time | uuid.UUID):
        return str(value)
    if isinstance(value, dt.timedelta):
        return f"{value // dt.timedelta(microseconds=1)} us"
    if isinstance(value, bytes | memoryview):
        return bytes(value).hex()
    raise TypeError(f"a column holds {type(value).__name__}; say in book_hash.py how that is written")


def number(value: float | Decimal) -> str:
    """Whole numbers without a point: JSON in PostgreSQL knows no difference between 5 and 5.0."""
    if isinstance(value, Decimal):
        return format(value.normalize(), "f") if value else "0"
    if isinstance(value, float) and (not abs(value) < WHOLE_NUMBERS_BELOW or value != int(value)):
        return repr(value)
    return str(int(value))


def hashes_of_files(data: Path) -> dict[str, str]:
    """By the name within the folder."""
    hashes = {}
    for folder in archive.FOLDERS:
        for path in (data / folder).rglob("*"):
            if path.is_file():
                with path.open("rb") as file:
                    hashes[path.relative_to(data).as_posix()] = hashlib.file_digest(file, "sha256").hexdigest()
    return hashes


@contextlib.contextmanager
def book_at(path: Path, alias: str = "book-at-hand") -> Iterator[BaseDatabaseWrapper]:
    """Django's connection to a book of SQLite that is not the site's."""
    from django.db.backends.sqlite3.base import DatabaseWrapper

    known = {**connections["default"].settings_dict, "ENGINE": "django.db.backends.sqlite3", "NAME": str(path)}
    connection = DatabaseWrapper({**known, "OPTIONS": {}}, alias=alias)
    connections[alias] = connection  # its migrations and rows are read by this name
    try:
        yield connection
    finally:
        connection.close()
        del connections[alias]
