"""{% history_of row %}: who changed a record, when, and what stood there before; for entries their corrections."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from django import template
from django.db import models
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from plant.calc.units import UnitSystem, format_quantity
from plant.forms.quantities import kind_of
from plant.models import Entry, Record, Row
from plant.templatetags.quantities import units_of

register = template.Library()

OPEN = 10  # lines that stand open; the next ones unfold
MOST_NAMED = 6  # rows named in one line
LONGEST = 200  # lines that a page holds; older ones are counted

# Kept by the house, not by people.
NOT_SHOWN = {
    "id",
    "client_key",
    "version",
    "created_at",
    "created_by",
    "corrects",
    "correction_reason",
    "is_withdrawn",
    "tag_key",
    "password",
}


@dataclass(frozen=True)
class Change:
    """One field: its name, what stood there and what stands there since."""

    label: str
    before: str
    after: str


@dataclass(frozen=True)
class Line:
    """One act on a row."""

    at: dt.datetime
    who: str
    what: str
    changes: tuple[Change, ...] = ()
    reason: str = ""
    about: str = ""  # kind of a row that hangs on the record, and which one
    which: str = ""


@register.inclusion_tag("plant/_history.html", takes_context=True)
def history_of(context: Any, row: Row, *related: str) -> dict[str, Any]:
    """History of a row and, where named, of the rows that hang on it: {% history_of conveyor "parts" %}."""
    lines = lines_of(row, units_of(context), related)
    return {"lines": lines[:OPEN], "older": lines[OPEN:LONGEST], "n_left_out": max(0, len(lines) - LONGEST)}


@register.simple_tag(takes_context=True)
def facts_of(context: Any, row: Any, *fields: str) -> list[tuple[str, str]]:
    """Names and values of a row's fields as people read them: {% facts_of row "code" "name" as facts %}."""
    columns = [row._meta.get_field(name) for name in fields]
    names = {
        each.related_model: {getattr(row, each.attname): str(getattr(row, each.name))}
        for each in columns
        if isinstance(each, models.ForeignKey)
    }
    system = units_of(context)
    return [
        (capfirst(str(each.verbose_name)), words_for(each, getattr(row, each.attname), system, names))
        for each in columns
    ]


def lines_of(row: Row, system: UnitSystem = UnitSystem.METRIC, related: Iterable[str] = ()) -> list[Line]:
    """Newest first."""
    lines = list(entry_lines(row, system) if isinstance(row, Entry) else record_lines(row.history, system))
    for name in related:
        relation = row._meta.get_field(name)
        below = relation.related_model
        found = below.history.filter(**{relation.field.attname: row.pk})
        lines += gathered(record_lines(found, system, about=capfirst(below._meta.verbose_name_plural)))
    if not lines and isinstance(row, Record):
        lines = [Line(at=row.created_at, who=name_of(row.created_by), what=_("entered"))]
    return sorted(lines, key=lambda line: line.at, reverse=True)


def record_lines(history: Any, system: UnitSystem, about: str = "") -> Iterator[Line]:
    """Lines from the historical rows of one or of several records."""
    rows = list(history.select_related("history_user").order_by("history_date", "history_id"))
    names = names_behind(rows)
    before: dict[Any, Any] = {}
    for row in rows:
        known = before.get(row.pk if not hasattr(row, "id") else row.id)
        before[row.id] = row
        what = {"+": _("entered"), "~": _("changed"), "-": _("removed")}[row.history_type]
        changes = tuple(differences(known, row, system, names)) if known is not None else ()
        if row.history_type == "~" and known is not None and not changes:
            continue  # saved untouched
        which = row_words(row) if about else ""
        yield Line(
            row.history_date, name_of(row.history_user), what, changes, row.history_change_reason or "", about, which
        )


def gathered(lines: Iterable[Line]) -> Iterator[Line]:
    """Rows that one person entered in one go, told in one line: a belt's twenty switches are one act to a reader."""

    def same_act(line: Line) -> tuple[Any, ...]:
        minute = line.at.replace(second=0, microsecond=0)
        # What was changed is told one by one.
        return (minute, line.who, line.what, line.reason, line.which if line.changes else "")

    for _act, group in groupby(lines, key=same_act):
        together = list(group)
        named = [line.which for line in together]
        which = ", ".join(named[:MOST_NAMED])
        if len(named) > MOST_NAMED:
            which = _("%(some)s and %(n)s more") % {"some": which, "n": len(named) - MOST_NAMED}
        last = together[-1]
        yield replace(last, what=f"{last.about}: {which}: {last.what}")


def row_words(row: Any) -> str:
    """What the historical row was called; a row whose neighbours are gone still has its number."""
    try:
        return str(row.instance)
    except (AttributeError, models.ObjectDoesNotExist):
        return str(row.id)


def entry_lines(row: Entry, system: UnitSystem) -> Iterator[Line]:
    """The chain from the first row that was written to the one that counts now."""
    first = row
    while first.corrects_id:
        first = first.corrects
    before, now = None, first
    while now is not None:
        who = name_of(now.created_by)
        if before is None:
            yield Line(now.created_at, who, _("entered"))
        elif now.is_withdrawn:
            yield Line(now.created_at, who, _("withdrawn"), (), now.correction_reason)
        else:
            changes = tuple(differences(before, now, system, names_behind([before, now])))
            yield Line(now.created_at, who, _("corrected"), changes, now.correction_reason)
        before, now = now, getattr(now, "corrected_by", None)


def name_of(person: Any) -> str:
    return str(person) if person is not None else _("the site itself")


def shown_fields(row: Any) -> Iterator[models.Field]:
    for field in row._meta.concrete_fields:
        if field.name not in NOT_SHOWN and not field.name.startswith("history_"):
            yield field


def names_behind(rows: list[Any]) -> dict[type[models.Model], dict[Any, str]]:
    """What the rows' foreign keys are called, one query per kind of row."""
    wanted: dict[type[models.Model], set[Any]] = {}
    for row in rows:
        for field in shown_fields(row):
            if isinstance(field, models.ForeignKey):
                wanted.setdefault(field.related_model, set()).add(getattr(row, field.attname))
    return {
        model: {each.pk: str(each) for each in model._default_manager.filter(pk__in=keys - {None})}
        for model, keys in wanted.items()
    }


def differences(old: Any, new: Any, system: UnitSystem, names: dict[Any, dict[Any, str]]) -> Iterator[Change]:
    for field in shown_fields(new):
        before, after = getattr(old, field.attname), getattr(new, field.attname)
        if before != after:
            yield Change(
                capfirst(str(field.verbose_name)),
                words_for(field, before, system, names),
                words_for(field, after, system, names),
            )


def words_for(field: models.Field, value: Any, system: UnitSystem, names: dict[Any, dict[Any, str]]) -> str:
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
    if isinstance(value, list):
        return "; ".join(map(list_row_words, value)) or "–"
    return str(value)


def list_row_words(row: Any) -> str:
    """One row of a list that a field holds, such as a part with its count."""
    if not isinstance(row, dict):
        return str(row)
    told = [
        str(each).removesuffix(".0") if not isinstance(each, bool) else name.removeprefix("is_").replace("_", " ")
        for name, each in row.items()
        if each not in ("", None, False)
    ]
    return ", ".join(told)
