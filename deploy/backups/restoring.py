"""Puts a backup back: looked over, unpacked beside, and only then moved into place.

A book that is there is moved aside first and never deleted. While things are moved a mark says so; a start that finds
the mark refuses, and the same command run again ends what was broken off.

Onto PostgreSQL it goes into an empty data base only, in one transaction: a dump of pg_dump, or the rows of a book of
SQLite (`carrying.py`).
"""

from __future__ import annotations

import datetime as dt
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.db.migrations.loader import MigrationLoader

from deploy.backups import archive, postgres_book, sqlite_book
from deploy.backups.archive import Manifest, NotKept
from deploy.backups.carrying import carry
from deploy.backups.making import MB, Site, look_over_book, named_faults, sync_folder
from deploy.data_folder import RESTORE_MARK, make_private
from deploy.system_checks import OWN_APPS, unknown_of
from plant.calc.backups import BackupRule

DRAFT = ".unfinished-restore"
BESIDE_A_BOOK = ("-wal", "-shm", "-journal")
# Nudges of the book that was there name its jobs.
MESSAGES = "messages"


@dataclass(frozen=True)
class Restored:
    """What was put back, and where the book that was there lies now."""

    manifest: Manifest
    aside: Path | None
    is_behind: bool


def restore(
    site: Site,
    path: Path,
    *,
    may_set_aside: bool,
    now: dt.datetime | None = None,
    say: Callable[[str], object] = lambda words: None,
) -> Restored:
    """Put a backup into the data folder of a site that does not run.

    Parameters
    ----------
    may_set_aside : bool
        Whether a book that is there is moved aside; else it is a reason to refuse.

    Raises
    ------
    NotKept
        If the backup is damaged or newer than this version, a book is there, or the disk fails. What is there is then
        as it was.
    """
    at = now or dt.datetime.now(dt.UTC)
    with named_faults(site.data, BackupRule.DATA_CLOSED):
        say("Reading the backup ...")
        manifest = archive.check(path)
        check_version(path, manifest)
        make_private(site.data)
        was_broken_off = (site.data / RESTORE_MARK).exists()
        if manifest.database == "postgresql" and site.is_sqlite:
            raise NotKept(BackupRule.NEEDS_POSTGRES, file=path)
        if not site.is_sqlite:
            check_empty(site, manifest, was_broken_off=was_broken_off)
        if not may_set_aside and not was_broken_off and holds_book(site):
            raise NotKept(BackupRule.BOOK_THERE, folder=site.data, file=path)
        check_room(site, manifest)
        draft = site.data / DRAFT
        shutil.rmtree(draft, ignore_errors=True)
        try:
            draft.mkdir(mode=0o700)
            say("Unpacking it beside, and looking it over ...")
            unpack(path, manifest, draft)
            say("Moving it into place ...")
            aside = move_in(site, path, draft, at)
        finally:
            shutil.rmtree(draft, ignore_errors=True)
    steps = {(app, name) for app, name in manifest.migrations}
    newest = {step for step in MigrationLoader(None).graph.leaf_nodes() if step[0] in OWN_APPS}
    return Restored(manifest, aside, is_behind=not newest <= steps)


def check_version(path: Path, manifest: Manifest) -> None:
    unknown = unknown_of({(app, name) for app, name in manifest.migrations})
    if unknown:
        steps = ", ".join(unknown)
        raise NotKept(BackupRule.LATER_BOOK, file=path, version=manifest.version, steps=steps)


def holds_book(site: Site) -> bool:
    has_files = any(any((site.data / name).glob("**/*")) for name in archive.FOLDERS)
    return has_files or (site.is_sqlite and site.book.exists() and site.book.stat().st_size > 0)


def check_room(site: Site, manifest: Manifest) -> None:
    needed = sum(each.n_bytes for each in manifest.members)
    free = shutil.disk_usage(site.data).free
    if free < needed:
        raise NotKept(BackupRule.NO_ROOM_TO_UNPACK, needed=-(-needed // MB), free=free // MB, folder=site.data)


def unpack(path: Path, manifest: Manifest, draft: Path) -> None:
    """All members but the one about the backup itself, each held against its hash; the book looked over."""
    for member in manifest.members:
        if member.name == archive.HOW_TO_USE:
            continue
        if archive.unpack(path, member.name, draft / member.name) != member.sha256:
            raise archive.changed(path, member.name)
    book = draft / (archive.POSTGRES if manifest.database == "postgresql" else archive.SQLITE)
    look_over_book(book, manifest, path)
    if book.name == archive.SQLITE:
        # A backup of this site holds none; one that somebody made by hand may.
        with sqlite_book.opened(book) as copy:
            if sqlite_book.SIGN_INS in sqlite_book.tables(copy):
                copy.execute(f"DELETE FROM {sqlite_book.SIGN_INS}")
                copy.commit()


def check_empty(site: Site, manifest: Manifest, *, was_broken_off: bool) -> None:
    """A data base of PostgreSQL is filled only where it is empty; or where it was filled before it was broken off."""
    with postgres_book.opened(site.database) as book:
        found = postgres_book.rows(book)
    if found and not (was_broken_off and without_sign_ins(found) == without_sign_ins(manifest.rows)):
        raise NotKept(BackupRule.DATABASE_NOT_EMPTY, name=site.database["NAME"])


def without_sign_ins(rows: dict[str, int]) -> dict[str, int]:
    return {name: count for name, count in rows.items() if name != sqlite_book.SIGN_INS}


def fill(site: Site, book: Path) -> None:
    """All of it into the empty data base, or nothing."""
    with postgres_book.opened(site.database) as there:
        if postgres_book.tables(there):
            return  # it was filled before it was broken off
    if book.name == archive.POSTGRES:
        postgres_book.load(site.database, book)
    else:
        carry(book)


def move_in(site: Site, path: Path, draft: Path, at: dt.datetime) -> Path | None:
    """The old aside, the book first; the new in, the book last: a folder with a book and no mark is a whole one."""
    mark = site.data / RESTORE_MARK
    mark.write_text(json.dumps({"file": str(path)}), encoding="utf-8")
    sync_folder(site.data)
    books = [draft / name for name in (archive.SQLITE, archive.POSTGRES) if (draft / name).exists()]
    if not site.is_sqlite:
        fill(site, books[0])
    aside = set_aside(site, at)
    for each in sorted(set(draft.iterdir()) - set(books)):
        each.rename(site.data / each.name)
    if site.is_sqlite:
        books[0].rename(site.book)
    sync_folder(site.data)
    mark.unlink()
    sync_folder(site.data)
    return aside


def set_aside(site: Site, at: dt.datetime) -> Path | None:
    """Move what is there into a folder of its own; None where nothing was."""
    books = [Path(f"{site.book}{ending}") for ending in ("", *BESIDE_A_BOOK)] if site.is_sqlite else []
    others = [site.data / name for name in (*archive.FOLDERS, *archive.MARKS, MESSAGES)]
    there = [each for each in [*books, *others] if each.exists()]
    if not there:
        return None
    stem = f"set-aside-{at.astimezone(dt.UTC):%Y-%m-%dT%H%M%S}Z"
    aside, number = site.data / stem, 2
    while aside.exists():
        aside, number = site.data / f"{stem}-{number}", number + 1
    aside.mkdir(mode=0o700)
    for each in there:
        each.rename(aside / each.name)
    sync_folder(aside)
    return aside
