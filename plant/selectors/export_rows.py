"""The rows of a plant as they stand in its files: every key of this site's data base is a name or a row key there."""

from __future__ import annotations

import contextlib
import copy
import functools
import hashlib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Any

from django.apps import apps
from django.core.files.storage import default_storage
from django.db import connection, connections, models, transaction
from django.db.models import Q
from django.urls import reverse

from plant.calc.export_cells import CellKind, RowsHash, csv_line, json_text, keys_mapped, marked, strings_mapped
from plant.models import Person, Plant
from plant.selectors.export_tables import (
    NUMBERED,
    ExportColumn,
    ExportTable,
    TableKind,
    is_keyed,
    is_named,
    pointing_columns,
    said_of,
    tables,
)

AT_ONCE = 2000
AT_ONCE_LARGE = 20  # rows with whole months in them
LOST = "lost"  # instead of the checksum of a file that a row names and nobody has
GONE = "row:"  # before the key of a row that only histories know
SNAPSHOT = "plant-export"


# --- one moment -------------------------------------------------------------------------------------------------------
@contextlib.contextmanager
def at_one_moment() -> Iterator[str]:
    """The alias of a connection that sees the book as it is now, whatever is written meanwhile; it holds up nobody.

    SQLite in its mode of the site (WAL) shows a reader what was committed when it began to read; PostgreSQL does so at
    REPEATABLE READ. A connection of its own, because a job writes how far it is through the other one. Inside a
    transaction the book is read through that.
    """
    if connection.in_atomic_block:
        yield connection.alias
        return
    settings = copy.deepcopy(connection.settings_dict)
    for name in ("pool", "transaction_mode"):  # a pool would outlive this; SQLite's own mode takes no lock to read
        settings.get("OPTIONS", {}).pop(name, None)
    if connection.vendor == "postgresql":
        from django.db.backends.postgresql.psycopg_any import IsolationLevel

        settings["OPTIONS"]["isolation_level"] = IsolationLevel.REPEATABLE_READ
    one = type(connections[connection.alias])(settings, SNAPSHOT)
    connections[SNAPSHOT] = one
    try:
        with transaction.atomic(using=SNAPSHOT):
            with one.cursor() as cursor:
                cursor.execute("SELECT 1 FROM django_migrations LIMIT 1")  # the moment is that of the first look
            yield SNAPSHOT
    finally:
        one.close()
        del connections[SNAPSHOT]


# --- which rows -------------------------------------------------------------------------------------------------------
def plant_path(model: type[models.Model]) -> str:
    """Leads from a row to its plant."""
    return said_of(model).plant_path or str(model._default_manager.all().plant_path)  # type: ignore[attr-defined]


def live_rows(model: type[models.Model], plant: Plant, alias: str) -> models.QuerySet[Any]:
    return model._base_manager.using(alias).filter(**{plant_path(model): plant.pk})


def history_rows(model: type[models.Model], plant: Plant, alias: str) -> models.QuerySet[Any]:
    """The history of a model's rows, of those too that were removed since with what they hung on."""
    rows = model.history.model._base_manager.using(alias)  # type: ignore[attr-defined]
    path = plant_path(model)
    if path == "pk":
        return rows.filter(id=plant.pk)  # type: ignore[no-any-return]
    if path == "plant":
        return rows.filter(plant_id=plant.pk)  # type: ignore[no-any-return]
    parent, _mark, _rest = path.partition("__")
    parents = history_rows(model._meta.get_field(parent).related_model, plant, alias).values("id")  # type: ignore[arg-type]
    return rows.filter(Q(**{path: plant.pk}) | Q(**{f"{parent}_id__in": parents}))  # type: ignore[no-any-return]


def rows_query(table: ExportTable, plant: Plant, alias: str) -> models.QuerySet[Any]:
    """The rows of a file in the order of their making."""
    if table.kind == TableKind.HISTORY:
        return history_rows(table.model, plant, alias).order_by("history_id")
    if table.kind == TableKind.LINKS:
        path = f"{table.columns[0].field.name}__{plant_path(table.model)}"
        return table.rows_model._base_manager.using(alias).filter(**{path: plant.pk}).order_by("pk")
    return live_rows(table.model, plant, alias).order_by("pk")


def n_rows(plant: Plant, alias: str) -> int:
    """About how many rows go out; people are few."""
    return sum(rows_query(each, plant, alias).count() for each in tables() if each.model is not Person)


