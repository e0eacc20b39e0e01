"""The virtual environment of the site: made once, brought up to date when the pinned requirements changed.

Standard library only, because it runs before anything is installed.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LAST_LINES = 12


class CannotStart(Exception):
    """One sentence for the person at the terminal: what is wrong and what to do."""


def run_to_end(main: Callable[[Sequence[str]], int], given: Sequence[str]) -> int:
    """The exit code of a script: its own, 2 with a sentence where it cannot start, 130 after Ctrl-C."""
    try:
        return main(given)
    except CannotStart as reason:
        print(reason, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nStopped.", file=sys.stderr)
        return 130


def folder() -> Path:
    return Path(os.environ.get("DRIFTBOOK_VENV", ROOT / ".venv")).resolve()


def program(name: str) -> Path:
    """A program of the virtual environment."""
    return folder() / ("Scripts" if os.name == "nt" else "bin") / name


def ensure(requirements: str, say: Callable[[str], object] = print) -> Path:
    """Make the environment if there is none and install the pinned requirements if they changed.

    Returns
    -------
    Path
        Its Python.

    Raises
    ------
    CannotStart
        If the folder cannot be written, or something cannot be installed.
    """
    pinned = ROOT / "deploy" / requirements
    where = folder()
    stamp = where / f".{requirements}.installed"
    wanted = hashlib.sha256(pinned.read_bytes() + sys.version.encode()).hexdigest()
    python = program("python")
    if python.exists() and stamp.exists() and stamp.read_text(encoding="ascii") == wanted:
        return python
    try:
        if not python.exists():
            say(f"Making the virtual environment in {where} ...")
            import venv

            venv.create(where, with_pip=True, clear=where.exists())
    except (OSError, subprocess.CalledProcessError) as error:
        raise CannotStart(
            f"The virtual environment cannot be made in {where} ({error}); make the folder writable, free some space, "
            "or name another folder in DRIFTBOOK_VENV. On Debian the package python3-venv may be missing."
        ) from error
    say("Installing what the site needs (a few minutes the first time) ...")
    done = subprocess.run(
        [
            str(python),
            "-m",
            "pip",
            "install",
            "--quiet",
            "--disable-pip-version-check",
            "--require-hashes",
            "-r",
            str(pinned),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        last = "\n".join(done.stdout.strip().splitlines()[-LAST_LINES:])
        free_mb = shutil.disk_usage(where).free // 2**20
        raise CannotStart(
            f"The packages could not be installed ({free_mb} MB are free in {where}). The first start needs the "
            f"network, or a folder of wheels named in PIP_FIND_LINKS. pip said:\n{last}"
        )
    stamp.write_text(wanted, encoding="ascii")
    return python
