"""Create and change records: once per client key, never over somebody else's change, with history."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Model, QuerySet
from django.utils.translation import gettext as _

from plant.calc.moments import MomentKind
from plant.calc.reasons import Reason
from plant.calc.units import kind_of
from plant.errors import ChangedMeanwhile, Refused
from plant.models import Entry, Record, Row
from plant.models.moments import moment_fault
from plant.words.limits import TEXTS as LIMIT_TEXTS
from plant.words.limits import limit_reason
from plant.words.refusals import refused

AnyRow = TypeVar("AnyRow", bound=Row)
AnyRecord = TypeVar("AnyRecord", bound=Record)
AnyEntry = TypeVar("AnyEntry", bound=Entry)


def refused_by(error: ValidationError) -> Refused:
    """A model's own validation in the shape that pages show."""
    if hasattr(error, "error_dict"):
        reasons = limits_of(error)
        if reasons is not None:
            return refused(None, LIMIT_TEXTS, code="invalid", fields=reasons)
        fields = {name: " ".join(messages) for name, messages in error.message_dict.items()}
        return Refused(" ".join(fields.values()), code="invalid", fields=fields)
    return Refused(" ".join(error.messages), code="invalid")


def limits_of(error: ValidationError) -> dict[str, Reason] | None:
    """The reason at each field where every one of them holds a quantity outside its limits; else None."""
    reasons: dict[str, Reason] = {}
    for name, errors in error.error_dict.items():
        kind = kind_of(name)
        reason = limit_reason(errors[0], kind) if kind is not None and len(errors) == 1 else None
        if reason is None:
            return None
        reasons[name] = reason
    return reasons


def check_row(row: Model, *, but: Iterable[str] = ()) -> None:
    try:
        row.full_clean(exclude=["client_key", *but])
    except ValidationError as error:
        raise refused_by(error) from error


def check_moment(field: str, moment: dt.datetime, kind: MomentKind, now: dt.datetime, *, is_day: bool = False) -> None:
    """Raises Refused, at the field, where a moment of this kind cannot be: too far back, or not yet."""
    words = moment_fault(moment, kind, now, is_day=is_day)
    if words:
        raise Refused(words, code="future" if moment > now else "past", fields={field: words})


def check_moments(row: Row) -> None:
    """The same for every moment of a row that is written with many others and so not checked as a whole."""
    faults = row.moment_faults()
    if faults:
        raise Refused(" ".join(faults.values()), code="invalid", fields=faults)


def all_but(rows: QuerySet[AnyRow], row: AnyRow | None) -> QuerySet[AnyRow]:
    """The other rows, where a row that is being changed is compared with them."""
    return rows if row is None else rows.exclude(pk=row.pk)


def known_row(model: type[AnyRow], client_key: uuid.UUID | None) -> AnyRow | None:
    return model._default_manager.filter(client_key=client_key).first() if client_key else None


