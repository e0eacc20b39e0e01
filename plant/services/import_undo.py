"""A file taken back whole: what it brought is withdrawn, what it changed is as it was; what people went on with stays.

The preview tries everything out in a transaction that is taken back, so it says what would be done. The job does it in
chunks; a worker that is killed leaves whole chunks done, and the next one goes on with what is left.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from django.apps import apps
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.errors import ChangedMeanwhile, Refused
from plant.models import ImportBatch, ImportedEntry, ImportedRecord, Job, Record
from plant.services.import_subjects.shape import latest_of, subject_of
from plant.services.import_writing import progress_words
from plant.services.job_kinds import JobHandle, JobLost
from plant.services.jobs import ask_for_job
from plant.services.records import OWN, change_record, correct_entry, withdraw_many

State = ImportBatch.State

UNDO = "import-undo"  # the kind of job
CHUNK = 200
TRIES = 5  # at a chunk of which somebody else corrects rows at the same moment
SAMPLE = 20  # rows that stay are named so far


@dataclass(frozen=True)
class Stays:
    """A row that stays in the book though its file goes."""

    what: str
    why: str
    url: str = ""


@dataclass
class Undone:
    """What came of taking a file back, or would come of it."""

    n_withdrawn: int = 0
    n_as_before: int = 0
    n_removed: int = 0
    stays: list[Stays] = field(default_factory=list)
    n_stays: int = 0

    @property
    def n_gone(self) -> int:
        return self.n_withdrawn + self.n_as_before + self.n_removed

    def add(self, part: Undone) -> None:
        self.n_withdrawn += part.n_withdrawn
        self.n_as_before += part.n_as_before
        self.n_removed += part.n_removed
        self.n_stays += part.n_stays
        self.stays = [*self.stays, *part.stays][:SAMPLE]

    def keep(self, row: Stays) -> None:
        self.n_stays += 1
        if len(self.stays) < SAMPLE:
            self.stays.append(row)


class OnlyTried(Exception):
    """Ends a trial: nothing of it stays."""


def can_be_taken_back(batch: ImportBatch) -> bool:
    """Whether the file was written, or so far as it was stopped, and nobody works on it now."""
    if batch.state in (State.DONE, State.FAILED):
        return bool(batch.rows_done)
    return batch.standing == "interrupted" and bool(batch.rows_done)


def is_known_what_it_did(batch: ImportBatch) -> bool:
    """Whether it was kept what the file did to records; of files from before that was kept nobody can tell."""
    return subject_of(batch.subject).entry_model is not None or batch.records.exists()


def check_can(batch: ImportBatch) -> None:
    if batch.state == State.TAKEN_BACK:
        raise Refused(
            _("%(who)s took this file back already (“%(reason)s”). Send it again if it was right after all.")
            % {"who": batch.taken_back_by, "reason": batch.taken_back_because},
            code="taken_back",
        )
    if not can_be_taken_back(batch):
        raise Refused(
            _("Nothing of this file is in the book, or it is being written: stop that first."), code="at_work"
        )
    if batch.state != State.TAKING_BACK and not is_known_what_it_did(batch):
        words = _(
            "What this file did to records was not kept, so they are not taken back with it: change each of them."
        )
        raise Refused(words, code="not_kept")


def preview_of_undo(batch: ImportBatch) -> Undone:
    """What taking the file back would do.

    Raises
    ------
    Refused
        If nothing of it is in the book, or it is being written.
    """
    check_can(batch)
    found = Undone()
    try:
        with transaction.atomic():
            for _done in undo_records(batch, None, found, _("tried out")):
                pass
            raise OnlyTried
    except OnlyTried:
        pass
    for row in entries_of(batch):
        standing = standing_of(row, batch)
        if standing is None:
            before = row_before(row, batch)
            found.n_withdrawn += before is None
            found.n_as_before += before is not None
        elif standing.why:
            found.keep(standing)
    return found


def take_back(*, batch: ImportBatch, by: Any, reason: str) -> Job:
    """Ask for the job that takes a file back. Asking twice gives the same job; one that was stopped goes on.

    Raises
    ------
    Refused
        If no reason is given, nothing of the file is in the book, or it is being written.
    """
    batch.refresh_from_db()
    if batch.state == State.TAKING_BACK and batch.job is not None and batch.standing == "running":
        return batch.job
    check_can(batch)
    reason = reason.strip() or batch.taken_back_because
    if not reason:
        words = _("Say why it is taken back.")
        raise Refused(words, code="reason", fields={"reason": words})
    with transaction.atomic():
        now = ImportBatch.objects.select_for_update(of=("self",)).select_related("job").get(pk=batch.pk)
        if now.job_id != batch.job_id and now.job is not None:
            faster: Job = now.job  # somebody else's, of this moment
            if faster.kind != UNDO:
                raise Refused(
                    _("Somebody else went on with this file at the same moment. Look at what came of it first.")
                )
            return faster
        check_can(now)
        job = ask_for_job(
            UNDO,
            args={"batch": batch.pk},
            plant=batch.plant,
            by=by,
            key=f"import-undo-{batch.pk}-{batch.job_id or 0}",
        )
        batch.state, batch.job, batch.problem = State.TAKING_BACK, job, ""
        batch.taken_back_by, batch.taken_back_because, batch.taken_back_at = by, reason[:200], timezone.now()
        batch.save(update_fields=["state", "job", "problem", "taken_back_by", "taken_back_because", "taken_back_at"])
    return job


def run_undo(handle: JobHandle, batch_id: int) -> dict[str, Any]:
    """Take a file back from where it stands.

    Raises
    ------
    JobStopped, JobLost
        If a person stopped it or another worker took it over; what was taken back stays so.
    """
    batch = ImportBatch.objects.select_related("plant", "taken_back_by").get(pk=batch_id)
    if batch.state != State.TAKING_BACK:
        return {"batch": batch.pk, "state": batch.state}
    found = Undone()
    reason = _("%(file)s was taken back: %(reason)s") % {
        "file": batch.file_name[:70],
        "reason": batch.taken_back_because,
    }
    total = entries_of(batch).count() + batch.records.count()
    done = 0
    with timezone.override(batch.plant.zone):
        for n in undo_records(batch, handle, found, reason):
            done += n
            handle.progress(done, max(total, done), progress_words(done, max(total, done)))
        for n in undo_entries(batch, handle, found, reason):
            done += n
            handle.progress(done, max(total, done), progress_words(done, max(total, done)))
    ImportBatch.objects.filter(pk=batch.pk, state=State.TAKING_BACK).update(
        state=State.TAKEN_BACK, n_staying=found.n_stays
    )
    return {"batch": batch.pk, "state": State.TAKEN_BACK, "stays": found.n_stays}


def still_held(handle: JobHandle | None) -> None:
    """Ask inside the transaction that writes. A trial has no handle.

    Raises
    ------
    JobLost
        If another worker took the job over.
    """
    if handle is not None and not handle.still_mine():
        raise JobLost


def count_gone(batch: ImportBatch, n: int) -> None:
    """Count rows that went in the transaction in which they go: so a worker that is killed counts none twice."""
    ImportBatch.objects.filter(pk=batch.pk).update(n_taken_back=F("n_taken_back") + n)


# --- entries ----------------------------------------------------------------------------------------------------------
def entries_of(batch: ImportBatch) -> Any:
    """The entries that the file wrote, those that it corrected others by among them; not those that withdraw them."""
    model = subject_of(batch.subject).entry_model
    if model is None:
        return ImportedRecord.objects.none()
    rows: Any = model._default_manager.filter(import_batch=batch, is_withdrawn=False)
    return rows.select_related("conveyor", "corrects", "corrects__import_batch", "corrected_by__created_by").order_by(
        "pk"
    )


def standing_of(row: Any, batch: ImportBatch) -> Stays | None:
    """None where the row stands as the file left it; else what became of it, with a reason where it stays for that."""
    latest = latest_of(row)
    if latest is row:
        return None
    if latest.import_batch_id == batch.pk or row.corrected_by.client_key == key_of_put_back(row):
        return Stays(str(row), "")  # it went already, or a later row of the same file took its place
    if latest.is_withdrawn:
        why = _("withdrawn by %(who)s (“%(reason)s”)")
    elif latest.import_batch_id is not None:
        why = _("corrected by a later file (“%(reason)s”)")
    else:
        why = _("corrected by %(who)s (“%(reason)s”)")
    told = {"who": latest.created_by or _("a job"), "reason": latest.correction_reason}
    address = latest.get_absolute_url() if hasattr(latest, "get_absolute_url") else ""
    return Stays(str(latest), why % told, address)


def row_before(row: Any, batch: ImportBatch) -> ImportedEntry | None:
    """The row that this one corrects, where it stood before the file came; None where the file brought it."""
    before: Any = row.corrects
    while before is not None:
        source = before.import_batch
        is_gone = source is not None and (source.pk == batch.pk or source.state == State.TAKEN_BACK)
        if not is_gone and not before.is_withdrawn:
            found: ImportedEntry = before
            return found
        before = before.corrects
    return None


def undo_entries(batch: ImportBatch, handle: JobHandle, found: Undone, reason: str) -> Iterator[int]:
    """Each chunk in one transaction; how many rows of the file it looked at."""
    last = 0
    while True:
        rows = next_chunk(batch, handle, found, reason, last)
        if not rows:
            return
        last = rows[-1].pk
        yield len(rows)


def next_chunk(batch: ImportBatch, handle: JobHandle, found: Undone, reason: str, last: int) -> list[Any]:
    """Undo the rows after the last one; looked at anew where somebody corrects one of them at the same moment."""
    for n in range(1, TRIES + 1):
        part = Undone()
        try:
            with transaction.atomic():
                still_held(handle)
                rows = list(islice(entries_of(batch).filter(pk__gt=last), CHUNK))
                if not rows:
                    return []
                undo_chunk(rows, batch, part, reason)
                count_gone(batch, part.n_gone)
        except Refused:
            if n == TRIES:
                raise
            continue
        break
    found.add(part)
    return rows


def undo_chunk(rows: list[Any], batch: ImportBatch, found: Undone, reason: str) -> None:
    fresh = []
    for row in rows:
        standing = standing_of(row, batch)
        if standing is not None:
            if standing.why:
                found.keep(standing)
            continue
        before = row_before(row, batch)
        if before is None:
            fresh.append(row)
            continue
        try:
            put_back(row, before, batch.taken_back_by, reason)
        except Refused as problem:  # it cannot stand as it was, or somebody corrected it at this moment
            found.keep(Stays(str(row), problem.message))
        else:
            found.n_as_before += 1
    withdraw_many(fresh, by=batch.taken_back_by, reason=reason, import_batch=batch)
    found.n_withdrawn += len(fresh)


def key_of_put_back(row: Any) -> uuid.UUID:
    """The key of the row that stands in the place of this one once its file is taken back."""
    return uuid.uuid5(row.client_key, "as before its file")


def put_back(row: Any, before: Any, by: Any, reason: str) -> None:
    """Write the row again that stood before the file corrected it, as the word of whoever wrote it then."""
    values = {each.name: getattr(before, each.name) for each in before._meta.concrete_fields if each.name not in OWN}
    key = key_of_put_back(row)
    fresh = correct_entry(row, by=by, reason=reason[:300], client_key=key, import_batch=before.import_batch, **values)
    for each in row._meta.many_to_many:
        getattr(fresh, each.name).set(getattr(row, each.name).all())


# --- records ----------------------------------------------------------------------------------------------------------
def undo_records(batch: ImportBatch, handle: JobHandle | None, found: Undone, reason: str) -> Iterator[int]:
    """What the file did to records, the last first; each in a transaction of its own. A trial has no handle."""
    for note in list(batch.records.order_by("-pk")):
        with transaction.atomic():
            still_held(handle)
            n_before = found.n_gone
            stays = undo_record(note, batch, found, reason)
            if stays is None:
                note.delete()
                count_gone(batch, found.n_gone - n_before)
            else:
                found.keep(stays)
        yield 1


def undo_record(note: ImportedRecord, batch: ImportBatch, found: Undone, reason: str) -> Stays | None:
    """Why a record stays as it is; None where it is as it was before the file, or gone."""
    model: Any = apps.get_model(note.model)
    record = model._default_manager.select_for_update().filter(pk=note.row_id).first()
    if record is None:
        return None
    url = record.get_absolute_url() if hasattr(record, "get_absolute_url") else ""
    if record.version != note.version:
        return Stays(str(record), _("changed by people since"), url)
    if note.before is None:
        hanging = what_hangs_on(record)
        if hanging:
            return Stays(str(record), _("in use: %(what)s") % {"what": ", ".join(hanging)}, url)
        remove(record, batch.taken_back_by, reason)
        found.n_removed += 1
        return None
    before = {name: value_of(model, name, value) for name, value in note.before.items()}
    try:
        changed = change_record(
            record, by=batch.taken_back_by, version=record.version, reason=reason[:100], fields=before
        )
    except (Refused, ChangedMeanwhile) as problem:
        return Stays(str(record), problem.message, url)
    # An earlier note of this file, or one of an earlier file, is about the record as it stands now.
    ImportedRecord.objects.filter(model=note.model, row_id=note.row_id, version=note.version - 1).update(
        version=changed.version
    )
    found.n_as_before += 1
    return None


def value_of(model: Any, name: str, value: Any) -> Any:
    """A field's value as it was kept; of a relation the row."""
    column = model._meta.get_field(name)
    if column.is_relation:
        return None if value is None else column.related_model._default_manager.get(pk=value)
    return column.to_python(value)


