"""One start to a data folder: two would run two workers and two timetables on one book. Standard library only."""

from __future__ import annotations

import os
from pathlib import Path
from typing import IO, Any

from deploy.environment import CannotStart

try:
    import fcntl
except ImportError:  # a system without such locks
    fcntl: Any = None  # type: ignore[no-redef]

NAME = "started"
# Whoever holds it serves nothing: a backup is put back.
NO_PORT = 0


def hold(folder: Path, *, port: int) -> IO[str] | None:
    """Take the folder for this process until it ends, however it ends; keep what is returned.

    Raises
    ------
    CannotStart
        If another start has it, or its mark belongs to another account.
    """
    if fcntl is None:
        return None
    try:
        file = open(folder / NAME, "a+", encoding="ascii")  # noqa: SIM115  (open as long as the process lives)
    except OSError as error:
        words = f"{folder / NAME} cannot be written ({error.strerror}). Start with the account that owns it, or give "
        raise CannotStart(words + "the whole folder to this account.") from error
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        with file:
            raise CannotStart(in_use(folder, file)) from error
    except OSError:
        file.close()  # a file system without locks
        return None
    file.truncate(0)
    file.write(f"{os.getpid()} {port}\n")
    file.flush()
    return file


def in_use(folder: Path, file: IO[str]) -> str:
    file.seek(0)
    known = file.read().split()
    who = f"process {known[0]} serves it on port {known[1]}" if len(known) == 2 else "another start has just taken it"
    if len(known) == 2 and known[1] == str(NO_PORT):
        return f"The data folder {folder} is in use: process {known[0]} puts a backup back. Wait until it is done."
    return (
        f"The data folder {folder} is in use: {who}. Use that one, or end it with Ctrl-C where it runs, "
        "or name another folder with --data."
    )