@transaction.atomic
def create_record(model: type[AnyRow], *, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> AnyRow:
    """Write a new row. The same client key again gives back the row that it made the first time.

    Raises
    ------
    Refused
        If a value is not allowed, with the field at fault.
    """
    known = known_row(model, client_key)
    if known is not None:
        return known
    row = model(created_by=by, client_key=client_key or uuid.uuid4(), **values)
    check_row(row)
    row._history_user = by  # an import or a job writes without a request
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        known = known_row(model, client_key)  # the same form came twice at the same moment
        if known is not None:
            return known
        raise Refused(integrity_words(error), code="conflict") from error
    return row


@transaction.atomic
def change_record(
    row: AnyRecord,
    *,
    by: Any,
    version: int,
    reason: str = "",
    fields: Mapping[str, Any] = MappingProxyType({}),
    **values: Any,
) -> AnyRecord:
    """Change named fields of a record that the person opened at `version`.

    `fields` takes those whose name is an argument here already, such as a record's own `reason`.

    Raises
    ------
    ChangedMeanwhile
        If somebody else changed it since; nothing is written and `current` is the record as it stands.
    Refused
        If a value is not allowed.
    """
    changed = {name: value for name, value in {**values, **fields}.items() if getattr(row, name) != value}
    claimed = type(row)._default_manager.filter(pk=row.pk, version=version).update(version=version + 1)
    if not claimed:
        current = type(row)._default_manager.get(pk=row.pk)
        raise ChangedMeanwhile(
            _("Somebody else changed this record meanwhile. Your text is kept below; look at both and save again."),
            current=current,
        )
    row.version = version + 1
    for name, value in changed.items():
        setattr(row, name, value)
    check_row(row)
    row._history_user = by
    row._change_reason = reason[:100]
    try:
        with transaction.atomic():
            row.save(update_fields=[*changed, "version", *derived_fields(row)])
    except IntegrityError as error:
        raise Refused(integrity_words(error), code="conflict") from error
    return row


@transaction.atomic
def correct_entry(
    row: AnyEntry, *, by: Any, reason: str, client_key: uuid.UUID | None = None, withdraw: bool = False, **values: Any
) -> AnyEntry:
    """Write the row that takes the place of `row` (or withdraws it). The old one stays visible.

    Raises
    ------
    Refused
        If no reason is given, the row was corrected before, or a value is not allowed.
    """
    known = known_row(type(row), client_key)
    if known is not None:
        return known
    if not reason.strip():
        raise Refused(_("Say why it is corrected."), code="reason", fields={"correction_reason": _("Give a reason.")})
    if type(row)._default_manager.filter(corrects=row).exists():
        raise Refused(_("This row was corrected before. Open the latest one and correct that."), code="corrected")
    # Which file brought the old row says nothing of who wrote this one.
    kept = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if field.name not in OWN}
    fresh = type(row)(
        **kept,
        corrects=row,
        correction_reason=reason,
        is_withdrawn=withdraw,
        created_by=by,
        client_key=client_key or uuid.uuid4(),
    )
    for name, value in values.items():
        setattr(fresh, name, value)
    # That a row is corrected once is held by the data base: of two at the same moment the second learns it there.
    check_row(fresh, but=["corrects"])
    try:
        with transaction.atomic():
            fresh.save()
    except IntegrityError as error:
        known = known_row(type(row), client_key)  # the same form came twice at the same moment
        if known is not None:
            return known
        words = _("Somebody else corrected this row at the same moment. Open the latest one and correct that.")
        raise Refused(words, code="corrected") from error
    return fresh


@transaction.atomic
def withdraw_many(rows: Iterable[AnyEntry], *, by: Any, reason: str, **values: Any) -> list[AnyEntry]:
    """Withdraw rows of one model that count, by a further row each; called twice, each is withdrawn once.

    Raises
    ------
    Refused
        If somebody corrected one of them at the same moment; then none is withdrawn.
    """
    fresh = []
    for row in rows:
        kept = {each.attname: getattr(row, each.attname) for each in row._meta.concrete_fields if each.name not in OWN}
        key = uuid.uuid5(row.client_key, "withdrawn with others")
        fresh.append(
            type(row)(
                **{**kept, **values},
                corrects=row,
                correction_reason=reason[:300],
                is_withdrawn=True,
                created_by=by,
                client_key=key,
            )
        )
    if not fresh:
        return []
    try:
        with transaction.atomic():
            return type(fresh[0])._default_manager.bulk_create(fresh)
    except IntegrityError as error:
        words = _("Somebody else corrected one of these rows at the same moment. Try again.")
        raise Refused(words, code="corrected") from error


# What a row says of itself and not of what happened.
OWN = frozenset(
    {"id", "client_key", "created_at", "created_by", "corrects", "correction_reason", "is_withdrawn", "import_batch"}
)


def derived_fields(row: Record) -> list[str]:
    """Fields that save() fills from others and that must go along."""
    return ["tag_key"] if hasattr(row, "tag_key") else []


def integrity_words(error: IntegrityError) -> str:
    """A sentence for a constraint that the data base held."""
    text = str(error)
    for name, words in CONSTRAINT_WORDS.items():
        if name in text:
            return str(words)
    return _("This does not go together with what is in the book already.")


# Sentences for constraints, by name; apps add theirs.
CONSTRAINT_WORDS: dict[str, Any] = {}
