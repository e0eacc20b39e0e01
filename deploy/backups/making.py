"""Makes a backup: data base first, then files; written beside, opened anew, looked over, and only then named.

Why in that order: a photo is written before its row is, so every file that the copied rows name was there when the
copying of files began. The other way round a photo of in between would have a row and no file. What is sent meanwhile
comes along as a file without a row, which harms nothing. A file that went in between (old files of imports do, by
night) is named in the manifest as missing.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
from django.apps import apps
from django.conf import settings
from django.db import DatabaseError, models

from deploy.backups import archive, postgres_book, sqlite_book
from deploy.backups.archive import Manifest, NotKept, Writer
from deploy.backups.outcomes import keep_outcome
from deploy.version import version
from plant.calc.backups import BackupOccasion, BackupRule, kept_by_rule
from plant.selectors.backups import BackupOutcome, backups_in
from plant.services.book_faults import is_full_disk

try:
    import fcntl
except ImportError:  # a system without such locks
    fcntl: Any = None  # type: ignore[no-redef]

UNFINISHED = ".unfinished-"
TURN = ".turn"
MB = 1024 * 1024
OF_A_DAMAGED_BOOK = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
HOW_TO_USE = """This is a backup of a Driftbook site, version {version}, as of {moment} UTC.

It is put back with:      deploy/restore <this file>
By hand, without it:      unpack it into an empty folder and start that version there: deploy/start --data <folder>

manifest.json lists every member with its size and its sha256, and the number of rows of every table.
The book (driftbook.sqlite3) is opened by any program for SQLite; photos and sent files are in files/.
Passwords are kept as digests only. Sign-ins and the signing key of the site are left out on purpose, so that nobody
can sign in with what is in here; whoever reads it still reads the whole book: keep it as you keep the site itself.
"""


@dataclass(frozen=True)
class Site:
    """Where a site keeps its book, and where and how long its backups."""

    data: Path
    database: dict[str, Any]
    folder: Path
    days: int = 7
    weeks: int = 5
    months: int = 12

    @property
    def book(self) -> Path:
        return Path(str(self.database["NAME"]))

    @property
    def is_sqlite(self) -> bool:
        return str(self.database.get("ENGINE", "sqlite3")).endswith("sqlite3")

    @property
    def outcomes(self) -> Path:
        return self.data / "backups.jsonl"

    @property
    def looks(self) -> Path:
        return self.data / "backup-looks.jsonl"


def site_of_settings() -> Site:
    return Site(
        data=Path(settings.DATA_DIR),
        database=settings.DATABASES["default"],
        folder=Path(settings.BACKUP_FOLDER),
        days=settings.BACKUP_DAYS,
        weeks=settings.BACKUP_WEEKS,
        months=settings.BACKUP_MONTHS,
    )


def back_up(
    site: Site,
    *,
    occasion: BackupOccasion,
    into: Path | None = None,
    now: dt.datetime | None = None,
    say: Callable[[str], object] = lambda words: None,
) -> BackupOutcome:
    """Make a backup, look it over, thin the older ones out, and keep how it went.

    Parameters
    ----------
    into : Path, optional
        Another folder than the site's; there nothing is thinned out.

    Raises
    ------
    NotKept
        If none could be made; nothing half is left, and the older ones are as they were.
    """
    at, begun = now or dt.datetime.now(dt.UTC), time.monotonic()
    folder = into or site.folder
    try:
        with named_faults(folder):
            check_folder(folder, site)
            with turn_in(folder):
                path, manifest = write(site, folder, occasion, at, say)
                thinned = thin(site) if into is None else ()
    except NotKept as reason:
        took_s = time.monotonic() - begun
        keep_outcome(site.outcomes, BackupOutcome(at, occasion, False, took_s=took_s, fault=reason.reason))
        raise
    outcome = BackupOutcome(
        at=at,
        occasion=occasion,
        is_good=True,
        path=str(path),
        n_bytes=path.stat().st_size,
        n_rows=sum(manifest.rows.values()),
        n_files=manifest.n_files,
        took_s=time.monotonic() - begun,
        thinned=thinned,
        missing=len(manifest.missing),
    )
    keep_outcome(site.outcomes, outcome)
    return outcome


@contextlib.contextmanager
def named_faults(folder: Path, closed: BackupRule = BackupRule.FOLDER_CLOSED) -> Iterator[None]:
    """Whatever goes wrong with disk or data base is said by its name; `closed` where the folder is the reason."""
    try:
        yield
    except NotKept:
        raise
    except (OSError, sqlite3.Error, DatabaseError, psycopg.Error) as error:
        raise fault_of(error, folder, closed) from error


def fault_of(error: Exception, folder: Path, closed: BackupRule) -> NotKept:
    if is_full_disk(error):
        is_backup = closed is BackupRule.FOLDER_CLOSED
        return NotKept(BackupRule.DISK_FULL if is_backup else BackupRule.DATA_DISK_FULL, folder=folder)
    if isinstance(error, OSError):
        return NotKept(closed, folder=folder, why=error.strerror or error)
    why = " ".join(str(error).split())
    if getattr(error, "sqlite_errorcode", 0) & 0xFF in OF_A_DAMAGED_BOOK:
        return NotKept(BackupRule.BOOK_DAMAGED, why=why)
    return NotKept(BackupRule.BOOK_OUT_OF_REACH, why=why)


def check_folder(folder: Path, site: Site) -> None:
    """The site's own folder is made; one that somebody named has to be there, or a disk is not connected."""
    files = site.data / "files"
    if folder.resolve().is_relative_to(files.resolve()):
        raise NotKept(BackupRule.FOLDER_AMONG_FILES, folder=folder, files=files)
    if folder == site.data / "backups" and site.data.is_dir():
        folder.mkdir(mode=0o700, exist_ok=True)
    if not folder.is_dir():
        raise NotKept(BackupRule.FOLDER_MISSING, folder=folder)


