"""The table of what goes out when a plant is taken out of the site: files, columns and what they point to.

It is read off the models: each says what of it goes out (`plant.models.exported`), its fields say the rest. A record
has a second file with its history; a field that links many rows with many has one of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import Group
from django.db import models

from plant.calc.export_cells import CellKind, unit_of
from plant.models import Person, Plant
from plant.models.exported import OF_OTHERS, Exported, NotExported

APPS = ("plant", "installs", "inspections", "reports")
ROW_KEY = "row_key"
HISTORY, ROLES, PEOPLE = "_history", "roles", "people"
# Of a plant's own folder every row is of this plant.
NOT_SAID = frozenset({"id", "plant"})
HISTORY_COLUMNS = {
    "history_date": "history_at",
    "history_type": "history_act",
    "history_user": "history_by",
    "history_change_reason": "history_reason",
}


class TableKind(StrEnum):
    """What a file holds of a model."""

    ROWS = "rows"
    HISTORY = "history"
    LINKS = "links"


class Pointing(StrEnum):
    """How a cell names a row of another file."""

    NAME = "name"  # by the one column that people know it by
    ROW_KEY = "row key"


@dataclass(frozen=True, eq=False)
class ExportColumn:
    """A column of a file.

    Attributes
    ----------
    name : str
    field : Field
        Of the model.
    kind : CellKind
    unit : str
        Empty for what has none.
    target : ExportTable or None
        The file that it points to; None also for roles, which every site has.
    target_model : type or None
        The model that it points to.
    pointing : Pointing or None
    """

    name: str
    field: Any
    kind: CellKind
    unit: str = ""
    target_model: type[models.Model] | None = None
    pointing: Pointing | None = None

    @property
    def path(self) -> str:
        """What the query asks for: the name of the row that it points to."""
        if self.target_model is None:
            return str(self.field.attname)
        return f"{self.field.name}__{named_by(self.target_model)}"

    @property
    def points_to(self) -> str:
        """Name of the file; empty where it points nowhere."""
        if self.target_model is None:
            return ""
        return ROLES if self.target_model is Group else said_of(self.target_model).file

    @property
    def may_be_empty(self) -> bool:
        return bool(self.field.null)


@dataclass(frozen=True, eq=False)
class ExportTable:
    """A file: rows of a model, its history, or the links of one of its fields."""

    file: str
    kind: TableKind
    model: type[models.Model]
    rows_model: type[models.Model]
    columns: tuple[ExportColumn, ...]
    said: Exported

    @property
    def has_row_key(self) -> bool:
        return self.kind != TableKind.LINKS and (is_keyed(self.model) or hasattr(self.model, "history"))

    @property
    def identity(self) -> tuple[str, ...]:
        """The columns that tell its rows apart; a history has none: whatever was done twice stands there twice."""
        if self.kind == TableKind.HISTORY:
            return ()
        if self.kind == TableKind.LINKS:
            return tuple(each.name for each in self.columns)
        return (ROW_KEY,) if self.has_row_key else self.said.key

    @property
    def kinds(self) -> tuple[CellKind, ...]:
        return tuple(each.kind for each in self.columns)


# --- what models say --------------------------------------------------------------------------------------------------
def said_by(model: type[models.Model]) -> Exported | NotExported | None:
    """What a model says of itself; None where it says nothing."""
    if model._meta.label in OF_OTHERS:
        return NotExported(OF_OTHERS[model._meta.label])
    return vars(model).get("exported")


def said_of(model: type[models.Model]) -> Exported:
    """What a model says that goes out.

    Raises
    ------
    LookupError
        If it does not go out.
    """
    said = said_by(model)
    if not isinstance(said, Exported):
        raise LookupError(f"{model._meta.label} does not go out; nothing that does may point to it")
    return said


def own_models() -> list[type[models.Model]]:
    """The models of the product, without histories and links."""
    return [
        model
        for app in APPS
        for model in apps.get_app_config(app).get_models()
        if not is_history(model) and not model._meta.auto_created
    ]


def exported_models() -> list[type[models.Model]]:
    return [model for model in own_models() if isinstance(said_by(model), Exported)]


def is_history(model: type[models.Model]) -> bool:
    return hasattr(model, "history_object")


def is_keyed(model: type[models.Model]) -> bool:
    """Whether its rows have a key that is the same on every site."""
    return any(each.name == "client_key" for each in model._meta.concrete_fields)


def named_by(model: type[models.Model]) -> str:
    """The column by which other files name its rows."""
    if model is Group:
        return "name"
    key = said_of(model).key
    if len(key) == 1 and not model._meta.get_field(key[0]).is_relation:
        return key[0]
    if not is_keyed(model):
        raise LookupError(f"{model._meta.label} has no key that another file could name")
    return "client_key"


def is_named(model: type[models.Model]) -> bool:
    """Whether other files name its rows by something that people know them by."""
    return named_by(model) != "client_key"


# --- columns ----------------------------------------------------------------------------------------------------------
KINDS: dict[str, CellKind] = {
    "CharField": CellKind.TEXT,
    "TextField": CellKind.TEXT,
    "SlugField": CellKind.TEXT,
    "FileField": CellKind.TEXT,
    "UUIDField": CellKind.TEXT,
    "BooleanField": CellKind.YES_NO,
    "IntegerField": CellKind.WHOLE,
    "BigIntegerField": CellKind.WHOLE,
    "PositiveIntegerField": CellKind.WHOLE,
    "PositiveBigIntegerField": CellKind.WHOLE,
    "PositiveSmallIntegerField": CellKind.WHOLE,
    "FloatField": CellKind.NUMBER,
    "DateField": CellKind.DAY,
    "DateTimeField": CellKind.MOMENT,
    "JSONField": CellKind.JSON,
}


def column_of(field: Any, said: Exported) -> ExportColumn:
    """The column of a field.

    Raises
    ------
    LookupError
        If its kind is not known here, or it points to what does not go out.
    """
    name = {"client_key": ROW_KEY, **HISTORY_COLUMNS}.get(field.name, field.name)
    if field.is_relation:
        model = target_of(field)
        pointing = Pointing.NAME if is_named(model) else Pointing.ROW_KEY
        return ExportColumn(name, field, CellKind.TEXT, target_model=model, pointing=pointing)
    kind = KINDS.get(field.get_internal_type())
    if kind is None:
        raise LookupError(f"{field}: say in export_tables.py how a {field.get_internal_type()} is written")
    is_number = kind in (CellKind.NUMBER, CellKind.WHOLE) and not field.choices
    return ExportColumn(name, field, kind, said.units.get(field.name, unit_of(field.name)) if is_number else "")


def target_of(field: Any) -> type[models.Model]:
    model = field.related_model
    return Person if model == settings.AUTH_USER_MODEL else model


def columns_of(model: type[models.Model], said: Exported) -> tuple[ExportColumn, ...]:
    fields = [each for each in model._meta.concrete_fields if each.name not in NOT_SAID and each.name not in said.stays]
    # The key leads.
    return tuple(column_of(each, said) for each in sorted(fields, key=lambda each: each.name != "client_key"))


@dataclass(frozen=True, eq=False)
class NumberedRows:
    """Stands for the key of rows that have none of their own but a history: a number in the order of their making."""

    name: str = ROW_KEY
    attname: str = "id"
    null: bool = False
    choices: None = None
    is_relation: bool = False
    help_text: str = ""
    verbose_name: str = ROW_KEY


def history_columns(model: type[models.Model], history: type[models.Model], said: Exported) -> tuple[ExportColumn, ...]:
    lead = [history._meta.get_field(name) for name in HISTORY_COLUMNS]
    own = [each for each in history._meta.concrete_fields if not each.name.startswith("history_")]
    rest = [each for each in own if each.name not in NOT_SAID and each.name not in said.stays]
    columns = [column_of(each, said) for each in (*lead, *sorted(rest, key=lambda each: each.name != "client_key"))]
    return tuple(columns) if is_keyed(model) else (NUMBERED, *columns)


NUMBERED = ExportColumn(ROW_KEY, NumberedRows(), CellKind.WHOLE)


@cache
def tables() -> tuple[ExportTable, ...]:
    """Every file. The plant leads; people come last, when all are known whom rows name."""
    found = []
    for model in exported_models():
        said = said_of(model)
        columns = columns_of(model, said)
        has_history = hasattr(model, "history")
        if has_history and not is_keyed(model):
            columns = (NUMBERED, *columns)
        found.append(ExportTable(said.file, TableKind.ROWS, model, model, columns, said))
        for field in links_of(model):
            found.append(links_table(model, field, said))
        if has_history:
            history = model.history.model  # type: ignore[attr-defined]
            columns = history_columns(model, history, said)
            found.append(ExportTable(f"{said.file}{HISTORY}", TableKind.HISTORY, model, history, columns, said))
    return tuple(sorted(found, key=lambda table: (table.model is Person, table.model is not Plant)))


def links_of(model: type[models.Model]) -> list[Any]:
    said = said_of(model)
    return [each for each in model._meta.local_many_to_many if each.name not in said.stays]


def links_table(model: type[models.Model], field: Any, said: Exported) -> ExportTable:
    through = field.remote_field.through
    ends = [through._meta.get_field(name) for name in (field.m2m_field_name(), field.m2m_reverse_field_name())]
    columns = tuple(column_of(each, Exported("")) for each in ends)
    return ExportTable(f"{said.file}_{field.name}", TableKind.LINKS, model, through, columns, said)


def table_named(file: str) -> ExportTable | None:
    return next((each for each in tables() if each.file == file), None)


def rows_table(model: type[models.Model]) -> ExportTable:
    """The file with the rows of a model."""
    return next(each for each in tables() if each.model is model and each.kind == TableKind.ROWS)


def history_table(model: type[models.Model]) -> ExportTable | None:
    return next((each for each in tables() if each.model is model and each.kind == TableKind.HISTORY), None)


def pointing_columns(columns: Iterable[ExportColumn]) -> list[ExportColumn]:
    return [each for each in columns if each.target_model is not None]
