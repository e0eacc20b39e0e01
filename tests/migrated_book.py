"""An empty book with every migration done, kept between runs of the tests, because migrating takes a while.

SQLite only. The copy is named after what made it: the migration files, Django and SQLite. Delete
`driftbook-tests-*.sqlite3` from the folder for temporary files to have it made anew.
"""

from __future__ import annotations

import contextlib
import fcntl
import functools
import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import django

from tests import clock

ROOT = Path(__file__).resolve().parent.parent
# What migrations put there is older than anything that a test finds, on whatever day the tests stand.
MADE_ON = "2020-01-01"


@functools.cache
def migrated_book() -> Path:
    """The kept copy of this state of the code; made where there is none yet, by one process while others wait."""
    digest = hashlib.sha256(f"{django.__version__} {sqlite3.sqlite_version} {os.getuid()} {MADE_ON}".encode())
    for path in sorted(ROOT.glob("*/migrations/*.py")):
        digest.update(str(path.relative_to(ROOT)).encode())
        digest.update(path.read_bytes())
    copy = Path(tempfile.gettempdir()) / f"driftbook-tests-{digest.hexdigest()[:20]}.sqlite3"
    with copy.with_suffix(".lock").open("w") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        if not copy.exists():
            migrate_into(copy)
    return copy


def migrate_into(copy: Path) -> None:
    """Migrate an empty book in a folder of its own; a copy that is half written never gets the name."""
    with tempfile.TemporaryDirectory(prefix="driftbook-tests-") as data:
        apart = ("DATABASE_URL", "REDIS_URL", clock.AHEAD)
        env = {name: value for name, value in os.environ.items() if name not in apart}
        env |= {"DRIFTBOOK_DATA": data, "DJANGO_SETTINGS_MODULE": "tests.settings", "DRIFTBOOK_TEST_DAY": MADE_ON}
        clock.mark(Path(data))
        subprocess.run([sys.executable, "manage.py", "migrate", "--verbosity=0"], cwd=ROOT, env=env, check=True)
        draft = copy.with_suffix(f".{os.getpid()}")
        copy_book(Path(data) / "driftbook.sqlite3", draft)
        draft.replace(copy)


def copy_book(source: Path, target: Path) -> None:
    with (
        contextlib.closing(sqlite3.connect(source)) as one,
        contextlib.closing(sqlite3.connect(target)) as other,
    ):
        one.backup(other)


def lay_down(data: Path) -> None:
    """Put the migrated book into the data folder of a site of its own; `migrate` then finds nothing to do."""
    clock.mark(data)
    shutil.copyfile(migrated_book(), data / "driftbook.sqlite3")


def begin_from_copy(connection: Any) -> None:
    """Let Django fill the data base of the tests from the copy before it looks for migrations to do."""
    creation = connection.creation
    if connection.vendor != "sqlite" or not creation.is_in_memory_db(creation._get_test_db_name()):
        return
    make = creation._create_test_db

    def make_and_fill(*args: Any, **more: Any) -> str:
        name: str = make(*args, **more)
        connection.close()
        connection.settings_dict["NAME"] = name
        connection.ensure_connection()
        with contextlib.closing(sqlite3.connect(migrated_book())) as kept:
            kept.backup(connection.connection)
        return name

    creation._create_test_db = make_and_fill