@contextlib.contextmanager
def turn_in(folder: Path) -> Iterator[None]:
    """One at a time in a folder; what one that was killed left behind is cleared away."""
    with open(folder / TURN, "a", encoding="ascii") as file:
        if fcntl is not None:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                raise NotKept(BackupRule.BUSY, folder=folder) from error
            except OSError:  # a file system without locks
                pass
        for left in folder.glob(f"{UNFINISHED}*"):
            shutil.rmtree(left, ignore_errors=True)
        yield


def write(
    site: Site, folder: Path, occasion: BackupOccasion, at: dt.datetime, say: Callable[[str], object]
) -> tuple[Path, Manifest]:
    if site.is_sqlite and not site.book.is_file():
        raise NotKept(BackupRule.NO_BOOK, folder=site.data)
    check_room(site, folder, list(files_of(site.data)))
    with tempfile.TemporaryDirectory(prefix=UNFINISHED, dir=folder) as made:
        draft, copy = Path(made) / "draft.zip", Path(made) / (archive.SQLITE if site.is_sqlite else archive.POSTGRES)
        say("Copying the book ...")
        if site.is_sqlite:
            facts = sqlite_book.dump(site.book, copy, file_columns())
        else:
            facts = postgres_book.dump(site.database, copy, file_columns())
        say("Packing photos and files ...")
        writer = Writer(draft, at)
        try:
            pack(writer, copy, site.data, at)
            copy.unlink()
            there = {each.name for each in writer.members}
            manifest = Manifest(
                version=version(),
                made_at=at.replace(microsecond=0).isoformat(),
                database="sqlite" if site.is_sqlite else "postgresql",
                migrations=facts.migrations,
                rows=facts.rows,
                missing=sorted(name for name in facts.named_files if f"files/{name}" not in there),
            )
            writer.seal(manifest)
        finally:
            writer.close()
        say("Opening it anew and looking it over ...")
        checked = look_over(draft, Path(made))
        path = free_name(folder, at, occasion)
        draft.rename(path)
    sync_folder(folder)
    return path, checked


