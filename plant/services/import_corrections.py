"""Refused rows of a file: written after somebody corrected their cells, or left out on purpose."""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.calc.import_limits import ImportLimits
from plant.calc.import_rows import SourceRow
from plant.errors import Refused
from plant.models import ImportBatch, RejectedRow
from plant.services.import_rows import KeyedRow, RowsSeen, prepare, with_key
from plant.services.import_subjects.shape import (
    UNCHANGED,
    ImportContext,
    ImportSubject,
    subject_of,
)
from plant.services.import_understanding import Understanding, limits_on_a_page, rows_of, understand
from plant.services.import_writing import Outcome, context_of, equal_words, outcomes_of
from plant.services.imports import check_not_going

State = ImportBatch.State


def retry_row(
    *,
    row: RejectedRow,
    by: Any,
    values: Mapping[str, str] = MappingProxyType({}),
    keep_doubtful: bool = False,
    is_own_event: bool = False,
) -> str:
    """Write a refused row with the cells that a person mended. Pressing twice writes once.

    With `keep_doubtful` a reading that does not fit its neighbours is kept: the meter really shows it. A row that is
    equal to another row of its file is not counted again, unless the person says that it `is_own_event`.

    Raises
    ------
    Refused
        If it is still wrong; the mended cells and the new reasons are kept.
    """
    batch = ImportBatch.objects.select_related("plant", "created_by").get(pk=row.batch_id)
    check_open(row, batch)
    subject = subject_of(batch.subject)
    texts = {**row.values, **{name: text.strip() for name, text in values.items() if name in row.values}}
    with timezone.override(batch.plant.zone):
        found = understand(batch)
        context = context_of(batch, found, by)
        context.is_repeat = False  # a person says now what is right
        context.keep_doubtful = keep_doubtful
        context.equal_are_events |= is_own_event
        prepared = prepare(source_of(row, found, texts), found, subject, context)
        outcome: Outcome = prepared.problems
        if not prepared.problems:
            seen = rows_written(batch, found, subject, {prepared.natural_key})
            outcome = write_retried(row, batch, subject, context, with_key(prepared, subject, context, seen), texts)
    if isinstance(outcome, str):
        return outcome
    keep_refused(row, texts, outcome)
    fields = {each["field"]: each["reason"] for each in outcome if each["field"]}
    raise Refused(" ".join(each["reason"] for each in outcome), code="still_wrong", fields=fields)


def source_of(row: RejectedRow, found: Understanding, texts: Mapping[str, str]) -> SourceRow:
    """The row as if it had been read with these cells."""
    return SourceRow(row.line_number, tuple(texts.get(head, "") for head in found.shape.columns))


def keep_refused(row: RejectedRow, texts: dict[str, str], problems: list[dict[str, str]]) -> None:
    """It is still wrong: the cells as they are now, and why."""
    RejectedRow.objects.filter(pk=row.pk, state__in=MENDABLE).update(values=texts, problems=problems)
    row.values, row.problems = texts, problems


def write_retried(
    row: RejectedRow,
    batch: ImportBatch,
    subject: ImportSubject,
    context: ImportContext,
    keyed: KeyedRow,
    texts: dict[str, str],
) -> Outcome:
    """Write one row that was kept, and move it from one count of its file to another; refused, it stays as it was."""
    is_repeated = bool(keyed.equal_to_line)
    was_repeated = row.state == RejectedRow.State.REPEATED
    written = RejectedRow.State.OWN if was_repeated else RejectedRow.State.CORRECTED
    becomes: dict[str, Any] = {"values": texts, "state": written}
    if is_repeated:
        becomes |= {"state": RejectedRow.State.REPEATED, "problems": [equal_words(keyed.equal_to_line)]}
    counted = "n_repeated" if was_repeated else "n_refused"
    with transaction.atomic():
        # Held until the row is written: nobody begins to take the file back meanwhile.
        check_not_going(ImportBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk))
        if row.state not in MENDABLE or not RejectedRow.objects.filter(pk=row.pk, state=row.state).update(**becomes):
            return UNCHANGED
        [outcome] = outcomes_of(subject, context, [keyed])
        if isinstance(outcome, str):
            came = f"n_{outcome}"
            if came != counted:
                ImportBatch.objects.filter(pk=batch.pk).update(**{counted: F(counted) - 1, came: F(came) + 1})
            return outcome
        transaction.set_rollback(True)
    return outcome


MENDABLE = (RejectedRow.State.OPEN, RejectedRow.State.REPEATED)


def check_open(row: RejectedRow, batch: ImportBatch) -> None:
    if batch.state == State.REFUSED:
        raise Refused(
            _(
                "This file was to be written as a whole, so no row of it is written alone. Correct the file and send "
                "it again, or write the good rows and keep the others for correction."
            )
        )
    check_not_going(batch)
    if row.state == RejectedRow.State.DROPPED:
        raise Refused(_("This row was left out on purpose. Take it up again if it is needed after all."))


def rows_written(
    batch: ImportBatch,
    found: Understanding,
    subject: ImportSubject,
    keys: Container[str],
    limits: ImportLimits | None = None,
) -> RowsSeen:
    """The rows of the file with these natural keys that are written, so that each keeps a key of its own."""
    seen = RowsSeen()
    if not subject.repeats_are_real:
        return seen
    context = ImportContext(plant=batch.plant, by=None)
    names = {*subject.key_fields, *subject.times_of.values()}
    # Most rows are told apart by the cells of their key alone.
    only_key = replace(found, matches=tuple(each for each in found.matches if each.column.name in names))
    kept = set(batch.rejected_rows.values_list("line_number", flat=True))
    others = [
        each
        for each in rows_of(batch, found, limits or limits_on_a_page())
        if each.line_number not in kept and prepare(each, only_key, subject, context).natural_key in keys
    ]
    for mended in batch.rejected_rows.written():
        cells = tuple(mended.values.get(head, "") for head in found.shape.columns)
        others.append(SourceRow(mended.line_number, cells))
    for each in others:
        other = prepare(each, found, subject, context)
        if not other.problems and other.natural_key in keys:
            seen.add(other)
    return seen


def drop_row(*, row: RejectedRow) -> bool:
    """Leave a refused row out on purpose. It stays visible and counted as refused."""
    return bool(
        RejectedRow.objects.filter(pk=row.pk, state=RejectedRow.State.OPEN).update(state=RejectedRow.State.DROPPED)
    )


def take_up_row(*, row: RejectedRow) -> bool:
    """A row that was left out waits for correction again."""
    return bool(
        RejectedRow.objects.filter(pk=row.pk, state=RejectedRow.State.DROPPED).update(state=RejectedRow.State.OPEN)
    )
