"""The form of a backup: a .zip that any person can open.

| member | is |
| --- | --- |
| `how-to-use.txt` | what this is, and how to put it back by hand |
| `driftbook.sqlite3` | the book, as one file of SQLite; `driftbook.pgdump` where the data base is PostgreSQL |
| `files/...` | photos and sent files |
| `mail/...` | mails of a site without a mail server |
| `begun-...` | how the site was begun |
| `manifest.json` | version, moment, migrations, rows of each table, size and sha256 of every member; written last |

The comment of the .zip ends with the sha256 of all bytes before that number, so that a change of any byte is seen: also
of those that belong to no member. No Django in here.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import io
import json
import os
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path, PurePosixPath
from typing import IO, Any

from plant.calc.backups import BackupRule
from plant.calc.reasons import Reason

FORM = 1
MANIFEST = "manifest.json"
HOW_TO_USE = "how-to-use.txt"
SQLITE, POSTGRES = "driftbook.sqlite3", "driftbook.pgdump"
FOLDERS = ("files", "mail")
MARKS = ("begun-empty", "begun-with-demo")
SEAL = b"sha256 of all bytes before this number: "
DIGITS = 64
AT_ONCE = 1024 * 1024
# What is packed already grows by packing.
PACKED = {".jpg", ".jpeg", ".png", ".webp", ".zip", ".xlsx", ".gz", ".pgdump"}

# What zipfile raises of bytes that are not what they were.
UNREADABLE = (zipfile.BadZipFile, NotImplementedError, EOFError, RuntimeError, OverflowError, zlib.error)


class NotKept(Exception):
    """A backup that was not made or is not taken; the reason says why (`plant.words.backups.backup_words`)."""

    def __init__(self, rule: BackupRule, **values: Any) -> None:
        super().__init__(str(rule))
        self.reason = Reason(rule, {name: str(value) for name, value in values.items()})


@dataclass(frozen=True)
class Member:
    name: str
    n_bytes: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself."""

    version: str
    made_at: str
    database: str
    migrations: list[list[str]]
    rows: dict[str, int]
    missing: list[str] = field(default_factory=list)
    members: list[Member] = field(default_factory=list)
    time_zone: str = "UTC"
    left_out: list[str] = field(default_factory=lambda: ["secret_key", "django_session", "static"])
    form: int = FORM
    site: str = "driftbook"

    @property
    def n_files(self) -> int:
        return sum(each.name.startswith("files/") for each in self.members)


class Writer:
    """Writes a backup member by member; it is one only when it was sealed."""

    def __init__(self, path: Path, at: dt.datetime) -> None:
        self.moment = at.timetuple()[:6]
        self.members: list[Member] = []
        self._file = os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "w+b")
        self._zip = zipfile.ZipFile(self._file, "w", compression=zipfile.ZIP_DEFLATED)

    def add(self, name: str, source: IO[bytes] | io.RawIOBase) -> None:
        info = zipfile.ZipInfo(name, self.moment)
        info.external_attr = 0o600 << 16
        packed = PurePosixPath(name).suffix.lower() in PACKED
        info.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
        digest, n_bytes = hashlib.sha256(), 0
        with self._zip.open(info, "w", force_zip64=True) as member:
            while block := source.read(AT_ONCE):
                digest.update(block)
                n_bytes += len(block)
                member.write(block)
        self.members.append(Member(name, n_bytes, digest.hexdigest()))

    def seal(self, manifest: Manifest) -> None:
        """Write the manifest and the number that all bytes before it come to; then everything to the disk."""
        text = json.dumps({**asdict(manifest), "members": [asdict(each) for each in self.members]}, indent=1)
        self._zip.writestr(zipfile.ZipInfo(MANIFEST, self.moment), text, zipfile.ZIP_DEFLATED)
        self._zip.comment = SEAL + b"0" * DIGITS
        self._zip.close()
        self._file.flush()
        digest = sealed_bytes(self._file)
        self._file.seek(-DIGITS, os.SEEK_END)
        self._file.write(digest.encode())
        self._file.flush()
        os.fsync(self._file.fileno())

    def close(self) -> None:
        with contextlib.suppress(OSError, ValueError):  # where it was broken off there is no end to be written
            self._zip.close()
        self._file.close()


