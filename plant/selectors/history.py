"""Who changed a record, when, and what stood there before; for entries their corrections."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import groupby
from typing import Any

from django.db import models

from plant.models import Entry, Record, Row

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


class RowAct(StrEnum):
    """What somebody did to a row."""

    ENTERED = "history.entered"
    CHANGED = "history.changed"
    REMOVED = "history.removed"
    CORRECTED = "history.corrected"
    WITHDRAWN = "history.withdrawn"


@dataclass(frozen=True)
class FieldChange:
    """One field: what stood there and what stands there since, with what the rows behind its keys are called."""

    field: Any
    before: Any
    after: Any
    names: Mapping[Any, dict[Any, str]]


@dataclass(frozen=True)
class HistoryLine:
    """One act on a row."""

    at: dt.datetime
    who: Any  # a person; None where it was the site itself
    act: RowAct
    changes: tuple[FieldChange, ...] = ()
    reason: str = ""
    about: type[models.Model] | None = None  # kind of a row that hangs on the record, and which ones
    which: tuple[str, ...] = ()


def lines_of(row: Row, related: Iterable[str] = ()) -> list[HistoryLine]:
    """Newest first."""
    about: Any = row
    lines = list(entry_lines(row) if isinstance(row, Entry) else record_lines(about.history))
    for name in related:
        relation: Any = row._meta.get_field(name)
        below: Any = relation.related_model
        found = below.history.filter(**{relation.field.attname: row.pk})
        lines += gathered(record_lines(found, about=below))
    if not lines and isinstance(row, Record):
        lines = [HistoryLine(at=row.created_at, who=row.created_by, act=RowAct.ENTERED)]
    return sorted(lines, key=lambda line: line.at, reverse=True)


def record_lines(history: Any, about: type[models.Model] | None = None) -> Iterator[HistoryLine]:
    """Lines from the historical rows of one or of several records."""
    rows = list(history.select_related("history_user").order_by("history_date", "history_id"))
    names = names_behind(rows)
    before: dict[Any, Any] = {}
    for row in rows:
        known = before.get(row.pk if not hasattr(row, "id") else row.id)
        before[row.id] = row
        act = {"+": RowAct.ENTERED, "~": RowAct.CHANGED, "-": RowAct.REMOVED}[row.history_type]
        changes = tuple(differences(known, row, names)) if known is not None else ()
        if row.history_type == "~" and known is not None and not changes:
            continue  # saved untouched
        which = (called_then(row),) if about is not None else ()
        yield HistoryLine(
            row.history_date, row.history_user, act, changes, row.history_change_reason or "", about, which
        )


def called_then(row: Any) -> str:
    """What the historical row was called; a row whose neighbours are gone still has its number."""
    try:
        return str(row.instance)
    except (AttributeError, models.ObjectDoesNotExist):
        return str(row.id)


def gathered(lines: Iterable[HistoryLine]) -> Iterator[HistoryLine]:
    """Rows that one person entered in one go, told in one line: a belt's twenty switches are one act to a reader."""

    def same_act(line: HistoryLine) -> tuple[Any, ...]:
        minute = line.at.replace(second=0, microsecond=0)
        # What was changed is told one by one.
        return (minute, line.who, line.act, line.reason, line.which if line.changes else "")

    for _act, group in groupby(lines, key=same_act):
        together = list(group)
        yield replace(together[-1], which=tuple(name for line in together for name in line.which))


def entry_lines(row: Entry) -> Iterator[HistoryLine]:
    """The chain from the first row that was written to the one that counts now."""
    first: Any = row
    while first.corrects_id:
        first = first.corrects
    before: Any = None
    now: Any = first
    while now is not None:
        who = now.created_by
        if before is None:
            yield HistoryLine(now.created_at, who, RowAct.ENTERED)
        elif now.is_withdrawn:
            yield HistoryLine(now.created_at, who, RowAct.WITHDRAWN, (), now.correction_reason)
        else:
            changes = tuple(differences(before, now, names_behind([before, now])))
            yield HistoryLine(now.created_at, who, RowAct.CORRECTED, changes, now.correction_reason)
        before, now = now, getattr(now, "corrected_by", None)


def shown_fields(row: Any) -> Iterator[models.Field[Any, Any]]:
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


def differences(old: Any, new: Any, names: Mapping[Any, dict[Any, str]]) -> Iterator[FieldChange]:
    for field in shown_fields(new):
        before, after = getattr(old, field.attname), getattr(new, field.attname)
        if before != after:
            yield FieldChange(field, before, after, names)
