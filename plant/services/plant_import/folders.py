"""The folder of a plant as it lies there: which tables and files it has, and whether they are as they were written."""

from __future__ import annotations

import contextlib
import hashlib
import json
import tempfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings

from plant.calc.export_folder import CSV, FORMAT, MANIFEST, FolderRule, rows_of_table, version_parts
from plant.calc.reasons import Reason
from plant.errors import Refused
from plant.selectors.export_tables import ExportColumn, ExportTable, table_named, tables
from plant.words.plant_import import fault_words

MOST_TOLD = 20


class FolderRefused(Refused):
    """The folder is not read in; nothing was written.

    Attributes
    ----------
    faults : list of Reason
        The first of them, each with its file and row.
    n_faults : int
        How many there are.
    """

    def __init__(self, faults: list[Reason], n_faults: int | None = None) -> None:
        super().__init__(" ".join(fault_words(each) for each in faults), code=str(faults[0].rule))
        self.faults, self.n_faults = faults, n_faults or len(faults)


@dataclass
class FolderFaults:
    """What is wrong so far."""

    told: list[Reason] = field(default_factory=list)
    n: int = 0

    def add(self, rule: FolderRule, **values: Any) -> None:
        self.n += 1
        if len(self.told) < MOST_TOLD:
            self.told.append(Reason(rule, values))

    def refuse(self) -> None:
        """Raises FolderRefused where anything is wrong."""
        if self.n:
            raise FolderRefused(self.told, self.n)


@dataclass(frozen=True, eq=False)
class FolderTable:
    """A table that lies in the folder, with its columns as they stand there."""

    table: ExportTable
    path: Path
    columns: tuple[ExportColumn, ...]

    @property
    def name(self) -> str:
        return f"{CSV}/{self.table.file}.csv"

    @property
    def is_whole(self) -> bool:
        """Whether it has every column that this site knows."""
        return len(self.columns) == len(self.table.columns)

    def rows(self) -> Iterator[tuple[int, list[str | None]]]:
        return rows_of_table(self.path, [each.name for each in self.columns])

    def at(self, name: str) -> int | None:
        """The place of a column."""
        return next((n for n, each in enumerate(self.columns) if each.name == name), None)


@dataclass
class PlantFolder:
    """A folder whose manifest was read.

    Attributes
    ----------
    changed : list of str
        Tables whose checksum is another; said where nothing else tells what is wrong with them.
    """

    path: Path
    manifest: dict[str, Any]
    tables: list[FolderTable] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)

    @property
    def files(self) -> dict[str, dict[str, Any]]:
        found: dict[str, dict[str, Any]] = self.manifest["files"]
        return found

    @property
    def is_older(self) -> bool:
        return version_parts(self.manifest["version"]) < version_parts(settings.VERSION)


@contextlib.contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """The folder itself; that of a ZIP file is laid out elsewhere for the while."""
    if path.is_dir():
        yield path
        return
    if not path.is_file() or not zipfile.is_zipfile(path):
        raise FolderRefused([Reason(FolderRule.NO_FOLDER, {"path": str(path)})])
    with tempfile.TemporaryDirectory(prefix="driftbook-plant-") as aside, zipfile.ZipFile(path) as archive:
        archive.extractall(aside)
        tops = list(Path(aside).iterdir())
        yield tops[0] if len(tops) == 1 and tops[0].is_dir() else Path(aside)


def opened_folder(path: Path, faults: FolderFaults) -> PlantFolder:
    """What lies in a folder, held against its manifest.

    Raises
    ------
    FolderRefused
        If the manifest is missing or later than this site.
    """
    folder = PlantFolder(path, manifest_of(path))
    for table in tables():
        name = f"{CSV}/{table.file}.csv"
        if name in folder.files:
            add_table(folder, table, name, faults)
        elif not folder.is_older:
            faults.add(FolderRule.MISSING, file=name)
    for name in folder.files:
        if name.startswith(f"{CSV}/") and table_named(Path(name).stem) is None:
            faults.add(FolderRule.UNKNOWN_FILE, file=name)
    for there in sorted(path.glob(f"{CSV}/*")):
        if f"{CSV}/{there.name}" not in folder.files:
            faults.add(FolderRule.NOT_LISTED, file=f"{CSV}/{there.name}")
    return folder


def manifest_of(path: Path) -> dict[str, Any]:
    try:
        known = json.loads((path / MANIFEST).read_text(encoding="utf-8"))
        version = str(known["version"])
        is_later = known["format"] > FORMAT or version_parts(version) > version_parts(settings.VERSION)
        if not isinstance(known["files"], dict) or not version_parts(version):
            raise ValueError("no list of files or no version")
        for name, facts in known["files"].items():
            check_listed(path, name, facts)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise FolderRefused([Reason(FolderRule.NO_MANIFEST, {"path": str(path)})]) from error
    if is_later:
        raise FolderRefused([Reason(FolderRule.LATER_VERSION, {"theirs": version, "ours": settings.VERSION})])
    return dict(known)


def check_listed(path: Path, name: str, facts: dict[str, Any]) -> None:
    """What a manifest says of a file, which lies in the folder and nowhere else, whatever leads out of it."""
    told = {"missing"} if "missing" in facts else {"sha256"}
    if name.startswith(f"{CSV}/"):
        told |= {"rows", "content"}
    if not told <= set(facts):
        raise ValueError(f"the manifest does not say enough of {name}")
    if not (path / name).resolve().is_relative_to(path.resolve()):
        raise ValueError(f"{name} leads out of the folder")


def add_table(folder: PlantFolder, table: ExportTable, name: str, faults: FolderFaults) -> None:
    path = folder.path / name
    if not path.is_file():
        faults.add(FolderRule.MISSING, file=name)
        return
    if checksum(path) != folder.files[name].get("sha256"):
        folder.changed.append(name)
    columns = table.columns
    if folder.is_older:
        # A column that came with a later version keeps what it begins with.
        with path.open("rb") as file:
            heads = file.readline().decode("utf-8", "replace").strip().split(",")
        columns = tuple(each for each in columns if each.name in heads)
    folder.tables.append(FolderTable(table, path, columns))


def checksum(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
