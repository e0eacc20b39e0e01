"""The refused rows of a file all at once: tried again, kept as they are, left out, or taken up again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.calc.own_words import WORDED, FoundWord, about_of, words_in
from plant.errors import Refused
from plant.models import ImportBatch, Job, Person, RejectedRow
from plant.selectors.own_words import own_words_of, tags_of
from plant.services.import_corrections import keep_refused, rows_written, source_of, write_retried
from plant.services.import_rows import PreparedRow, prepare, with_key
from plant.services.import_subjects.shape import ImportContext, ImportSubject, subject_of
from plant.services.import_understanding import Understanding, abouts_of, limits_in_a_job, opened, understand
from plant.services.import_writing import DOUBTFUL, MAYBE_SAME, context_of, counts_of, progress_words
from plant.services.job_kinds import JobHandle
from plant.services.jobs import ask_for_job

State, RowState = ImportBatch.State, RejectedRow.State

AGAIN = "import-again"  # the kind of job
RETRY, KEEP, OWN = "retry", "keep", "own"
# Which rows each act is about: rows that wait, or rows that are equal to another one.
ROWS = {RETRY: RowState.OPEN, KEEP: RowState.OPEN, OWN: RowState.REPEATED}
# What a person may say of all rows that ask the same.
ASKED = (DOUBTFUL, MAYBE_SAME)
SAY_EVERY = 20  # rows


def asked_of(batch: ImportBatch) -> Counter[str]:
    """How many rows that wait ask the same, by code."""
    codes: Counter[str] = Counter()
    for problems in batch.rejected_rows.open().values_list("problems", flat=True):
        codes.update({each["code"] for each in problems if each.get("code") in ASKED})
    return codes


def unknown_words(batch: ImportBatch) -> list[FoundWord]:
    """Words in rows that wait which nobody has said the meaning of yet, column by column."""
    subject, heads = subject_of(batch.subject), batch.options.get("columns", {})
    worded = {each.name: each for each in subject.columns if each.kind in WORDED and heads.get(each.name)}
    cells: dict[str, list[str]] = {}
    for values, problems in batch.rejected_rows.open().values_list("values", "problems"):
        for name in {each["field"] for each in problems} & worded.keys():
            cells.setdefault(name, []).append(values.get(heads[name], ""))
    own, tags = own_words_of(batch.plant, abouts_of(subject)), tags_of(batch.plant)
    found: list[FoundWord] = []
    for name, column in worded.items():
        words = words_in(column, cells.get(name, ()), own.get(about_of(subject.name, column), {}), tags)
        found += [each for each in words if each.means is None]
    return found


def rows_for(batch: ImportBatch, act: str, code: str) -> list[RejectedRow]:
    """The rows that an act is about, in the order of the file."""
    rows = batch.rejected_rows.filter(state=ROWS[act]).order_by("line_number")
    if act != KEEP:
        return list(rows)
    return [row for row in rows if any(each.get("code") == code for each in row.problems)]


def ask_again(*, batch: ImportBatch, by: Any, act: str, code: str = "") -> Job:
    """Ask for the job that tries refused rows again. Asking twice gives the same job.

    Parameters
    ----------
    batch : ImportBatch
        A file that was written.
    by : Person
    act : {"retry", "keep", "own"}
        As they stand; as they stand though they ask something; each as an event of its own though it equals another.
    code : str, optional
        For "keep": what the rows ask.

    Raises
    ------
    Refused
        If there is no such row, the file is not written yet or no longer kept, or work on it is under way.
    """
    if act not in ROWS or (act == KEEP and code not in ASKED):
        raise Refused(_("That cannot be done with refused rows. Load the page again."), code="no_choice")
    batch.refresh_from_db()
    if batch.state != State.DONE:
        raise Refused(_("Rows of this file are being written, or it was refused as a whole. Look again later."))
    if not rows_for(batch, act, code):
        raise Refused(_("No such row waits any more."), code="none")
    with opened(batch):
        pass
    with transaction.atomic():
        now = ImportBatch.objects.select_for_update(of=("self",)).select_related("job").get(pk=batch.pk)
        if now.state != State.DONE and now.job is not None:
            faster: Job = now.job  # somebody else's, of this moment
            return faster
        job = ask_for_job(
            AGAIN,
            args={"batch": batch.pk, "act": act, "code": code},
            plant=batch.plant,
            by=by,
            key=f"import-again-{batch.pk}-{batch.job_id or 0}",
        )
        batch.state, batch.job = State.RUNNING, job
        batch.save(update_fields=["state", "job"])
    return job


def run_again(handle: JobHandle, batch_id: int, act: str, code: str) -> dict[str, Any]:
    """Try the rows one by one; each that is written is written by itself, so a second run goes on with the others.

    Raises
    ------
    JobStopped, JobLost
        If a person stopped it or another worker took it over; rows that are written stay so.
    """
    batch = ImportBatch.objects.select_related("plant", "created_by", "job__requested_by").get(pk=batch_id)
    if batch.state != State.RUNNING:
        return counts_of(batch)
    by = batch.job.requested_by if batch.job is not None else batch.created_by
    try:
        with timezone.override(batch.plant.zone):
            for done, total in again(batch, by, act, code):
                handle.progress(done, total, progress_words(done, total))
    except Refused as problem:  # the file was cleared away meanwhile
        ImportBatch.objects.filter(pk=batch.pk).update(problem=problem.message[:500])
    ImportBatch.objects.filter(pk=batch.pk, state=State.RUNNING).update(state=State.DONE)
    batch.refresh_from_db()
    return counts_of(batch)


def again(batch: ImportBatch, by: Person | None, act: str, code: str) -> Iterator[tuple[int, int]]:
    """How far it is, from time to time."""
    subject, rows = subject_of(batch.subject), rows_for(batch, act, code)
    found = understand(batch, limits_in_a_job())
    context = context_of(batch, found, by)
    context.is_repeat = False  # a person says now what is right
    context.keep_doubtful = act == KEEP
    context.equal_are_events |= act == OWN
    yield 0, len(rows)
    prepared = read_again(rows, found, subject, context)
    keys = {each.natural_key for _row, each in prepared if not each.problems}
    seen = rows_written(batch, found, subject, keys, limits_in_a_job())
    for n, (row, each) in enumerate(prepared, start=1):
        outcome: Any = each.problems
        if not each.problems:
            outcome = write_retried(row, batch, subject, context, with_key(each, subject, context, seen), row.values)
        if not isinstance(outcome, str):
            keep_refused(row, row.values, outcome)
        if n % SAY_EVERY == 0:
            yield n, len(rows)
    yield len(rows), len(rows)


def read_again(
    rows: list[RejectedRow], found: Understanding, subject: ImportSubject, context: ImportContext
) -> list[tuple[RejectedRow, PreparedRow]]:
    return [(row, prepare(source_of(row, found, row.values), found, subject, context)) for row in rows]


def drop_all(*, batch: ImportBatch) -> int:
    """Leave out every row that waits; they stay visible and can be taken up again. How many."""
    return batch.rejected_rows.open().update(state=RowState.DROPPED)


def take_up_all(*, batch: ImportBatch) -> int:
    """Every row that was left out waits for correction again. How many."""
    return batch.rejected_rows.filter(state=RowState.DROPPED).update(state=RowState.OPEN)
