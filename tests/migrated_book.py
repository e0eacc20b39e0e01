"""An empty book with every migration done, kept between runs of the tests, because migrating takes half a minute.

Only SQLite in memory takes part. The copy is named after what made it: the migration files, Django and SQLite. Delete
`driftbook-tests-*.sqlite3` from the folder for temporary files to have it made anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
import tempfile
from pathlib import Path
from typing import Any

import django

ROOT = Path(__file__).resolve().parent.parent


def kept_copy() -> Path:
    """Where the migrated book of this state of the code is kept."""
    digest = hashlib.sha256(f"{django.__version__} {sqlite3.sqlite_version} {os.getuid()}".encode())
    for path in sorted(ROOT.glob("*/migrations/*.py")):
        digest.update(str(path.relative_to(ROOT)).encode())
        digest.update(path.read_bytes())
    return Path(tempfile.gettempdir()) / f"driftbook-tests-{digest.hexdigest()[:20]}.sqlite3"


def is_in_memory(connection: Any) -> bool:
    return connection.vendor == "sqlite" and connection.creation.is_in_memory_db(
        connection.creation._get_test_db_name()
    )


def begin_from_copy(connection: Any) -> None:
    """Let Django fill the data base of the tests from the kept copy before it looks for migrations to do."""
    make = connection.creation._create_test_db

    def make_and_fill(*args: Any, **more: Any) -> str:
        name: str = make(*args, **more)
        copy = kept_copy()
        if copy.exists():
            connection.close()
            connection.settings_dict["NAME"] = name
            connection.ensure_connection()
            with contextlib.closing(sqlite3.connect(copy)) as kept:
                kept.backup(connection.connection)
        return name

    if is_in_memory(connection):
        connection.creation._create_test_db = make_and_fill


def keep_copy(connection: Any) -> None:
    """Keep what was migrated for the next run; a copy that is half written never gets the name."""
    copy = kept_copy()
    if not is_in_memory(connection) or copy.exists():
        return
    connection.ensure_connection()
    draft = copy.with_suffix(f".{os.getpid()}")
    with contextlib.closing(sqlite3.connect(draft)) as kept:
        connection.connection.backup(kept)
    draft.replace(copy)
