"""The rows of a file written into the book, as a job; what was refused is kept.

A file is written in chunks. Each chunk is one transaction that first moves `rows_done` on by a conditional UPDATE and
asks whether this worker still holds the job: of two workers only one moves it, and a worker that is killed leaves the
book as it was after the last whole chunk, from where the next one goes on. All or nothing is one transaction.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter
from collections.abc import Container, Iterable
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.calc.import_rows import as_text
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import Conveyor, ImportBatch, Job, Notice, Plant, RejectedRow
from plant.services.import_rows import CHUNK, KeyedRow, in_chunks, keyed_chunks, natural_key
from plant.services.import_subjects.shape import (
    CHANGED,
    REPEATED,
    UNCHANGED,
    WRITTEN,
    ImportContext,
    ImportSubject,
    differing,
    is_taken_back,
    latest_of,
    subject_of,
)
from plant.services.import_understanding import Understanding, limits_in_a_job, understand
from plant.services.imports import is_repeat
from plant.services.job_kinds import JobHandle, JobLost
from plant.services.records import refused_by
from plant.words.places import place_words
from plant.words.refusals import field_words, refusal_words

State = ImportBatch.State


def context_of(batch: ImportBatch, found: Understanding, by: Any = None) -> ImportContext:
    return ImportContext(
        plant=batch.plant,
        by=by or batch.created_by,
        batch=batch,
        is_repeat=is_repeat(batch, found),
        corrects_known=batch.options.get("known") == "correct",
        equal_are_events=batch.options.get("equal") == "each",
    )


def run_import(handle: JobHandle, batch_id: int) -> dict[str, Any]:
    """Write the rows of a file from where it stands to its end.

    Raises
    ------
    JobStopped, JobLost
        If a person stopped it or another worker took it over; whole chunks stay written.
    """
    batch = ImportBatch.objects.select_related("plant", "created_by", "job").get(pk=batch_id)
    if batch.state != State.RUNNING:
        return counts_of(batch)
    subject = subject_of(batch.subject)
    with timezone.override(batch.plant.zone):
        try:
            found = understand(batch, limits_in_a_job())
            if batch.all_or_nothing:
                write_as_one(handle, batch, subject, found)
            else:
                write_in_chunks(handle, batch, subject, found)
        except Refused as problem:  # the file itself: cut off, changed on the disk
            ImportBatch.objects.filter(pk=batch.pk).update(state=State.FAILED, problem=problem.message[:500])
    batch.refresh_from_db()
    return counts_of(batch)


def counts_of(batch: ImportBatch) -> dict[str, Any]:
    names = ("n_rows", "n_written", "n_changed", "n_unchanged", "n_repeated", "n_refused")
    return {"batch": batch.pk, "state": batch.state, **{name: getattr(batch, name) for name in names}}


def tell_end(job: Job) -> None:
    """Tell whoever sent the file, and whoever started this job, what came of it: once a job."""
    batch = ImportBatch.objects.select_related("plant", "job").filter(pk=job.args["batch"]).first()
    if batch is None:
        return
    for person in {each for each in (batch.created_by_id, job.requested_by_id) if each is not None}:
        Notice.objects.get_or_create(
            person_id=person,
            key=f"import-{batch.pk}-{job.pk}",
            defaults={"plant": batch.plant, "text": ending_words(batch, job)[:300], "url": batch.get_absolute_url()},
        )


def ending_words(batch: ImportBatch, job: Job) -> str:
    known = {
        "file": batch.file_name if len(batch.file_name) <= 80 else f"{batch.file_name[:79]}…",
        "written": batch.n_written,
        "changed": batch.n_changed,
        "unchanged": batch.n_unchanged,
        "refused": batch.n_refused,
    }
    if batch.state == State.TAKEN_BACK:
        gone = ngettext("%(n)s row went", "%(n)s rows went", batch.n_taken_back) % {"n": batch.n_taken_back}
        stays = ngettext("%(n)s stays", "%(n)s stay", batch.n_staying) % {"n": batch.n_staying}
        return _("Import of %(file)s was taken back: %(gone)s, %(stays)s.") % {**known, "gone": gone, "stays": stays}
    if batch.state == State.TAKING_BACK:
        return _("Import of %(file)s is half taken back and can go on.") % known
    if batch.state == State.REFUSED:
        words = ngettext(
            "Import of %(file)s: nothing was written, %(refused)s row is wrong and all rows or none were asked for.",
            "Import of %(file)s: nothing was written, %(refused)s rows are wrong and all rows or none were asked for.",
            batch.n_refused,
        )
        return words % known
    counts = _("%(written)s new, %(changed)s changed, %(unchanged)s already known, %(refused)s refused") % known
    if batch.n_repeated:
        words = ngettext(
            "%(n)s equal row not counted again", "%(n)s equal rows not counted again", batch.n_repeated
        ) % {"n": batch.n_repeated}
        counts = f"{counts}, {words}"
    known["counts"] = counts
    if batch.state == State.FAILED:
        return _("Import of %(file)s: the file could not be read to its end. So far %(counts)s.") % known
    if job.state == Job.State.STOPPED:
        return _("Import of %(file)s was stopped and can go on. So far %(counts)s.") % known
    if job.state == Job.State.FAILED:
        return _("Import of %(file)s stopped on an error and can go on. So far %(counts)s.") % known
    if batch.n_refused:
        return _("Import of %(file)s is done: %(counts)s. Refused rows wait for correction.") % known
    return _("Import of %(file)s is done: %(counts)s.") % known


def write_in_chunks(handle: JobHandle, batch: ImportBatch, subject: ImportSubject, found: Understanding) -> None:
    context = context_of(batch, found)
    read = 0
    for chunk in keyed_chunks(batch, subject, context, found):
        read += len(chunk)
        # Rows that were written before an interruption are read again, for the ordinals of equal rows.
        prepared = chunk[max(0, batch.rows_done - (read - len(chunk))) :]
        if not prepared:
            continue
        handle.progress(batch.rows_done, batch.n_rows, progress_words(batch.rows_done, batch.n_rows))
        with transaction.atomic():
            if not handle.still_mine():
                raise JobLost
            tally = write_rows(batch, subject, context, found, prepared)
            moved = ImportBatch.objects.filter(pk=batch.pk, rows_done=batch.rows_done, state=State.RUNNING).update(
                rows_done=read, **{f"n_{name}": F(f"n_{name}") + n for name, n in tally.items()}
            )
            if not moved:
                raise JobLost
        batch.refresh_from_db(fields=["rows_done", *(f"n_{name}" for name in OUTCOMES)])
    handle.progress(read, read, "")
    ImportBatch.objects.filter(pk=batch.pk, state=State.RUNNING).update(state=State.DONE, n_rows=read)


def progress_words(done: int, rows: int) -> str:
    return _("%(done)s of %(rows)s rows") % {"done": done, "rows": rows}


Outcome = str | list[dict[str, str]]  # what became of a row, or its problems
OUTCOMES = (WRITTEN, CHANGED, UNCHANGED, REPEATED, "refused")


def write_rows(
    batch: ImportBatch,
    subject: ImportSubject,
    context: ImportContext,
    found: Understanding,
    keyed: list[KeyedRow],
) -> Counter[str]:
    """Write the rows of a chunk; a refused one is kept and does not stop the others. Counts by outcome."""
    tally: Counter[str] = Counter()
    kept = []
    for each, outcome in zip(keyed, outcomes_of(subject, context, keyed), strict=True):
        tally[outcome if isinstance(outcome, str) else "refused"] += 1
        if outcome == REPEATED or not isinstance(outcome, str):
            is_repeated = outcome == REPEATED
            kept.append(
                RejectedRow(
                    batch=batch,
                    line_number=each.row.source.line_number,
                    values=as_text(each.row.source, found.shape.columns, found.reading.decimal),
                    problems=[equal_words(each.equal_to_line)] if is_repeated else outcome,
                    state=RejectedRow.State.REPEATED if is_repeated else RejectedRow.State.OPEN,
                )
            )
    RejectedRow.objects.bulk_create(kept, ignore_conflicts=True)
    return tally


def equal_words(line: int) -> dict[str, str]:
    words = _("Equal to line %(line)s in every cell, so it was not counted again.") % {"line": line}
    return {"field": "", "reason": words, "code": REPEATED}


def outcomes_of(subject: ImportSubject, context: ImportContext, keyed: list[KeyedRow]) -> list[Outcome]:
    """Write rows as the desk does, and what became of each, in their order."""
    look_up_entries(subject, context, keyed)
    at_once = write_new(subject, context, keyed)
    return [outcome_of(subject, context, each, at_once) for each in keyed]


def outcome_of(
    subject: ImportSubject, context: ImportContext, each: KeyedRow, at_once: Container[uuid.UUID | None]
) -> Outcome:
    if each.row.problems:
        return each.row.problems
    if each.equal_to_line:
        return REPEATED
    if each.key in at_once:
        return WRITTEN
    assert each.key is not None
    if each.key in context.maybe_same and not context.keep_doubtful:
        return [maybe_same_words(context, each.row.values, context.maybe_same[each.key])]
    if is_unchanged(subject, context, each.row.values, each.key):
        return UNCHANGED
    context.line_number, context.n_equal_above = each.row.source.line_number, each.n_equal_above
    return write_one(subject, context, each.row.values, each.key)


def is_unchanged(subject: ImportSubject, context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> bool:
    """Whether the book has the row just so, told without a query; what cannot be told is left to the writer."""
    known = context.known_entries.get(key)
    if known is None or subject.stored is None or is_taken_back(latest_of(known)):
        return False
    try:
        return not differing(known, subject.stored(context, values))
    except Refused:
        return False


def write_new(subject: ImportSubject, context: ImportContext, keyed: list[KeyedRow]) -> set[uuid.UUID]:
    """Write the new rows of a chunk many at a time, where the subject can; the keys of those that were taken."""
    if subject.write_many is None or subject.entry_model is None:
        return set()
    known = context.known_entries.keys() | context.by_hand.keys() | context.maybe_same.keys()
    # One that stands below equal ones is compared with those that are in the book by then: one by one.
    alone = (each for each in keyed if not each.n_equal_above)
    fresh = [(each.row.values, each.key) for each in alone if each.key and each.key not in known]
    n_of = Counter(key for _values, key in fresh)
    # Of one row that stands there twice the second has to be compared with the first: one by one.
    return write_halves(subject, context, [each for each in fresh if n_of[each[1]] == 1])


def write_halves(
    subject: ImportSubject, context: ImportContext, rows: list[tuple[dict[str, Any], uuid.UUID]]
) -> set[uuid.UUID]:
    """Write all rows at once; where one is refused, each half by itself, so that one bad row costs little."""
    assert subject.write_many is not None
    assert subject.entry_model is not None
    if len(rows) < 2:
        return set()
    keys = {key for _values, key in rows}
    try:
        with transaction.atomic():
            subject.write_many(context, rows)
            # Writing many leaves out what a constraint refuses without a word.
            if subject.entry_model._default_manager.filter(client_key__in=keys).count() != len(rows):
                raise Refused(_("Not all rows could be written at once."))
    except (Refused, ValidationError):
        half = len(rows) // 2
        return write_halves(subject, context, rows[:half]) | write_halves(subject, context, rows[half:])
    return keys


def look_up_entries(subject: ImportSubject, context: ImportContext, rows_at_hand: list[KeyedRow]) -> None:
    """Find what the book has of the rows at hand: by their keys, and by hand about the same belt and moment."""
    context.known_entries, context.by_hand, context.maybe_same = {}, {}, {}
    keyed = [(each.row, each.key) for each in rows_at_hand if each.key]
    if subject.entry_model is None or not keyed:
        return
    manager: Any = subject.entry_model._default_manager
    rows = manager.select_related(subject.key_fields[0], "corrected_by")
    context.known_entries = {each.client_key: each for each in rows.filter(client_key__in=[key for _row, key in keyed])}
    keyed = [(row, key) for row, key in keyed if key not in context.known_entries]
    if not keyed:
        return
    # All subjects with entries are keyed by a belt and a moment first.
    belt, moment = subject.key_fields[:2]
    alike: dict[str, list[Any]] = {}
    beside: dict[tuple[Any, Any], list[Any]] = {}
    for each in rows.filter(
        corrected_by__isnull=True,
        **{
            f"{belt}__in": {row.values[belt] for row, _key in keyed},
            f"{moment}__in": {row.values[moment] for row, _key in keyed},
        },
    ):
        natural = natural_key(subject, {name: getattr(each, name) for name in subject.key_fields})
        if not came_by_import(each):
            alike.setdefault(natural, []).append(each)
        if not each.is_withdrawn:
            beside.setdefault((getattr(each, f"{belt}_id"), getattr(each, moment)), []).append(each)
    context.by_hand = {key: alike[row.natural_key] for row, key in keyed if row.natural_key in alike}
    if subject.repeats_are_real:
        for row, key in keyed:
            others = beside.get((row.values[belt].pk, row.values[moment]), ())
            other = None if key in context.by_hand else maybe_same(subject, context, row.values, others)
            if other is not None:
                context.maybe_same[key] = other


def maybe_same(
    subject: ImportSubject, context: ImportContext, values: dict[str, Any], others: Iterable[Any]
) -> Any | None:
    """A row of the book of the same belt and minute that may tell of the same event: one of the two has no place."""
    moment, place = subject.key_fields[1], subject.key_fields[-1]
    if values[moment].astimezone(context.plant.zone).time() == dt.time():
        return None  # 00:00 stands where a log keeps the day alone, and one day holds many events
    has_place = values.get(place) is not None
    return next((each for each in others if (getattr(each, place) is not None) != has_place), None)


MAYBE_SAME = "maybe_same"  # a person who says that it is another event may have it written


def maybe_same_words(context: ImportContext, values: dict[str, Any], other: Any) -> dict[str, str]:
    """The pair, and what can be done."""
    system = units_of(context)

    def place(strand: str, chainage_m: float | None) -> str:
        said = place_words(strand, chainage_m, system)
        return said if chainage_m is not None else _("%(strand)s, no chainage") % {"strand": said}

    words = _(
        "The book has an incident of the same belt and minute: %(known)s there, %(given)s here. If both tell of one "
        "event, leave this row out, and correct the one in the book where this one knows more. Else say that it is "
        "another event."
    ) % {
        "known": place(other.strand, other.chainage_m),
        "given": place(values.get("strand") or "", values.get("chainage_m")),
    }
    return {"field": "", "reason": words, "code": MAYBE_SAME, "url": other.get_absolute_url()}


def came_by_import(row: Any) -> bool:
    """Whether a row, or the one that it corrects in the end, was brought by a file."""
    first = row
    while first.corrects_id is not None:
        first = first.corrects
    return first.import_batch_id is not None


def write_one(
    subject: ImportSubject, context: ImportContext, values: dict[str, Any], key: uuid.UUID
) -> str | list[dict[str, str]]:
    """The outcome of one row, or its problems. A refused row leaves nothing behind."""
    try:
        with transaction.atomic():
            outcome = subject.write_row(context, values, key)
    except ValidationError as error:
        return problems_of(refused_by(error), units_of(context))
    except Refused as refusal:
        context.forget()
        return problems_of(refusal, units_of(context))
    if subject.entry_model and outcome != UNCHANGED and key not in context.known_entries:
        # The same row may come again in this chunk.
        row = subject.entry_model._default_manager.filter(client_key=key).first()
        if row is not None:
            context.known_entries[key] = row
    return outcome


DOUBTFUL = "doubtful"  # a person who insists may have it written as it is


def units_of(context: ImportContext) -> UnitSystem:
    """Those of whoever sent the file or corrects its row."""
    return UnitSystem(getattr(context.by, "unit_system", "") or UnitSystem.METRIC)


def problems_of(refusal: Refused, system: UnitSystem) -> list[dict[str, str]]:
    whole = refusal_words(refusal, system)
    if len(refusal.fields) == 1:
        # The message is the whole sentence; the words at the field may be a short form of it.
        problem = {"field": next(iter(refusal.fields)), "reason": whole}
        return [{**problem, "code": DOUBTFUL} if refusal.code == DOUBTFUL else problem]
    fields = field_words(refusal, system)
    return [{"field": name, "reason": words} for name, words in fields.items()] or [{"field": "", "reason": whole}]


class _NothingWritten(Exception):
    """Takes the whole transaction back."""


MOST_KEPT = 50_000  # checked rows that are kept in memory until they are written; of more the file is read again


def register_of(plant: Plant) -> set[tuple[Any, ...]]:
    """What tells whether conveyors were added, renamed or changed since their tags were looked up."""
    return set(Conveyor.objects.of_plant(plant).values_list("pk", "version", "tag_key"))


def check_all(
    handle: JobHandle, batch: ImportBatch, subject: ImportSubject, found: Understanding
) -> list[KeyedRow] | None:
    """Read every row before anything is written, saying how far it is; None where there are too many to be kept."""
    kept: list[KeyedRow] | None = []
    read = 0
    for chunk in keyed_chunks(batch, subject, context_of(batch, found), found):
        read += len(chunk)
        if kept is not None:
            kept.extend(chunk)
        if read > MOST_KEPT:
            kept = None
        handle.progress(read, max(batch.n_rows, read), progress_words(read, batch.n_rows))
    return kept


def write_as_one(handle: JobHandle, batch: ImportBatch, subject: ImportSubject, found: Understanding) -> None:
    """Write all rows or none. All rows are tried, so that one look finds all that is wrong.

    The first pass reads the cells, which takes most of the time, and says how far it is; it can be stopped. The second
    writes in one transaction, in which nothing can be said: what the book has is looked up there and not before, and
    if a conveyor changed between the passes the rows are read anew.
    """
    register = register_of(batch.plant)
    checked = check_all(handle, batch, subject, found)
    tally: Counter[str] = Counter()
    refused: list[Any] = []
    read = 0
    try:
        with transaction.atomic():
            if not handle.still_mine():
                raise JobLost
            context = context_of(batch, found)
            if checked is not None and register_of(batch.plant) == register:
                chunks: Iterable[list[KeyedRow]] = in_chunks(iter(checked), CHUNK)
            else:
                chunks = keyed_chunks(batch, subject, context, found)
            for chunk in chunks:
                read += len(chunk)
                tally += write_rows(batch, subject, context, found, chunk)
            if tally["refused"]:
                refused = list(batch.rejected_rows.open().values("line_number", "values", "problems"))
                raise _NothingWritten
            moved = ImportBatch.objects.filter(pk=batch.pk, rows_done=0, state=State.RUNNING).update(
                rows_done=read, n_rows=read, state=State.DONE, **{f"n_{name}": n for name, n in tally.items()}
            )
            if not moved:
                raise JobLost
    except _NothingWritten:
        with transaction.atomic():
            if not handle.still_mine():
                raise JobLost from None
            RejectedRow.objects.bulk_create([RejectedRow(batch=batch, **each) for each in refused])
            ImportBatch.objects.filter(pk=batch.pk, state=State.RUNNING).update(
                state=State.REFUSED, n_rows=read, n_refused=len(refused)
            )