def check_room(site: Site, folder: Path, files: list[Path]) -> None:
    """Its copy and its packed form stand beside each other for a while, with the files."""
    if site.is_sqlite:
        book = sum(each.stat().st_size for each in (site.book, Path(f"{site.book}-wal")) if each.exists())
    else:
        book = postgres_book.n_bytes(site.database)
    needed = 2 * book
    for each in files:
        with contextlib.suppress(FileNotFoundError):
            needed += each.stat().st_size
    free = shutil.disk_usage(folder).free
    if free < needed:
        raise NotKept(BackupRule.NO_ROOM, needed=-(-needed // MB), free=free // MB, folder=folder)


def pack(writer: Writer, copy: Path, data: Path, at: dt.datetime) -> None:
    words = HOW_TO_USE.format(version=version(), moment=at.strftime("%Y-%m-%d %H:%M:%S"))
    writer.add(archive.HOW_TO_USE, io.BytesIO(words.encode()))
    with copy.open("rb") as file:
        writer.add(copy.name, file)
    for path in files_of(data):
        with contextlib.suppress(FileNotFoundError), Source(path) as file:  # one may go after it was listed
            writer.add(path.relative_to(data).as_posix(), file)


class Source(io.FileIO):
    """A file that is packed. That it cannot be read is told from that the backup cannot be written."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with self.named():
            super().__init__(path)

    def read(self, size: int | None = -1, /) -> bytes:
        with self.named():
            return super().read(-1 if size is None else size) or b""

    @contextlib.contextmanager
    def named(self) -> Iterator[None]:
        try:
            yield
        except FileNotFoundError:
            raise
        except OSError as error:
            raise NotKept(BackupRule.FILE_UNREADABLE, file=self.path, why=error.strerror or error) from error


def files_of(data: Path) -> Iterator[Path]:
    """All that belongs to a book beside its data base. What is made anew by every start is left out."""
    for name in archive.MARKS:
        if (data / name).is_file():
            yield data / name
    for name in archive.FOLDERS:
        found = (path for path in (data / name).rglob("*") if path.is_file() and not path.is_symlink())
        yield from sorted(path for path in found if not path.name.startswith(UNFINISHED))


def file_columns() -> list[tuple[str, str]]:
    """Tables and their columns that name files."""
    return [
        (model._meta.db_table, each.column or each.attname)
        for model in apps.get_models()
        for each in model._meta.local_concrete_fields
        if isinstance(each, models.FileField)
    ]


def look_over(path: Path, beside: Path) -> Manifest:
    """Open a backup, read all of it, and look its book over.

    Parameters
    ----------
    beside : Path
        A folder in which the book may be unpacked for that.

    Raises
    ------
    NotKept
        If it is not what was written.
    """
    manifest = archive.check(path)
    with tempfile.TemporaryDirectory(prefix=UNFINISHED, dir=beside) as apart:
        copy = Path(apart) / (archive.POSTGRES if manifest.database == "postgresql" else archive.SQLITE)
        archive.unpack(path, copy.name, copy)
        look_over_book(copy, manifest, path)
    return manifest


def look_over_book(copy: Path, manifest: Manifest, path: Path) -> None:
    """The unpacked book of a backup: whole, and with the rows that its manifest names."""
    if manifest.database == "postgresql":
        # A table of whose rows none was dumped is not named in the dump.
        found = postgres_book.rows_in(copy)
        check_rows({**dict.fromkeys(manifest.rows, 0), **found}, manifest, path)
        return
    with sqlite_book.opened(copy) as book:
        damage = sqlite_book.damage(book)
        if damage:
            raise NotKept(BackupRule.BOOK_NOT_WHOLE, file=path, why=damage)
        check_rows(sqlite_book.rows(book), manifest, path)


def check_rows(found: dict[str, int], manifest: Manifest, path: Path) -> None:
    for table in sorted({*found, *manifest.rows}):
        n_found, n_wanted = found.get(table, 0), manifest.rows.get(table, 0)
        if n_found != n_wanted:
            raise NotKept(BackupRule.ROWS_DIFFER, table=table, file=path, found=n_found, wanted=n_wanted)


def free_name(folder: Path, at: dt.datetime, occasion: BackupOccasion) -> Path:
    stem = f"driftbook-{at.astimezone(dt.UTC):%Y-%m-%dT%H%M%S}Z"
    ending = "-before-upgrade" if occasion is BackupOccasion.UPGRADE else ""
    path, number = folder / f"{stem}{ending}.zip", 2
    while path.exists():
        path, number = folder / f"{stem}{ending}-{number}.zip", number + 1
    return path


def sync_folder(folder: Path) -> None:
    """The new name to the disk, where the system has that."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def thin(site: Site) -> tuple[str, ...]:
    """Delete what the rule does not keep; the names of what went. What cannot be deleted stays for the next time."""
    at_hand = backups_in(site.folder)
    kept = kept_by_rule([each.made_at for each in at_hand], days=site.days, weeks=site.weeks, months=site.months)
    gone = []
    for each in at_hand:
        if each.made_at not in kept:
            with contextlib.suppress(OSError):
                each.path.unlink()
                gone.append(each.path.name)
    return tuple(gone)