# --- their cells ------------------------------------------------------------------------------------------------------
@dataclass
class ExportRun:
    """One run over the book of a plant.

    Attributes
    ----------
    people : set of str
        Who was named in rows so far; of the site's people only they go out.
    spelt : mapping of str to str
        User names that are to be written otherwise than this site spells them.
    numbers : dict
        Of rows that have no key of their own, by model.
    """

    plant: Plant
    alias: str
    people: set[str] = field(default_factory=set)
    spelt: Mapping[str, str] = field(default_factory=dict)
    numbers: dict[str, dict[int, int]] = field(default_factory=dict)

    def chunks(self, table: ExportTable) -> Iterator[list[tuple[Any, ...]]]:
        """Rows of a file, some at a time, with values as the columns say."""
        if table.model is Person:
            yield from self._person_chunks(table)
            return
        query = rows_query(table, self.plant, self.alias)
        points = pointing_columns(table.columns) if table.kind == TableKind.HISTORY else []
        paths = [each.path for each in table.columns]
        size = AT_ONCE_LARGE if table.said.addresses_in else AT_ONCE
        rows = query.values_list(*paths, *(each.field.attname for each in points)).iterator(chunk_size=size)
        for some in batched_rows(rows, size):
            chunk = [list(row) for row in some]
            for n, point in enumerate(points):
                self._name_the_gone(chunk, table.columns.index(point), len(paths) + n, point)
            self._as_written(chunk, table)
            yield [tuple(row[: len(paths)]) for row in chunk]

    def _person_chunks(self, table: ExportTable) -> Iterator[list[tuple[Any, ...]]]:
        paths = [each.path for each in table.columns]
        name = next(n for n, each in enumerate(table.columns) if each.name == "username")
        for some in batched_rows(iter(sorted(self.people)), AT_ONCE):
            rows = table.model._base_manager.using(self.alias).filter(username__in=some).values_list(*paths)
            yield sorted(rows, key=lambda row: str(row[name]))

    def _name_the_gone(self, chunk: list[list[Any]], at: int, key_at: int, column: ExportColumn) -> None:
        """A history may name what is there no more: by its row key, which its own history tells."""
        missing = {row[key_at] for row in chunk if row[at] is None and row[key_at] is not None}
        model = column.target_model
        if not missing or model is None or not hasattr(model, "history") or not is_keyed(model):
            return
        history = model.history.model._base_manager.using(self.alias)
        known = dict(history.filter(id__in=missing).values_list("id", "client_key"))
        mark = GONE if is_named(model) else ""
        for row in chunk:
            if row[at] is None and row[key_at] in known:
                row[at] = f"{mark}{known[row[key_at]]}"

    def _as_written(self, chunk: list[list[Any]], table: ExportTable) -> None:
        key_at = next((n for n, each in enumerate(table.columns) if each.field.name == "client_key"), 0)
        for n, column in enumerate(table.columns):
            change = self._change_of(column, table, chunk, n)
            if isinstance(column.field, models.FileField):
                for row in chunk:
                    row[n] = file_path(table, row[key_at], row[n])
            elif change is not None:
                for row in chunk:
                    row[n] = None if row[n] is None else change(row[n])
            if column.target_model is Person:
                self.people.update(row[n] for row in chunk if row[n] is not None)
                if self.spelt:
                    for row in chunk:
                        row[n] = self.spelt.get(row[n], row[n])

    def _change_of(
        self, column: ExportColumn, table: ExportTable, chunk: list[list[Any]], n: int
    ) -> Callable[[Any], Any] | None:
        """What makes the cell of a column; None where the value is the cell."""
        name = column.field.name
        if column is NUMBERED:
            numbers = self._numbers(table.model)
            return lambda key: numbers[key]
        if column.target_model is not None or isinstance(column.field, models.UUIDField):
            return str
        if name in table.said.keys_in:
            label, _mark, entry = table.said.keys_in[name].partition(":")
            return self._with_keys_named(label, entry, [row[n] for row in chunk])
        if name in table.said.addresses_in:
            return self._with_addresses_named(table.said.addresses, [row[n] for row in chunk])
        return json_text if column.kind == CellKind.JSON else None

    def _numbers(self, model: type[models.Model]) -> dict[int, int]:
        """The numbers of rows that have no key but a history, by their keys here."""
        if model._meta.label not in self.numbers:
            live = set(live_rows(model, self.plant, self.alias).values_list("pk", flat=True))
            gone = set(history_rows(model, self.plant, self.alias).values_list("id", flat=True))
            self.numbers[model._meta.label] = {key: n for n, key in enumerate(sorted(live | gone), start=1)}
        return self.numbers[model._meta.label]

    def _row_keys(self, label: str, keys: Iterable[Any]) -> dict[int, str]:
        rows = apps.get_model(label)._base_manager.using(self.alias)
        known: dict[int, str] = {}
        for some in batched_rows(iter({int(key) for key in keys}), AT_ONCE):
            known |= {pk: str(key) for pk, key in rows.filter(pk__in=some).values_list("pk", "client_key")}
        return known

    def _with_keys_named(self, label: str, entry: str, values: list[Any]) -> Callable[[Any], str]:
        wanted: set[int] = set()
        for value in values:
            keys_mapped(value, entry, wanted.add)
        known = self._row_keys(label, wanted)
        return lambda value: json_text(keys_mapped(value, entry, known.get))

    def _with_addresses_named(self, addresses: Mapping[str, str], values: list[Any]) -> Callable[[Any], str]:
        patterns = [(label, address_pattern(name)) for name, label in addresses.items()]
        wanted: dict[str, set[int]] = {label: set() for label in addresses.values()}

        def look(text: str) -> str:
            if text.startswith("/"):
                for label, pattern in patterns:
                    wanted[label].update(int(each[2]) for each in pattern.finditer(text))
            return text

        for value in values:
            strings_mapped(value, look)
        known = {label: self._row_keys(label, keys) for label, keys in wanted.items()}

        def name(text: str) -> str:
            if not text.startswith("/"):
                return text
            for label, pattern in patterns:
                text = pattern.sub(functools.partial(named_row, label, known[label]), text)
            return text

        return lambda value: json_text(strings_mapped(value, name))