def what_hangs_on(record: Record) -> list[str]:
    """The kinds of rows of the book that point at a record, or at one of its parts, but for those parts."""
    names: set[str] = set()
    for model, field_name, is_part in pointing_at(record):
        rows = model._default_manager.filter(**{field_name: record})
        if is_part:
            names.update(name for each in rows for name in what_hangs_on(each))
        elif rows.exists():
            names.add(str(model._meta.verbose_name_plural))
    return sorted(names)


def pointing_at(record: Any) -> Iterator[tuple[Any, str, bool]]:
    """Models with a relation to a record, the relation's name, and whether their rows are parts of it."""
    parts = getattr(record, "parts_of_it", ())
    for relation in record._meta.get_fields(include_hidden=True):
        is_pointer = relation.auto_created and (relation.one_to_many or relation.one_to_one) and not relation.concrete
        if is_pointer and not hasattr(relation.related_model, "history_type"):
            yield relation.related_model, relation.field.name, relation.related_model._meta.label in parts


def remove(record: Any, by: Any, reason: str) -> None:
    """Delete a record that nothing hangs on, with its parts. Their histories stay and say who did it and why."""
    for model, field_name, is_part in pointing_at(record):
        for each in model._default_manager.filter(**{field_name: record}) if is_part else ():
            remove(each, by, reason)
    record._history_user, record._change_reason = by, reason[:100]
    record.delete()