def sealed_bytes(file: IO[bytes]) -> str:
    """The sha256 of all bytes but the number at the end."""
    left = file.seek(0, os.SEEK_END) - DIGITS
    file.seek(0)
    digest = hashlib.sha256()
    while left > 0:
        block = file.read(min(AT_ONCE, left))
        if not block:
            break
        digest.update(block)
        left -= len(block)
    return digest.hexdigest()


def check(path: Path) -> Manifest:
    """Read every byte of a backup; what is damaged is named.

    Raises
    ------
    NotKept
        If it is not there, no backup, damaged, or of a form that this version does not know.
    """
    try:
        with path.open("rb") as file:
            return _check(path, file)
    except FileNotFoundError as error:
        raise NotKept(BackupRule.NOT_THERE, file=path) from error
    except OSError as error:
        raise NotKept(BackupRule.NOT_READABLE, file=path, why=error.strerror or error) from error


def _check(path: Path, file: IO[bytes]) -> Manifest:
    n_bytes = file.seek(0, os.SEEK_END)
    file.seek(max(n_bytes - len(SEAL) - DIGITS, 0))
    seal = file.read()
    is_sealed = seal.startswith(SEAL) and seal[len(SEAL) :].decode("ascii", "replace") == sealed_bytes(file)
    try:
        box = zipfile.ZipFile(file)
        names = box.namelist()
    except (zipfile.BadZipFile, ValueError, OverflowError, NotImplementedError, EOFError) as error:
        if seal.startswith(SEAL):
            raise changed(path, "its list of contents") from error
        raise NotKept(BackupRule.NO_BACKUP, file=path) from error
    with box:
        if MANIFEST not in names and not seal.startswith(SEAL):
            raise NotKept(BackupRule.NO_BACKUP, file=path)
        manifest = read_manifest(path, box)
        for member in manifest.members:
            if digest_in(box, member) != (member.sha256, member.n_bytes):
                raise changed(path, member.name)
        if not is_sealed:
            raise changed(path, "its list of contents")
        listed = {each.name for each in manifest.members} | {MANIFEST}
        if set(names) != listed or len(names) != len(listed):
            raise changed(path, "its list of contents")
        for name in names:
            if not is_ours(name):
                raise NotKept(BackupRule.MEMBER_STRANGE, file=path, member=name)
    return manifest


def changed(path: Path, member: str) -> NotKept:
    return NotKept(BackupRule.MEMBER_CHANGED, file=path, member=member)


def read_manifest(path: Path, box: zipfile.ZipFile) -> Manifest:
    try:
        data = json.loads(box.read(MANIFEST))
        if data["form"] > FORM:
            raise NotKept(BackupRule.LATER_FORM, file=path, version=data.get("version", ""))
        members = [Member(**each) for each in data["members"]]
        return Manifest(**{**data, "members": members})
    except (KeyError, ValueError, TypeError, AttributeError, *UNREADABLE) as error:
        raise changed(path, MANIFEST) from error


def digest_in(box: zipfile.ZipFile, member: Member) -> tuple[str, int]:
    """What a member of the open .zip comes to; nothing where it cannot be read."""
    digest, n_bytes = hashlib.sha256(), 0
    try:
        for block in blocks(box, member.name):
            digest.update(block)
            n_bytes += len(block)
    except (KeyError, ValueError, *UNREADABLE):
        return "", 0
    return digest.hexdigest(), n_bytes


def blocks(box: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    with box.open(name) as file:
        while block := file.read(AT_ONCE):
            yield block


def is_ours(name: str) -> bool:
    """Whether a backup may hold a member of that name: nothing that would land outside of a data folder."""
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or "\\" in name or str(path) != name:
        return False
    if len(path.parts) == 1:
        return name in (MANIFEST, HOW_TO_USE, SQLITE, POSTGRES, *MARKS)
    return path.parts[0] in FOLDERS


def unpack(path: Path, name: str, target: Path) -> str:
    """Write one member as a file, to the disk, for its owner only; returns its sha256."""
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    digest = hashlib.sha256()
    with zipfile.ZipFile(path) as box, os.fdopen(os.open(target, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as file:
        for block in blocks(box, name):
            digest.update(block)
            file.write(block)
        file.flush()
        os.fsync(file.fileno())
    return digest.hexdigest()
