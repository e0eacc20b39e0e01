"""A plant read in from its folder: all of it or nothing, in one transaction, and held against the folder in the end."""

from __future__ import annotations

import logging
import re
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from django.apps import apps
from django.core.files import File
from django.core.files.storage import default_storage
from django.db import DatabaseError, connection, models, transaction

from plant.calc.export_cells import MARK, keys_mapped, strings_mapped, value_of
from plant.calc.export_folder import CSV, FolderRule
from plant.calc.reasons import Reason
from plant.models import Person, Plant
from plant.selectors.export_rows import batched_rows, hashes_of_plant
from plant.selectors.export_tables import ROW_KEY, ExportColumn, TableKind, is_keyed
from plant.services.names import removed_name
from plant.services.plant_import.checking import checked_keys, stored_files
from plant.services.plant_import.folders import (
    FolderFaults,
    FolderRefused,
    FolderTable,
    PlantFolder,
    opened_folder,
    unpacked,
)
from plant.services.plant_import.keys import FolderKeys, reserved_keys

log = logging.getLogger(__name__)

AT_ONCE = 500
NAME = re.compile(r"[\w.@+-]+")  # as Django takes names of people who sign in
Tell = Callable[[str, int], None]


@dataclass(frozen=True)
class PlantImported:
    """What came of it.

    Attributes
    ----------
    people_made, people_known : list of str
        User names: new ones, who cannot sign in yet, and those that this site knew, who have their roles here now.
    """

    plant: Plant
    n_rows: int
    people_made: list[str]
    people_known: list[str]


@dataclass(frozen=True)
class PlantChecked:
    """What would be read in.

    Attributes
    ----------
    people_new, people_known : list of str
        User names that this site does not have, and those that it has: they would be given their roles here.
    """

    name: str
    n_rows: int
    people_new: list[str]
    people_known: list[str]


def check_plant_folder(path: Path) -> PlantChecked:
    """Look a folder over and write nothing.

    Raises
    ------
    FolderRefused
        If anything is wrong.
    """
    with unpacked(path) as there:
        faults = FolderFaults()
        folder = opened_folder(there, faults)
        keys = checked_keys(folder, faults)
    known = {each.casefold(): each for each in Person.objects.values_list("username", flat=True)}
    names = sorted(keys.of(Person).names)
    return PlantChecked(
        next(iter(keys.of(Plant).names)),
        sum(facts["rows"] for name, facts in folder.files.items() if name.startswith(f"{CSV}/")),
        [each for each in names if each.casefold() not in known and not is_removed(each)],
        [known[each.casefold()] for each in names if each.casefold() in known and not is_removed(each)],
    )


def import_plant(path: Path, *, tell: Tell = lambda _file, _n: None) -> PlantImported:
    """Read a plant in from its folder or the ZIP file of it.

    Parameters
    ----------
    path : Path
    tell : callable, optional
        Is told each file that was written, and how many rows it has.

    Raises
    ------
    FolderRefused
        If anything is wrong; nothing was written then.
    """
    with unpacked(path) as there:
        faults = FolderFaults()
        folder = opened_folder(there, faults)
        keys = checked_keys(folder, faults)
        run = ImportRun(folder, keys, tell)
        try:
            with transaction.atomic():
                done = run.write()
                run.compare(done.plant)
        except BaseException:
            for name in run.stored:
                default_storage.delete(name)
            raise
    return done


def is_removed(name: str) -> bool:
    """Whether what stands for a name was put there when a name was removed: nobody can sign in under it."""
    return not NAME.fullmatch(name)


