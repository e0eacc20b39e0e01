"""Everything in a folder looked at before anything is written: each cell, each name of a row, each file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.apps import apps
from django.db import models

from plant.calc.export_cells import MARK, CellFault, CellKind, is_uuid, keys_mapped, row_hash, strings_mapped, value_of
from plant.calc.export_folder import FolderRule, TableFault
from plant.models import Plant
from plant.selectors.export_tables import ROW_KEY, ExportColumn, TableKind, is_keyed, named_by, said_of
from plant.services.plant_import.folders import FolderFaults, FolderTable, PlantFolder, checksum
from plant.services.plant_import.keys import FolderKeys

LONGEST_TOLD = 60
FIRST_ROW = 2  # as a spreadsheet counts: the heads are row 1


def checked_keys(folder: PlantFolder, faults: FolderFaults) -> FolderKeys:
    """Look through a folder; the keys of its rows.

    Raises
    ------
    FolderRefused
        If anything is wrong, with the file, the row and what to do.
    """
    keys = FolderKeys()
    broken = set()
    for each in folder.tables:
        if not read_keys(each, keys, folder, faults):
            broken.add(each.name)
            keys.lost.add(each.table.model)
    for each in folder.tables:
        if each.table.kind == TableKind.HISTORY and each.name not in broken:
            read_gone_keys(each, keys)
    for each in folder.tables:
        if each.name not in broken:
            check_cells(each, keys, folder, faults)
    check_plant(folder, keys, faults)
    check_stored_files(folder, faults)
    if not faults.n:
        # Nothing else tells what is wrong with these.
        for name in folder.changed:
            faults.add(FolderRule.CHANGED, file=name)
    faults.refuse()
    return keys


def read_keys(found: FolderTable, keys: FolderKeys, folder: PlantFolder, faults: FolderFaults) -> bool:
    """Note what names the rows of a table, and rows that stand there twice; False where it cannot be read."""
    table = found.table
    index = keys.of(table.model) if table.kind == TableKind.ROWS else None
    # Where the row key alone tells rows apart, the index knows which were there already.
    is_by_key = table.identity == (ROW_KEY,)
    tells = [] if is_by_key else [at for at in map(found.at, table.identity) if at is not None]
    key_at = found.at(ROW_KEY)
    name_at = found.at(named_by(table.model)) if index is not None and has_name(table.model) else None
    seen: dict[bytes, int] = {}
    n = 0
    try:
        for row, cells in found.rows():
            if tells:
                told = [cells[at] for at in tells]
                said_twice(faults, found, row, seen.setdefault(row_hash(told), row), told)
            if index is not None and key_at is not None:
                key = cells[key_at] or ""
                said_twice(faults, found, row, index.keys.setdefault(key, n) + FIRST_ROW, [key])
            if index is not None and name_at is not None:
                index.names[(value_of(cells[name_at], CellKind.TEXT)) or ""] = n
            n += 1
    except TableFault as fault:
        faults.add(fault.rule, file=found.name, **fault.values)
        return False
    if index is not None:
        index.n_rows = n
    wanted = folder.files[found.name].get("rows")
    if n != wanted:
        faults.add(FolderRule.N_ROWS, file=found.name, found=n, wanted=wanted)
        return False
    return True


def said_twice(faults: FolderFaults, found: FolderTable, row: int, first: int, told: Sequence[str | None]) -> None:
    if first != row:
        text = shortened(", ".join(each or "" for each in told))
        faults.add(FolderRule.TWICE, file=found.name, row=row, first=first, text=text)


def has_name(model: type[models.Model]) -> bool:
    """Whether other files could name its rows by a column that people know them by."""
    try:
        return named_by(model) != "client_key"
    except LookupError:
        return False


def read_gone_keys(found: FolderTable, keys: FolderKeys) -> None:
    """Rows that only their history knows."""
    index, key_at = keys.of(found.table.model), found.at(ROW_KEY)
    for _row, cells in found.rows():
        if key_at is not None and cells[key_at] is not None:
            index.add_gone(str(cells[key_at]))


def check_cells(found: FolderTable, keys: FolderKeys, folder: PlantFolder, faults: FolderFaults) -> None:
    in_history = found.table.kind == TableKind.HISTORY
    for row, cells in found.rows():
        for column, text in zip(found.columns, cells, strict=True):
            where = {"file": found.name, "row": row}
            if text is None:
                if not column.may_be_empty:
                    faults.add(FolderRule.NOT_STATED, **where, column=column.name)
                continue
            if column.target_model is not None:
                if (
                    column.target_model not in keys.lost
                    and keys.find(column, text.removeprefix("'"), in_history=in_history) is None
                ):
                    points_nowhere(faults, where, column.name, text, column.points_to)
                continue
            try:
                value = value_of(text, column.kind)
            except CellFault:
                told = {"column": column.name, "text": shortened(text), "kind": str(column.kind)}
                faults.add(FolderRule.NO_VALUE, **where, **told)
                continue
            check_value(found, column, value, keys, folder, faults, where)


def check_value(
    found: FolderTable,
    column: ExportColumn,
    value: Any,
    keys: FolderKeys,
    folder: PlantFolder,
    faults: FolderFaults,
    where: dict[str, Any],
) -> None:
    """What is wrong with a value beside its kind."""
    field, said = column.field, found.table.said
    most = getattr(field, "max_length", None)
    if isinstance(field, models.UUIDField):
        if is_keyed(found.table.model) and not is_uuid(value):
            faults.add(FolderRule.NO_KEY, **where, text=shortened(value))
    elif isinstance(field, models.FileField):
        if value and value not in folder.files:
            faults.add(FolderRule.NO_FILE, **where, text=shortened(value))
    elif column.kind == CellKind.TEXT and most is not None and len(value) > most:
        faults.add(FolderRule.TOO_LONG, **where, column=column.name, found=len(value), most=most)
    elif field.name in said.keys_in:
        label, _mark, entry = said.keys_in[field.name].partition(":")
        named: list[Any] = []
        keys_mapped(value, entry, named.append)
        model = apps.get_model(label)
        for key in named if model not in keys.lost else ():
            if keys.row(model, str(key)) is None:
                points_nowhere(faults, where, column.name, str(key), said_of(model).file)
    elif field.name in said.addresses_in:
        for file, key in addressed(value):
            model_named = keys.model_of(file)
            if model_named not in keys.lost and (model_named is None or keys.row(model_named, key) is None):
                points_nowhere(faults, where, column.name, key, file)


def addressed(value: Any) -> list[tuple[str, str]]:
    """Rows that addresses in JSON name: file and row key."""
    found: list[tuple[str, str]] = []

    def look(text: str) -> str:
        if text.startswith("/"):
            found.extend((each[1], each[2]) for each in MARK.finditer(text))
        return text

    strings_mapped(value, look)
    return found


def points_nowhere(faults: FolderFaults, where: dict[str, Any], column: str, text: str, other: str) -> None:
    faults.add(FolderRule.POINTS_NOWHERE, **where, column=column, text=shortened(text), other=other)


def shortened(text: str) -> str:
    return text if len(text) <= LONGEST_TOLD else f"{text[:LONGEST_TOLD]}…"


def check_plant(folder: PlantFolder, keys: FolderKeys, faults: FolderFaults) -> None:
    """One plant, which this site does not have and whose name is free."""
    index = keys.of(Plant)
    if Plant in keys.lost:
        return
    if index.n_rows != 1:
        faults.add(FolderRule.ONE_PLANT, found=index.n_rows)
        return
    key, name = next(iter(index.keys), ""), next(iter(index.names))
    known = Plant.objects.filter(client_key=key).first() if is_uuid(key) else None
    if known is not None:
        faults.add(FolderRule.PLANT_KNOWN, name=known.name)
    elif Plant.objects.filter(name__iexact=name).exists():
        faults.add(FolderRule.NAME_TAKEN, name=name)


def check_stored_files(folder: PlantFolder, faults: FolderFaults) -> None:
    for name, known in stored_files(folder):
        path = folder.path / name
        if not path.is_file():
            faults.add(FolderRule.MISSING, file=name)
        elif checksum(path) != known.get("sha256"):
            faults.add(FolderRule.CHANGED, file=name)


def stored_files(folder: PlantFolder) -> Iterable[tuple[str, dict[str, Any]]]:
    """The files beside the tables that are read in, but those that the first site had lost already."""
    tops = {
        each.table.said.file
        for each in folder.tables
        for column in each.columns
        if isinstance(column.field, models.FileField)
    }
    return [
        (name, known) for name, known in folder.files.items() if name.split("/")[0] in tops and "missing" not in known
    ]