def named_row(label: str, known: Mapping[int, str], found: re.Match[str]) -> str:
    key = known.get(int(found[2]))
    return found[0] if key is None else f"{found[1]}{marked(said_of(apps.get_model(label)).file, key)}{found[3]}"


@functools.cache
def address_pattern(name: str) -> re.Pattern[str]:
    """Finds the key of a row in an address: of a page by its name, or of a word behind "?"."""
    if name.startswith("?"):
        return re.compile(rf"([?&]{re.escape(name[1:])}=)(\d+)()(?=&|$)")
    before, _mark, after = reverse(name, args=[0]).partition("0")
    return re.compile(rf"^({re.escape(before)})(\d+)({re.escape(after)}(?=$|[?#]))")


def batched_rows(rows: Iterator[Any], size: int) -> Iterator[list[Any]]:
    """Some at a time."""
    some: list[Any] = []
    for row in rows:
        some.append(row)
        if len(some) == size:
            yield some
            some = []
    if some:
        yield some


# --- files that rows name ---------------------------------------------------------------------------------------------
def file_path(table: ExportTable, row_key: Any, stored: str) -> str:
    """Where the file of a row lies in the folder; empty where it has none."""
    return f"{table.said.file}/{row_key}{PurePosixPath(stored).suffix}" if stored else ""


@dataclass(frozen=True)
class StoredFile:
    """A file that a row names: where it is kept on this site, and where it lies in the folder."""

    stored: str
    path: str


def files_of(plant: Plant, alias: str) -> Iterator[StoredFile]:
    """The files of a plant, but those that are no longer kept."""
    for table in tables():
        for column in table.columns:
            if table.kind == TableKind.ROWS and isinstance(column.field, models.FileField):
                rows = live_rows(table.model, plant, alias).exclude(**{column.name: ""}).order_by("pk")
                for key, stored in rows.values_list("client_key", column.name):
                    yield StoredFile(stored, file_path(table, key, stored))


# --- one number for all of it -----------------------------------------------------------------------------------------
def hashes_of_plant(plant: Plant, alias: str, spelt: Mapping[str, str] | None = None) -> dict[str, str]:
    """By file: what the plant's rows come to, and its photos and the like; equal on every site that holds this book.

    `spelt`: as in `ExportRun`.
    """
    run, hashes = ExportRun(plant, alias, spelt=spelt or {}), {}
    for table in tables():
        found = RowsHash()
        for chunk in run.chunks(table):
            for row in chunk:
                found.add(csv_line(row, table.kinds))
        hashes[table.file] = str(found)
    for each in files_of(plant, alias):
        try:
            with default_storage.open(each.stored, "rb") as file:
                hashes[each.path] = hashlib.file_digest(file, "sha256").hexdigest()
        except FileNotFoundError:
            hashes[each.path] = LOST
    return hashes


__all__ = ["ExportRun", "at_one_moment", "files_of", "hashes_of_plant", "n_rows"]
