"""Whose key stands in a cell: rows of the folder by row key and by name, and what every site has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from django.apps import apps
from django.contrib.auth.models import Group
from django.db import connection, models

from plant.selectors.export_rows import GONE
from plant.selectors.export_tables import ExportColumn, Pointing, rows_table


@dataclass
class RowIndex:
    """Rows of a table by what names them, as places in the order of the file; keys of the data base come later.

    Attributes
    ----------
    keys, names : dict
        By row key, and by what people call them.
    gone : dict
        Rows that only the history knows, by row key; their places follow those of the rows.
    pks : list of int
        By place.
    """

    keys: dict[str, int] = field(default_factory=dict)
    names: dict[str, int] = field(default_factory=dict)
    gone: dict[str, int] = field(default_factory=dict)
    n_rows: int = 0
    pks: Sequence[int] = ()

    def add_gone(self, key: str) -> None:
        if key not in self.keys and key not in self.gone:
            self.gone[key] = self.n_rows + len(self.gone)

    def pk_of(self, key: str) -> int:
        """The key in the data base of a row that the index knows by its row key."""
        place = self.keys.get(key)
        return self.pks[self.gone[key] if place is None else place]

    def reserve(self, model: type[models.Model], *, is_numbered: bool) -> None:
        """Take keys of the data base for all of them, in the order of the file."""
        fresh = reserved_keys(model, self.n_rows + len(self.gone))
        if not is_numbered:
            self.pks = fresh
            return
        places = {**self.keys, **self.gone}
        ordered = sorted(places, key=int)
        by_place = dict(zip((places[each] for each in ordered), fresh, strict=True))
        self.pks = [by_place[place] for place in range(len(places))]


Found = tuple[RowIndex, int]


class FolderKeys:
    """Every index of a folder."""

    def __init__(self) -> None:
        self.by_model: dict[type[models.Model], RowIndex] = {}
        # Of these rows are lost: who names one of them is not asked which.
        self.lost: set[type[models.Model]] = set()
        self.roles = shared_rows(Group._default_manager.values_list("name", "pk"))
        kinds: type[models.Model] = apps.get_model("inspections", "CheckKind")
        # What a file names and does not hold, because every site has it.
        self.shared = {kinds: shared_rows(kinds._base_manager.filter(plant=None).values_list("code", "pk"))}

    def of(self, model: type[models.Model]) -> RowIndex:
        return self.by_model.setdefault(model, RowIndex())

    def find(self, column: ExportColumn, text: str, *, in_history: bool) -> Found | None:
        """The row that a cell names; None where there is none."""
        model = column.target_model
        if model is None or model is Group:
            return found_in(self.roles, self.roles.names, text)
        index = self.of(model)
        if column.pointing == Pointing.NAME:
            if in_history and text.startswith(GONE):
                return found_in(index, index.gone, text.removeprefix(GONE))
            shared = self.shared.get(model)
            found = found_in(index, index.names, text)
            return found if found or shared is None else found_in(shared, shared.names, text)
        return found_in(index, index.keys, text) or (found_in(index, index.gone, text) if in_history else None)

    def row(self, model: type[models.Model], key: str) -> Found | None:
        """A row by its row key."""
        index = self.of(model)
        return found_in(index, index.keys, key)

    def model_of(self, file: str) -> type[models.Model] | None:
        """Whose rows a file holds; None for a file that there is not."""
        return next((each for each in self.by_model if rows_table(each).file == file), None)


def found_in(index: RowIndex, places: dict[str, int], text: str) -> Found | None:
    place = places.get(text)
    return None if place is None else (index, place)


def shared_rows(rows: Any) -> RowIndex:
    known = list(rows)
    names = {str(name): n for n, (name, _pk) in enumerate(known)}
    return RowIndex(names=names, n_rows=len(known), pks=[pk for _name, pk in known])


def reserved_keys(model: type[models.Model], n: int) -> Sequence[int]:
    """Keys that nobody else will be given, rising; called within the transaction that writes the rows.

    Rows that only a history knows need one too, which no later row may be given.
    """
    table, column = model._meta.db_table, str(model._meta.pk.column)
    quote = connection.ops.quote_name
    if not n:
        return []
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            given = "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)"
            cursor.execute(given, [quote(table), column, n])
            return sorted(key for (key,) in cursor.fetchall())
        cursor.execute(f"SELECT coalesce(max({quote(column)}), 0) FROM {quote(table)}")
        highest = cursor.fetchone()[0]
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        counted = cursor.fetchone()
        first = max(highest, counted[0] if counted else 0) + 1
        if counted:
            cursor.execute("UPDATE sqlite_sequence SET seq = %s WHERE name = %s", [first + n - 1, table])
        else:
            cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, first + n - 1])
    return range(first, first + n)
