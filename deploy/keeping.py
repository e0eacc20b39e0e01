"""What `deploy/backup` and `deploy/restore` do before Django is there. Standard library only.

The work itself is done by `manage.py back_up` and `manage.py restore` (deploy/backups/).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from deploy import environment, folder_lock
from deploy.children import die_with_parent
from deploy.data_folder import make_private
from deploy.environment import ROOT, CannotStart


def data_folder(given: Path | None) -> Path:
    """The data folder of a site that is there.

    Raises
    ------
    CannotStart
        If there is no such folder.
    """
    data = (given or Path(os.environ.get("DRIFTBOOK_DATA", ROOT / "data"))).resolve()
    if not data.is_dir():
        raise CannotStart(f"There is no data folder {data}. Name the site's with --data.")
    return data


def back_up(given: Sequence[str]) -> int:
    """Make a backup. Returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="deploy/backup", description="Make a backup of the site, while people work or not, and look it over."
    )
    parser.add_argument("--data", type=Path, help="data folder of the site (default: data)")
    parser.add_argument(
        "--into",
        type=Path,
        metavar="FOLDER",
        help="put it there, and leave what is there alone (default: the site's own)",
    )
    options = parser.parse_args(list(given))
    into = ["--into", str(options.into.resolve())] if options.into else []
    return manage(data_folder(options.data), "back_up", *into)


def restore(given: Sequence[str]) -> int:
    """Put a backup back, check one, or list those at hand. Returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="deploy/restore",
        description="Put a backup back into the data folder of a stopped site. Without a file: list those at hand.",
    )
    parser.add_argument("file", nargs="?", type=Path, help="the backup, a .zip")
    parser.add_argument("--data", type=Path, help="data folder of the site; it may be a new one (default: data)")
    parser.add_argument("--check", action="store_true", help="change nothing, only look the backup over")
    parser.add_argument(
        "--set-aside",
        action="store_true",
        help="where a book is there, move it into a folder beside; without it: refuse",
    )
    options = parser.parse_args(list(given))
    if options.file is None:
        return manage(data_folder(options.data), "restore")
    data = (options.data or Path(os.environ.get("DRIFTBOOK_DATA", ROOT / "data"))).resolve()
    path = str(options.file.resolve())
    check_folder(data)
    if options.check:
        return manage(data, "restore", path, "--check")
    lock = folder_lock.hold(data, port=folder_lock.NO_PORT)
    try:
        return manage(data, "restore", path, *(["--set-aside"] if options.set_aside else []))
    finally:
        if lock is not None:
            lock.close()


def check_folder(folder: Path) -> None:
    try:
        make_private(folder)
        with tempfile.NamedTemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise CannotStart(
            f"The data folder {folder} cannot be written ({error.strerror}); make it writable or "
            "name another with --data."
        ) from error


def manage(data: Path, *args: str) -> int:
    """Run a command of the site, which speaks for itself; returns its exit code."""
    python = environment.ensure("requirements.txt")
    env = {**os.environ, "DRIFTBOOK_DATA": str(data), "DJANGO_SETTINGS_MODULE": "deploy.settings"}
    done = subprocess.run(
        [str(python), "manage.py", *args],
        cwd=ROOT,
        env=env,
        check=False,
        preexec_fn=die_with_parent if os.name == "posix" else None,
    )
    return done.returncode
