"""The folder of data base, key, files and mails: its owner's alone. Standard library only."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

OWNER_ONLY = 0o700
# There while a backup is moved into place.
RESTORE_MARK = "restore-unfinished.json"
# What the site writes there. A folder that holds other things is somebody's own, and its rights are left as they are.
OURS = ("secret_key", "driftbook.sqlite3", "static", "files", "mail")


def make_private(folder: Path) -> None:
    """Make the folder if there is none, and close one that is empty or the site's to every other account.

    Raises
    ------
    OSError
        If the folder cannot be made.
    """
    folder.mkdir(mode=OWNER_ONLY, parents=True, exist_ok=True)
    is_ours = any((folder / name).exists() for name in OURS) or not any(folder.iterdir())
    if is_ours and folder.stat().st_mode & 0o077:
        with suppress(PermissionError):  # another account owns it and rules over it
            os.chmod(folder, OWNER_ONLY)
