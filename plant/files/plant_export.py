"""A plant as a folder of open files: CSV and Parquet, a dictionary, photos and papers beside them, a page on top.

Written under another name first and moved when it is whole, so that a folder of the asked name is always a whole one.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import io
import json
import os
import shutil
import uuid
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from django.apps import apps
from django.conf import settings
from django.core.files.storage import default_storage
from django.utils.text import slugify

from plant.calc.export_cells import CellKind, RowsHash, csv_line, head_line, moment_text
from plant.calc.export_folder import CSV, DICTIONARY, FORMAT, MANIFEST, PAPERS, PARQUET, README
from plant.models import Plant
from plant.selectors.export_rows import ExportRun, at_one_moment, files_of, n_rows
from plant.selectors.export_tables import ExportTable, tables
from plant.words.plant_export import meaning_of, points_to, readme, values_of

Tell = Callable[[int, int], None]
PIECE = 4 * 1024 * 1024  # bytes between two signs of life
# Papers that apps above add: name within their folder, and content.
MakePapers = Callable[[Plant, str], Iterator[tuple[str, bytes]]]
_papers: list[MakePapers] = []


def papers_of(make: MakePapers) -> MakePapers:
    """Register what makes papers of a plant; it is given the plant and the alias to read through."""
    _papers.append(make)
    return make


@dataclass
class WrittenFolder:
    """What lies in a folder so far."""

    target: Path
    files: dict[str, dict[str, Any]] = field(default_factory=dict)
    n_rows: int = 0

    @contextlib.contextmanager
    def new(self, name: str, **known: Any) -> Iterator[ChecksumFile]:
        """A file to be written; how long it is and its checksum are noted when it is whole."""
        path = self.target / name
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with path.open("xb") as file:
            kept = ChecksumFile(file)
            yield kept
        self.files[name] = {"bytes": kept.n_bytes, "sha256": kept.digest.hexdigest(), **known}


class ChecksumFile(io.RawIOBase):
    """A file that reckons its checksum while it is written."""

    def __init__(self, file: BinaryIO) -> None:
        super().__init__()
        self.file, self.digest, self.n_bytes = file, hashlib.sha256(), 0

    def writable(self) -> bool:
        return True

    def write(self, content: Any) -> int:
        self.file.write(content)
        self.digest.update(content)
        self.n_bytes += len(content)
        return len(content)

    def tell(self) -> int:
        return self.n_bytes


# --- the folder -------------------------------------------------------------------------------------------------------
def write_folder(plant: Plant, target: Path, *, now: dt.datetime, tell: Tell = lambda _done, _total: None) -> int:
    """Write everything of a plant into a new folder.

    Parameters
    ----------
    plant : Plant
    target : Path
        Must not be there yet.
    now : datetime
        Stands in the manifest and nowhere else.
    tell : callable, optional
        Is told after every piece how many rows are written, and of about how many.

    Returns
    -------
    int
        How many rows went out.

    Raises
    ------
    FileExistsError
        If something has that name.
    OSError
        If the disk is full or may not be written; nothing half is left.
    """
    if target.exists():
        raise FileExistsError(str(target))
    target.parent.mkdir(parents=True, exist_ok=True)
    draft = target.with_name(f".{target.name}.{uuid.uuid4().hex[:8]}")
    try:
        draft.mkdir(mode=0o700)
        with at_one_moment() as alias:
            here = Plant._base_manager.using(alias).get(pk=plant.pk)
            folder = WrittenFolder(draft)
            write_tables(folder, here, alias, tell)
            write_stored_files(folder, here, alias, tell)
            for make in _papers:
                for name, content in make(here, alias):
                    with folder.new(f"{PAPERS}/{name}") as file:
                        file.write(content)
                    tell(folder.n_rows, folder.n_rows)
            write_dictionary(folder)
            write_readme(folder, here, alias)
        write_manifest(folder, here, now)
        draft.rename(target)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return folder.n_rows


def write_tables(folder: WrittenFolder, plant: Plant, alias: str, tell: Tell) -> None:
    run, total = ExportRun(plant, alias), n_rows(plant, alias)
    for table in tables():
        write_table(folder, run, table, lambda: tell(min(folder.n_rows, total), total))


def write_table(folder: WrittenFolder, run: ExportRun, table: ExportTable, tell: Callable[[], None]) -> None:
    """Its CSV and its Parquet file, piece by piece."""
    # Here, and not when a process starts: it brings two libraries that nothing else needs.
    from plant.files.parquet import parquet_rows

    found = RowsHash()
    name = f"{CSV}/{table.file}.csv"
    with folder.new(name) as text, folder.new(f"{PARQUET}/{table.file}.parquet") as other:
        text.write(head_line(each.name for each in table.columns).encode())
        with parquet_rows(other, table.columns) as write:
            for chunk in run.chunks(table):
                lines = [csv_line(row, table.kinds) for row in chunk]
                for line in lines:
                    found.add(line)
                text.write("".join(lines).encode())
                write(chunk)
                folder.n_rows += len(chunk)
                tell()
    folder.files[name] |= {"rows": found.n_rows, "content": str(found)}


def write_stored_files(folder: WrittenFolder, plant: Plant, alias: str, tell: Tell) -> None:
    """Photos and files that were sent in. One that this site has lost is named as missing; the rest goes out."""
    for each in files_of(plant, alias):
        tell(folder.n_rows, folder.n_rows)
        try:
            kept = default_storage.open(each.stored, "rb")
        except FileNotFoundError:
            folder.files[each.path] = {"missing": True}
            continue
        with kept, folder.new(each.path) as file:
            for piece in kept.chunks():
                file.write(piece)


def write_dictionary(folder: WrittenFolder) -> None:
    heads = ("file", "column", "type", "unit", "points_to", "may_be_empty", "values", "meaning")
    lines = [head_line(heads)]
    for table in tables():
        for each in table.columns:
            empty = "yes" if each.may_be_empty else "no"
            cells = (table.file, each.name, each.kind, each.unit, points_to(each), empty, values_of(each))
            lines.append(csv_line((*cells, meaning_of(table, each)), [CellKind.TEXT] * len(heads)))
    with folder.new(DICTIONARY) as file:
        file.write("".join(lines).encode())


def write_readme(folder: WrittenFolder, plant: Plant, alias: str) -> None:
    kinds = apps.get_model("inspections", "CheckKind")._base_manager.using(alias).filter(plant=None)
    built_in = kinds.order_by("code").values_list("code", flat=True)
    text = readme(plant=plant.name, zone=plant.time_zone, currency=plant.currency, built_in=built_in)
    with folder.new(README) as file:
        file.write(text.encode())


def write_manifest(folder: WrittenFolder, plant: Plant, now: dt.datetime) -> None:
    content = {
        "format": FORMAT,
        "version": settings.VERSION,
        "plant": plant.name,
        "plant_key": str(plant.client_key),
        "time_zone": plant.time_zone,
        "written_at": moment_text(now.replace(microsecond=0)),
        "files": dict(sorted(folder.files.items())),
    }
    path = folder.target / MANIFEST
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


# --- the folder as one file -------------------------------------------------------------------------------------------
def zip_folder(folder: Path, target: Path, *, top: str = "", tell: Callable[[], None] = lambda: None) -> int:
    """A folder as a ZIP file with one folder in it; returns its length in bytes. Written under another name first.

    `top`: name of that folder; left out, that of the file.
    """
    draft = target.with_name(f".{target.name}.{uuid.uuid4().hex[:8]}")
    try:
        os.close(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        with zipfile.ZipFile(draft, "w") as archive:
            for path in sorted(each for each in folder.rglob("*") if each.is_file()):
                is_packed = path.suffix in (".parquet", ".jpg", ".png", ".webp", ".xlsx", ".pdf")
                method = zipfile.ZIP_STORED if is_packed else zipfile.ZIP_DEFLATED
                known = zipfile.ZipInfo.from_file(path, f"{top or target.stem}/{path.relative_to(folder).as_posix()}")
                known.compress_type = method
                with path.open("rb") as file, archive.open(known, "w") as packed:
                    while piece := file.read(PIECE):
                        packed.write(piece)
                        tell()
        draft.rename(target)
    finally:
        draft.unlink(missing_ok=True)
    return target.stat().st_size


def write_zip(plant: Plant, target: Path, now: dt.datetime, tell: Tell) -> tuple[int, int]:
    """Everything of a plant as a ZIP file; rows and bytes."""
    folder = target.with_name(f".{target.stem}.folder")
    try:
        n = write_folder(plant, folder, now=now, tell=tell)
        top = f"{slugify(plant.name) or 'plant'}-{now.astimezone(plant.zone):%Y-%m-%d}"
        return n, zip_folder(folder, target, top=top, tell=lambda: tell(n, n))
    finally:
        shutil.rmtree(folder, ignore_errors=True)


__all__ = ["papers_of", "write_folder", "write_zip", "zip_folder"]
