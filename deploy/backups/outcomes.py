"""Keeps how each try of a backup went, for the keeper's page: one line a try in `<data>/backups.jsonl`.

A file and not a table: it must be written when the book is behind, damaged or away.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
from dataclasses import asdict
from pathlib import Path

from plant.selectors.backups import BackupOutcome

log = logging.getLogger(__name__)

MOST_LINES = 1000


def keep_outcome(path: Path, outcome: BackupOutcome) -> None:
    """Add how a try went."""
    fault = outcome.fault
    add_line(
        path, json.dumps({**asdict(outcome), "at": outcome.at.isoformat(), "fault": fault.kept() if fault else None})
    )


def add_line(path: Path, line: str) -> None:
    """Add a line. A disk that is full or gone is no reason to fail a second time: then the log alone has it."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
        text = "\n".join([*lines[-MOST_LINES + 1 :], line]) + "\n"
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        try:
            with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as file:
                file.write(text)
            draft.replace(path)
        finally:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)
    except OSError as error:
        log.warning("how the backup went could not be kept in %s: %s", path, error)
