"""The data folder of a site with the demo plant, loaded once for a state of the code and a day: it takes minutes.

Data base, files and collected static files; the walks copy it for a site of their own, the demo's tests open a copy of
its data base. The kept folder is named after what made it: every file of the product and the moment at which the suite
stands. Delete `driftbook-demo-*` from the folder for temporary files to have it made anew.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import fcntl
import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from deploy.testing_days import digest_of_code
from fixtures.scenario import TIME_ZONE
from tests import clock
from tests.migrated_book import copy_book, lay_down, migrated_book
from tests.servers import GIVE_UP_AFTER_S

ROOT = Path(__file__).resolve().parent.parent
PRODUCT = ("plant", "installs", "inspections", "reports", "fixtures", "deploy")
KEPT_S = 7 * 86_400
# In one process, because each takes a second to begin.
MAKE = """
from django.core.management import call_command
call_command("load_demo")
call_command("make_kept")
call_command("collectstatic", "--noinput", "--verbosity=0")
"""


def environment(data: Path) -> dict[str, str]:
    """What a process of such a site runs with."""
    apart = {"DATABASE_URL", "REDIS_URL", "PYTHONWARNINGS"}
    known = {name: value for name, value in os.environ.items() if name not in apart}
    return {**known, "DRIFTBOOK_DATA": str(data), "DJANGO_SETTINGS_MODULE": "tests.site_settings",
            "DRIFTBOOK_SECRET_KEY": "only-for-tests-" + "x" * 50}  # fmt: skip


def manage(data: Path, *args: str, **env: str) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *args], cwd=ROOT, env={**environment(data), **env}, capture_output=True,
        text=True, check=False, timeout=6 * GIVE_UP_AFTER_S,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def loaded_at() -> dt.datetime:
    """An hour before the suite's first moment, so that nothing in the book lies ahead of a test; the same day there."""
    zone = ZoneInfo(TIME_ZONE)
    begins = clock.begins_at().astimezone(zone)
    midnight = begins.replace(hour=0, minute=1, second=0, microsecond=0)
    return max(begins - dt.timedelta(hours=1), midnight).astimezone(dt.UTC)


def demo_site() -> Path:
    """The kept folder; made where there is none yet, by one process while others wait."""
    at = loaded_at()
    digest = hashlib.sha256(f"{digest_of_code(PRODUCT)} {at.isoformat()} {os.getuid()}".encode()).hexdigest()[:20]
    kept = Path(tempfile.gettempdir()) / f"driftbook-demo-{digest}"
    with kept.with_suffix(".lock").open("w") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        if not kept.exists():
            make(kept, at)
    return kept


def make(kept: Path, at: dt.datetime) -> None:
    """A folder that is half made never gets the name."""
    draft = Path(tempfile.mkdtemp(prefix="driftbook-demo-draft-"))
    try:
        lay_down(draft)
        # Results as `deploy/start` keeps them before it opens the doors; each page would make by itself what it shows.
        steps = (
            "call_command('load_demo'); call_command('make_kept'); call_command('collectstatic', '--noinput', '-v0')"
        )
        code = f"from django.core.management import call_command; {steps}"
        manage(draft, "shell", "--no-imports", "-c", code, **{clock.AHEAD: clock.ahead_for(at)})
        copy_book(draft / "driftbook.sqlite3", draft / "whole.sqlite3")
        for path in draft.glob("driftbook.sqlite3*"):
            path.unlink()
        (draft / "whole.sqlite3").rename(draft / "driftbook.sqlite3")
        draft.rename(kept)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    for path in kept.parent.glob("driftbook-demo-????????????????????"):
        if path.stat().st_mtime < clock.machine_s() - KEPT_S:
            shutil.rmtree(path, ignore_errors=True)


def lay_down_demo(data: Path) -> None:
    """Put the demo plant into the data folder of a site of its own, which may be written to."""
    # Who reads the kept book meanwhile has these two beside it, which come and go; they hold nothing.
    passing = shutil.ignore_patterns("*.sqlite3-shm", "*.sqlite3-wal")
    shutil.copytree(demo_site(), data, dirs_exist_ok=True, ignore=passing)


@contextlib.contextmanager
def demo_in(connection: Any) -> Iterator[None]:
    """Let the data base of the tests, in memory, hold the demo plant for a while; what is written meanwhile is lost."""
    connection.ensure_connection()
    with contextlib.closing(sqlite3.connect(demo_site() / "driftbook.sqlite3")) as demo:
        demo.backup(connection.connection)
    try:
        yield
    finally:
        with contextlib.closing(sqlite3.connect(migrated_book())) as empty:
            empty.backup(connection.connection)