class ImportRun:
    """One folder on its way into the book."""

    def __init__(self, folder: PlantFolder, keys: FolderKeys, tell: Tell) -> None:
        self.folder, self.keys, self.tell = folder, keys, tell
        self.stored: list[str] = []
        self.people_known: list[str] = []
        self.spelt: dict[str, str] = {}  # names of this site as the folder spells them
        self.people_made: list[str] = []

    def write(self) -> PlantImported:
        at = f"{CSV}/people.csv"
        n_rows = 0
        try:
            for model, index in self.keys.by_model.items():
                if model is not Person:
                    index.reserve(model, is_numbered=not is_keyed(model) and bool(index.keys))
            tables = sorted(self.folder.tables, key=lambda each: each.table.model is not Person)
            for found in tables:
                at = found.name
                n = self.write_people(found) if found.table.model is Person else self.write_table(found)
                self.tell(found.name, n)
                n_rows += n
            at = self.folder.path.name
            connection.check_constraints()
        except DatabaseError as error:
            why = " ".join(str(error).split())[:300]
            raise FolderRefused([Reason(FolderRule.REFUSED, {"file": at, "why": why})]) from error
        plant = Plant.objects.get(pk=self.keys.of(Plant).pks[0])
        return PlantImported(plant, n_rows, self.people_made, self.people_known)

    def write_people(self, found: FolderTable) -> int:
        """People of this site keep what they have here; new ones come without a password.

        Two whose names were removed are two people, whatever numbers they had.
        """
        known = {each.username.casefold(): each for each in Person.objects.all()}
        pks = []
        for values in self.rows_as_values(found):
            name = values["username"]
            person = None if is_removed(name) else known.get(name.casefold())
            if person is not None:
                self.people_known.append(person.username)
            else:
                person = Person(**values, must_change_password=not is_removed(name))
                person.set_unusable_password()
                if is_removed(name):
                    person.username = uuid.uuid4().hex
                    person.save()
                    person.username = removed_name(person)
                else:
                    self.people_made.append(name)
                person.save()
            self.spelt[person.username] = name
            pks.append(person.pk)
        self.keys.of(Person).pks = pks
        return len(pks)

    def write_table(self, found: FolderTable) -> int:
        table, n = found.table, 0
        index = self.keys.of(table.model)
        model = table.rows_model
        is_of_plant = any(each.name == "plant" for each in model._meta.concrete_fields)
        plant_pk = self.keys.of(Plant).pks[0]
        own_keys = reserved_keys(model, self.folder.files[found.name]["rows"]) if table.kind != TableKind.ROWS else ()
        for some in batched_rows(self.rows_as_values(found), AT_ONCE):
            made = []
            for values in some:
                if is_of_plant:
                    values["plant_id"] = plant_pk
                row_key = values.pop(ROW_KEY, None)
                if table.kind == TableKind.ROWS:
                    values["id"] = index.pks[n]
                elif table.kind == TableKind.LINKS:
                    values["id"] = own_keys[n]
                else:
                    values |= {"history_id": own_keys[n], "id": index.pk_of(row_key)}
                    if is_keyed(table.model):
                        values["client_key"] = row_key
                made.append(self.with_file(model(**values), found))
                n += 1
            # Past the query set of the plant: the plant is new, so nothing is kept of it that could be out of date.
            model._base_manager.bulk_create(made, batch_size=AT_ONCE)
        return n

    def rows_as_values(self, found: FolderTable) -> Iterator[dict[str, Any]]:
        changes = [self.change_of(each, found) for each in found.columns]
        for _row, cells in found.rows():
            values: dict[str, Any] = {}
            for change, text in zip(changes, cells, strict=True):
                name, value = change(text)
                values[name] = value
            yield values

    def change_of(self, column: ExportColumn, found: FolderTable) -> Callable[[str | None], tuple[str, Any]]:
        """What makes the value of a column: the name under which the row takes it, and the value."""
        said, field = found.table.said, column.field
        in_history = found.table.kind == TableKind.HISTORY
        if column.name == ROW_KEY and (in_history or not isinstance(field, models.UUIDField)):
            return lambda text: (ROW_KEY, text)  # its row takes what it is for
        if column.target_model is not None:
            return lambda text: (field.attname, self.pk_of(column, text, in_history=in_history))
        if field.name in said.keys_in:
            label, _mark, entry = said.keys_in[field.name].partition(":")
            return lambda text: (
                field.name,
                keys_mapped(value_of(text, column.kind), entry, lambda key: self.key_of(label, key)),
            )
        if field.name in said.addresses_in:
            return lambda text: (field.name, strings_mapped(value_of(text, column.kind), self.address_here))
        return lambda text: (field.attname, value_of(text, column.kind))

    def pk_of(self, column: ExportColumn, text: str | None, *, in_history: bool) -> int | None:
        if text is None:
            return None
        found = self.keys.find(column, text.removeprefix("'"), in_history=in_history)
        return None if found is None else found[0].pks[found[1]]

    def key_of(self, label: str, key: Any) -> int | None:
        found = self.keys.row(apps.get_model(label), str(key))
        return None if found is None else found[0].pks[found[1]]

    def address_here(self, text: str) -> str:
        if not text.startswith("/"):
            return text

        def here(mark: Any) -> str:
            model = self.keys.model_of(mark[1])
            found = None if model is None else self.keys.row(model, mark[2])
            return str(mark[0]) if found is None else str(found[0].pks[found[1]])

        return MARK.sub(here, text)

    def with_file(self, row: Any, found: FolderTable) -> Any:
        """The row with its file in the site's folder, under the name that the site gives it."""
        for column in found.columns:
            if not isinstance(column.field, models.FileField) or found.table.kind != TableKind.ROWS:
                continue
            path = str(getattr(row, column.name) or "")
            if not path:
                continue
            name = column.field.generate_filename(row, PurePosixPath(path).name)
            if "missing" not in self.folder.files[path]:
                with (self.folder.path / path).open("rb") as file:
                    name = default_storage.save(name, File(file))
                self.stored.append(name)
            setattr(row, column.name, name)
        return row

    def compare(self, plant: Plant) -> None:
        """Hold what was written against the folder.

        Raises
        ------
        FolderRefused
            If they differ.
        """
        here = hashes_of_plant(plant, connection.alias, self.spelt)
        are_others = bool(self.people_known) or any(name != theirs for name, theirs in self.spelt.items())
        for found in self.folder.tables:
            is_others = found.table.model is Person and are_others
            if found.is_whole and not is_others and here[found.table.file] != self.folder.files[found.name]["content"]:
                self.refuse_difference(found.name, here[found.table.file])
        for name, known in stored_files(self.folder):
            if here.get(name) != known["sha256"]:
                self.refuse_difference(name, str(here.get(name)))

    def refuse_difference(self, name: str, here: str) -> None:
        log.error("%s was read as %s, and stands in the folder as %s", name, here, self.folder.files[name])
        raise FolderRefused([Reason(FolderRule.NOT_EQUAL, {"file": name})])


__all__ = ["PlantImported", "import_plant"]
