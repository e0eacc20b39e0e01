"""Who changed a record, when, and what stood there before; for entries their corrections."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from django.db import models
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from plant.calc.units import UnitSystem
from plant.models import Entry, Record, Row
from plant.words.history import name_of, row_words, words_for

MOST_NAMED = 6  # rows named in one line
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
