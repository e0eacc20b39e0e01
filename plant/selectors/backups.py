"""What is known of backups: how the last ones went, and which are at hand.

Kept in files and not in the book, so that it is there when the book is not: `<data>/backups.jsonl` has a line for each
try. `deploy/backups/outcomes.py` writes it.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from plant.calc.reasons import Reason, reason_kept

# driftbook-2026-11-30T020503Z.zip, also with -before-upgrade or a number behind the moment.
NAME = re.compile(r"driftbook-(\d{4}-\d\d-\d\dT\d{6})Z(-[a-z0-9-]+)?\.zip")


@dataclass(frozen=True)
class BackupOutcome:
    """How one try went.

    Attributes
    ----------
    at : datetime
        When it began (UTC).
    occasion : str
        A member of `plant.calc.backups.BackupOccasion`.
    is_good : bool
        Whether it was written, opened anew and found whole.
    path : str
        Where it lies; empty where it failed.
    n_bytes, n_rows, n_files : int
        How large it is, and of how many rows and files.
    took_s : float
        How long it took [s].
    thinned : tuple of str
        Names of older ones that were deleted by the rule.
    missing : int
        How many files the book names that were not there.
    fault : Reason or None
        Why it failed: `plant.words.backups.backup_words` says it.
    """

    at: dt.datetime
    occasion: str
    is_good: bool
    path: str = ""
    n_bytes: int = 0
    n_rows: int = 0
    n_files: int = 0
    took_s: float = 0.0
    thinned: tuple[str, ...] = ()
    missing: int = 0
    fault: Reason | None = None


@dataclass(frozen=True)
class BackupLook:
    """What was found when a backup was looked over again; `fault` says what, None where it is still whole."""

    at: dt.datetime
    name: str
    fault: Reason | None = None


@dataclass(frozen=True)
class BackupFile:
    """A backup at hand. A file has its name only since it was found whole."""

    path: Path
    made_at: dt.datetime
    n_bytes: int


@dataclass(frozen=True)
class LastBackups:
    """What a keeper asks first: is there a good one, where, and how did the last try go.

    Attributes
    ----------
    folder : Path
        Where they lie; it may be missing.
    is_nightly : bool
        Whether the timetable makes one a night.
    outcomes : tuple of BackupOutcome
        The newest first.
    at_hand : tuple of BackupFile
        The newest first.
    """

    folder: Path
    is_nightly: bool
    outcomes: tuple[BackupOutcome, ...]
    at_hand: tuple[BackupFile, ...]

    @property
    def last(self) -> BackupOutcome | None:
        return self.outcomes[0] if self.outcomes else None

    @property
    def last_good(self) -> BackupOutcome | None:
        return next((each for each in self.outcomes if each.is_good), None)

    @property
    def newest(self) -> BackupFile | None:
        return self.at_hand[0] if self.at_hand else None

    @property
    def is_beside_the_book(self) -> bool:
        """Whether they lie on the disk of the book, with which they would be lost."""
        try:
            return self.folder.stat().st_dev == Path(settings.DATA_DIR).stat().st_dev
        except OSError:
            return False


def last_backups(most: int = 50) -> LastBackups:
    """The last tries and the backups at hand; an empty answer where there are none."""
    folder = Path(settings.BACKUP_FOLDER)
    outcomes = sorted(_outcomes(outcomes_path()), key=lambda each: each.at, reverse=True)
    return LastBackups(
        folder=folder,
        is_nightly=settings.BACKUP_NIGHTLY,
        outcomes=tuple(outcomes[:most]),
        at_hand=tuple(backups_in(folder)),
    )


def last_looks() -> list[BackupLook]:
    """Of each backup at hand that was looked over again, what was found last, newest first."""
    there = {each.path.name for each in backups_in(Path(settings.BACKUP_FOLDER))}
    found: dict[str, BackupLook] = {}
    for data in _lines(Path(settings.DATA_DIR) / "backup-looks.jsonl"):
        try:
            fault = reason_kept(data["fault"]) if data["fault"] else None
            found[data["name"]] = BackupLook(dt.datetime.fromisoformat(data["at"]), str(data["name"]), fault)
        except (ValueError, KeyError, TypeError, AttributeError):
            continue
    return sorted((each for each in found.values() if each.name in there), key=lambda each: each.at, reverse=True)


def outcomes_path() -> Path:
    return Path(settings.DATA_DIR) / "backups.jsonl"


def backups_in(folder: Path) -> list[BackupFile]:
    """The backups in a folder, the newest first."""
    found = []
    try:
        for path in folder.iterdir():
            made_at = moment_of(path.name)
            if made_at is not None and path.is_file():
                found.append(BackupFile(path, made_at, path.stat().st_size))
    except OSError:
        return []
    return sorted(found, key=lambda each: (each.made_at, each.path.name), reverse=True)


def moment_of(name: str) -> dt.datetime | None:
    """When a backup was made, by its name; None for what is none."""
    matched = NAME.fullmatch(name)
    if matched is None:
        return None
    try:
        return dt.datetime.strptime(matched[1], "%Y-%m-%dT%H%M%S").replace(tzinfo=dt.UTC)
    except ValueError:
        return None


def _lines(path: Path) -> Iterator[Any]:
    """What each line of a file holds; one that was broken off is passed over."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except OSError:
        return
    for line in lines:
        try:
            yield json.loads(line)
        except ValueError:
            continue


def _outcomes(path: Path) -> Iterator[BackupOutcome]:
    for data in _lines(path):
        try:
            yield outcome_kept(data)
        except (ValueError, KeyError, TypeError, AttributeError):
            continue  # of another form


def outcome_kept(data: dict[str, Any]) -> BackupOutcome:
    """The outcome that a line keeps."""
    fault = data.get("fault")
    return BackupOutcome(
        at=dt.datetime.fromisoformat(data["at"]),
        occasion=str(data["occasion"]),
        is_good=bool(data["is_good"]),
        path=str(data.get("path", "")),
        n_bytes=int(data.get("n_bytes", 0)),
        n_rows=int(data.get("n_rows", 0)),
        n_files=int(data.get("n_files", 0)),
        took_s=float(data.get("took_s", 0.0)),
        thinned=tuple(data.get("thinned", ())),
        missing=int(data.get("missing", 0)),
        fault=reason_kept(fault) if fault else None,
    )
