"""Stored values, rows and people as the history of a record names them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import models
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.units import UnitSystem, format_quantity, kind_of
from plant.selectors.history import HistoryLine, RowAct
from plant.words.reasons import Texts

MOST_NAMED = 6  # rows named in one line
# How the reason is said that a field keeps, by "app.field": the app that knows its rules says so (`reasons_kept_in`).
_REASONS_KEPT: dict[str, Callable[[Mapping[str, Any], UnitSystem], str]] = {}
ACTS: Texts = {
    RowAct.ENTERED: gettext_lazy("entered"),
    RowAct.CHANGED: gettext_lazy("changed"),
    RowAct.REMOVED: gettext_lazy("removed"),
    RowAct.CORRECTED: gettext_lazy("corrected"),
    RowAct.WITHDRAWN: gettext_lazy("withdrawn"),
}


@dataclass(frozen=True)
class ChangeTold:
    """One field: its name, what stood there and what stands there since."""

    label: str
    before: str
    after: str


@dataclass(frozen=True)
class LineTold:
    """One act on a row, as people read it."""

    at: dt.datetime
    who: str
    what: str
    changes: tuple[ChangeTold, ...]
    reason: str


def lines_told(lines: Iterable[HistoryLine], system: UnitSystem) -> list[LineTold]:
    """The history of a row in the reader's units."""
    return [
        LineTold(each.at, name_of(each.who), what_was_done(each), changes_told(each, system), each.reason)
        for each in lines
    ]


def what_was_done(line: HistoryLine) -> str:
    """The act; where the row hangs on another, with what it is and what it was called then."""
    act = str(ACTS[line.act])
    if line.about is None:
        return act
    which = ", ".join(line.which[:MOST_NAMED])
    if len(line.which) > MOST_NAMED:
        which = _("%(some)s and %(n)s more") % {"some": which, "n": len(line.which) - MOST_NAMED}
    return f"{capfirst(str(line.about._meta.verbose_name_plural))}: {which}: {act}"


def changes_told(line: HistoryLine, system: UnitSystem) -> tuple[ChangeTold, ...]:
    return tuple(
        ChangeTold(
            capfirst(str(each.field.verbose_name)),
            words_for(each.field, each.before, system, each.names),
            words_for(each.field, each.after, system, each.names),
        )
        for each in line.changes
    )


def facts_of(row: Any, *fields: str, system: UnitSystem = UnitSystem.METRIC) -> list[tuple[str, str]]:
    """Names and values of a row's fields as people read them: facts_of(row, "code", "name")."""
    columns = [row._meta.get_field(name) for name in fields]
    names = {
        each.related_model: {getattr(row, each.attname): str(getattr(row, each.name))}
        for each in columns
        if isinstance(each, models.ForeignKey)
    }
    return [
        (capfirst(str(each.verbose_name)), words_for(each, getattr(row, each.attname), system, names))
        for each in columns
    ]


def reasons_kept_in(field: str, say: Callable[[Mapping[str, Any], UnitSystem], str]) -> None:
    """Let the history say the reasons that a field of an app keeps: "inspections.grade_because" and its words."""
    _REASONS_KEPT[field] = say


def name_of(person: Any) -> str:
    return str(person) if person is not None else _("the site itself")


def words_for(
    field: models.Field[Any, Any], value: Any, system: UnitSystem, names: Mapping[Any, dict[Any, str]]
) -> str:
    """A stored value as people read it."""
    if value is None or value == "":
        return "–"
    if isinstance(field, models.ForeignKey):
        return names.get(field.related_model, {}).get(value, str(value))
    if field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    kind = kind_of(field.name)
    if kind is not None and isinstance(value, int | float):
        return format_quantity(float(value), kind, system)
    if isinstance(value, dt.datetime):
        return date_format(timezone.localtime(value), "DATETIME_FORMAT")
    if isinstance(value, dt.date):
        return date_format(value, "DATE_FORMAT")
    if isinstance(value, dict):
        say = _REASONS_KEPT.get(f"{field.model._meta.app_label}.{field.name}")
        return (say(value, system) if say is not None else str(value)) if value else "–"
    if isinstance(value, list):
        return "; ".join(map(list_row_words, value)) or "–"
    return str(value)


def list_row_words(row: Any) -> str:
    """One row of a list that a field holds, such as a part with its count.

    Of a row that keeps reasons its rule and verdict stand here; the words of the reasons are those of its own page.
    """
    if not isinstance(row, dict):
        return str(row)
    plain = {name: each for name, each in row.items() if not isinstance(each, dict | list)}
    told = [
        str(each).removesuffix(".0") if not isinstance(each, bool) else name.removeprefix("is_").replace("_", " ")
        for name, each in plain.items()
        if each not in ("", None, False)
    ]
    words = ", ".join(told)
    return words if len(plain) == len(row) else words.replace("_", " ")
