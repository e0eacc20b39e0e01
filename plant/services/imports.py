"""The import desk: take a file in, say what was understood, write its rows as a job, keep what was refused.

A file is written in chunks. Each chunk is one transaction that first moves `rows_done` on by a conditional UPDATE and
asks whether this worker still holds the job: of two workers only one moves it, and a worker that is killed leaves the
book as it was after the last whole chunk, from where the next one goes on. All or nothing is one transaction.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import time
import uuid
from collections import Counter
from collections.abc import Collection, Container, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from types import MappingProxyType
from typing import Any, BinaryIO
from zoneinfo import available_timezones

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files import File
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.calc import import_files
from plant.calc.import_files import Cell, FileShape, SourceRow, as_text, count_rows, read_rows, understand_file
from plant.calc.import_limits import Limits, NotATable
from plant.calc.imports import (
    Column,
    ColumnKind,
    Reading,
    decide_date_order,
    decide_decimal,
    decide_midnight,
    default_unit,
    is_time_known,
    is_unit_of,
    match_columns,
    names_of,
    plain_name,
    read_cell,
)
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import Conveyor, ImportBatch, Job, Notice, Plant, RejectedRow
from plant.services.import_subjects.shape import (
    CHANGED,
    REPEATED,
    UNCHANGED,
    WRITTEN,
    ImportContext,
    ImportSubject,
    differing,
    subject_of,
)
from plant.services.job_kinds import JobHandle, JobLost
from plant.services.jobs import ask_for_job, stop_job
from plant.services.records import refused_by

CHUNK = 200
LOOKED_AT_ROWS = 2000  # rows that may be tried before anything is written
DECIDED_FROM_ROWS = {False: 20_000, True: 5_000}  # rows that tell date order and decimal mark; workbooks read slowly
KEY_SPACE = uuid.UUID("6f1d4c2e-3b0a-5d53-9a52-6b1e0c9f7a11")

State = ImportBatch.State
NUMBERED = (ColumnKind.QUANTITY, ColumnKind.COUNT)
DATED = (ColumnKind.MOMENT, ColumnKind.DAY)


# --- what was understood ----------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class FieldMatch:
    """A field of the subject with the column of the file that fills it."""

    column: Column
    head: str = ""
    unit: str = ""
    unit_is_stated: bool = False


@dataclass(frozen=True)
class Question:
    """Something that has two readings and that a person has to decide."""

    option: str
    words: str


@dataclass(frozen=True)
class Understanding:
    """How the desk reads a file: its shape, the column of each field, conventions, and what is to be decided."""

    shape: FileShape
    matches: tuple[FieldMatch, ...] = ()
    reading: Reading = field(default_factory=Reading)
    questions: tuple[Question, ...] = ()
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    first_rows: tuple[SourceRow, ...] = field(default=(), repr=False)

    @property
    def is_ready(self) -> bool:
        return not self.questions and not self.problems

    def matched(self) -> list[FieldMatch]:
        return [each for each in self.matches if each.head]

    def unused_heads(self) -> list[str]:
        used = {each.head for each in self.matches}
        return [head for head in self.shape.columns if head not in used]


@dataclass(frozen=True)
class PreparedRow:
    """A row whose cells were read: values to write, or problems."""

    source: SourceRow
    values: dict[str, Any]
    problems: list[dict[str, str]]
    natural_key: str = ""
    # Everything that the row says, so that equal rows are known: all values, and the cells of unused columns.
    content: str = ""


@dataclass(frozen=True)
class KeyedRow:
    """A row as it is written: its key, and where it stands among equal rows of its file."""

    row: PreparedRow
    key: uuid.UUID | None = None
    equal_to_line: int = 0  # the first equal row of the file, which stands for this one too
    n_equal_above: int = 0  # equal rows above it, each an event of its own


def known_names(subject: ImportSubject) -> Any:
    """Whether a cell is the name of one of the subject's columns."""
    names = set().union(*(names_of(column) for column in subject.columns))
    return lambda text: plain_name(import_files.split_head(text)[0]) in names


def raw(file: Any) -> BinaryIO:
    """The plain binary file inside Django's wrappers, which the readers of text and archives need."""
    while isinstance(file, File):
        file = file.file
    return file  # type: ignore[no-any-return]


@contextmanager
def opened(batch: ImportBatch) -> Iterator[BinaryIO]:
    """The file of a batch, opened anew each time: two readers never share a position."""
    try:
        if not batch.file:
            raise FileNotFoundError(batch.file_name)
        file = batch.file.storage.open(str(batch.file.name), "rb")
    except FileNotFoundError as error:
        words = _("The sent file is no longer kept on the server. Send it again; rows that are written stay known.")
        raise Refused(words, code="file_gone") from error
    with file:
        yield raw(file)


def shape_of(batch: ImportBatch) -> FileShape:
    options = batch.options
    return FileShape(
        is_workbook=batch.is_workbook,
        encoding=options.get("encoding", ""),
        delimiter=options.get("delimiter", ""),
        sheet=options.get("sheet", ""),
        header_line=int(options.get("header_line") or 0),
    )


def limits_on_a_page() -> Limits:
    """How much is read while somebody waits for the page: from now on, so many seconds."""
    until = time.monotonic() + settings.LARGEST_IMPORT_SECONDS
    return replace(
        limits_in_a_job(), seconds=settings.LARGEST_IMPORT_SECONDS, is_late=lambda: time.monotonic() >= until
    )


def limits_in_a_job() -> Limits:
    """How much is read where nobody waits."""
    return Limits(rows=settings.LARGEST_IMPORT_ROWS, unpacked_mb=settings.LARGEST_IMPORT_UNPACKED_MB)


def understand(batch: ImportBatch, limits: Limits | None = None) -> Understanding:
    """What the desk makes of the file under the choices made so far; by the limits of a page unless others are given.

    Raises
    ------
    Refused
        If the file cannot be read as a table under these choices, or holds more than is read.
    """
    subject = subject_of(batch.subject)
    limits = limits or limits_on_a_page()
    with opened(batch) as file:
        try:
            shape = understand_file(file, known_names(subject), shape_of(batch), limits)
            first = list(islice(read_rows(file, shape, limits), DECIDED_FROM_ROWS[batch.is_workbook]))
        except NotATable as problem:
            raise Refused(str(problem), code="no_table") from problem
    matches, doubts = match_fields(subject, shape, batch.options)
    reading, questions = read_conventions(subject, shape, matches, first, batch)
    problems = [*doubts]
    absent = [each.column for each in matches if each.column.required and not each.head]
    missing = [column.label for column in absent if subject.is_needed(column)]
    notes = shape.notes
    if absent and not missing:
        words = _(
            "No column was found for: %(missing)s. Rows that the book knows are changed in the columns that the file "
            "has; a row that would be new is kept for correction."
        )
        notes = (*notes, words % {"missing": ", ".join(str(column.label) for column in absent)})
    if missing:
        problems.append(
            _(
                "No column was found for: %(missing)s. Choose the column of each below, or name it so in the file. "
                "The file has: %(heads)s."
            )
            % {"missing": ", ".join(map(str, missing)), "heads": ", ".join(shape.columns)}
        )
    if not first:
        problems.append(_("There are no rows below the column names. Send a file with rows."))
    tried = tuple(first[:LOOKED_AT_ROWS])
    return Understanding(shape, tuple(matches), reading, tuple(questions), tuple(problems), notes, tried)


def match_fields(
    subject: ImportSubject, shape: FileShape, options: Mapping[str, Any]
) -> tuple[list[FieldMatch], list[str]]:
    """The column of each field: chosen by the person, else by its name."""
    chosen: Mapping[str, str] = options.get("columns", {})
    told, stated, doubts = match_columns(shape.columns, subject.columns)
    matches = []
    for column in subject.columns:
        head = chosen.get(column.name)
        if head is None or (head and head not in shape.columns):
            head = shape.columns[told[column.name]] if column.name in told else ""
        else:
            doubts = [each for each in doubts if f" the {column.label}: " not in each]
        unit, is_stated = "", False
        if column.kind is ColumnKind.QUANTITY and head:
            in_head = match_columns([head], [column])[1].get(column.name) or stated.get(column.name, "")
            unit = options.get("units", {}).get(column.name) or in_head
            is_stated = bool(unit)
            if not unit or not is_unit_of(unit, column.quantity):
                unit = default_unit(column, UnitSystem(options.get("system") or UnitSystem.METRIC))
        matches.append(FieldMatch(column, head, unit, is_stated))
    return matches, doubts


def read_conventions(
    subject: ImportSubject, shape: FileShape, matches: Iterable[FieldMatch], rows: list[SourceRow], batch: ImportBatch
) -> tuple[Reading, list[Question]]:
    """Decimal mark, date order and zone: chosen, else told from the data, else asked."""
    options = batch.options
    matched = [each for each in matches if each.head]

    def texts(*kinds: ColumnKind) -> Iterator[str]:
        places = [shape.columns.index(each.head) for each in matched if each.column.kind in kinds]
        for row in rows:
            for place in places:
                cell = row.cells[place] if place < len(row.cells) else None
                if isinstance(cell, str):
                    yield cell

    def moments() -> Iterator[str]:
        """What tells whether 00:00 is a time, of the moments that may be a day alone."""
        for each in matched:
            if each.column.time_flag:
                place, clock = at[each.column.name], at.get(subject.times_of.get(each.column.name, ""))
                for row in rows:
                    yield import_files.cell_text(with_clock(row.cells[place], row, clock))

    at = {each.column.name: shape.columns.index(each.head) for each in matched}
    midnight = decide_midnight(moments()).value
    may_be_days = any(each.column.time_flag for each in matched)
    if shape.is_workbook and may_be_days and not any(name in at for name in subject.times_of.values()):
        midnight = "day"  # a workbook keeps a date as the 00:00 of its day
    decimal = decide_decimal(texts(*NUMBERED))
    order = decide_date_order(texts(*DATED))
    questions = []
    if order.is_needed and not options.get("date_order"):
        questions.append(Question("date_order", order.words))
    if decimal.is_needed and not options.get("decimal"):
        questions.append(Question("decimal", decimal.words))
    reading = Reading(
        system=UnitSystem(options.get("system") or UnitSystem.METRIC),
        units={each.column.name: each.unit for each in matched if each.unit},
        decimal=options.get("decimal") or decimal.value or "point",
        date_order=options.get("date_order") or order.value or "dmy",
        time_zone=options.get("time_zone") or batch.plant.time_zone,
        plant_zone=batch.plant.time_zone,
        doubled=options.get("doubled") or "refuse",
        midnight=options.get("midnight") or midnight,
    )
    return reading, questions


def prepare(row: SourceRow, found: Understanding, subject: ImportSubject, context: ImportContext) -> PreparedRow:
    """Read the cells of one row. Nothing is written; every problem of the row is found, not only the first."""
    if row.problem:
        return PreparedRow(row, {}, [{"field": "", "reason": row.problem}])
    values: dict[str, Any] = {}
    problems: list[dict[str, str]] = []
    at = {each.column.name: found.shape.columns.index(each.head) for each in found.matched()}
    broken = dict(row.cell_problems)
    clock_columns = set(subject.times_of.values())
    for name, place in at.items():
        column = subject.column(name)
        if not subject.is_needed(column):
            column = replace(column, required=False)
        cell = row.cells[place]
        if name in clock_columns:
            continue
        try:
            if place in broken:
                raise ValueError(broken[place])
            cell = with_clock(cell, row, at.get(subject.times_of.get(name, "")))
            value = read_cell(cell, column, found.reading)
            if column.time_flag and value is not None:
                values[column.time_flag] = is_time_known(cell, found.reading)
            if column.kind is ColumnKind.CONVEYOR and value is not None:
                value = context.conveyor(value)
            values[name] = value
        except (ValueError, Refused) as error:
            problems.append({"field": name, "reason": str(error)})
    if subject.lacks is not None:
        at_fault = {each["field"] for each in problems}
        lacking = subject.lacks(context, values, at_fault)
        problems += [{"field": name, "reason": words} for name, words in lacking.items()]
    if problems:
        return PreparedRow(row, values, problems)
    if subject.complete is not None:
        subject.complete(values)
    content = content_of(row, values, set(at.values())) if subject.repeats_are_real else ""
    return PreparedRow(row, values, [], natural_key(subject, values), content)


def content_of(row: SourceRow, values: Mapping[str, Any], used: Container[int]) -> str:
    said = [f"{name}={value.pk if isinstance(value, Conveyor) else value}" for name, value in values.items()]
    said += [import_files.cell_text(cell) for place, cell in enumerate(row.cells) if place not in used]
    return "\x1f".join(said)


def with_clock(cell: Cell, row: SourceRow, clock: int | None) -> Cell:
    """A date together with the time of day that stands in another column, unless the date has one already."""
    day = import_files.cell_text(cell)
    of_day = import_files.cell_text(row.cells[clock]) if clock is not None else ""
    return f"{day} {of_day}" if day and of_day and ":" not in day else cell


def natural_key(subject: ImportSubject, values: Mapping[str, Any]) -> str:
    parts = []
    for name in subject.key_fields:
        value: Any = values.get(name)
        if isinstance(value, Conveyor):
            value = value.pk
        elif isinstance(value, dt.date):
            value = value.isoformat()
        elif isinstance(value, str):
            value = " ".join(value.casefold().split())
        parts.append("" if value is None else str(value))
    return "|".join(parts)


def row_key(subject: ImportSubject, plant: Plant, natural: str, ordinal: int, n_equal_above: int = 0) -> uuid.UUID:
    """The client key of a row: the same in every file that brings this row."""
    again = f"|again {n_equal_above}" if n_equal_above else ""
    return uuid.uuid5(KEY_SPACE, f"{plant.client_key}|{subject.name}|{natural}|{ordinal}{again}")


# --- taking a file in -------------------------------------------------------------------------------------------------
def check_size(size: int) -> None:
    """Refuse a file by its size, before it is read.

    Raises
    ------
    Refused
        If it is larger than the site takes.
    """
    if size > settings.LARGEST_IMPORT_MB * 1024 * 1024:
        raise Refused(
            _(
                "The file has %(size)s MB; files up to %(most)s MB are taken. Cut it into several files, "
                "for example one a year, or ask whoever runs the site to raise DRIFTBOOK_LARGEST_IMPORT_MB."
            )
            % {"size": round(size / 1024 / 1024), "most": settings.LARGEST_IMPORT_MB},
            code="too_large",
            fields={"file": _("Too large.")},
        )


def take_in_file(
    *,
    plant: Plant,
    by: Any,
    subject: str,
    file: File[bytes] | BinaryIO,
    file_name: str,
    size: int,
    client_key: uuid.UUID | None = None,
    options: Mapping[str, Any] | None = None,
    limits: Limits | None = None,
) -> ImportBatch:
    """Keep a file and count its rows, within the limits of a page unless others are given. Nothing is written yet.

    Raises
    ------
    Refused
        If it is too large or no table.
    """
    check_size(size)
    known: ImportBatch | None = ImportBatch.objects.filter(client_key=client_key).first() if client_key else None
    if known is not None:
        return known
    found = subject_of(subject)
    content = raw(file)
    limits = limits or limits_on_a_page()
    try:
        shape = understand_file(content, known_names(found), limits=limits)
        n_rows = count_rows(content, shape, limits)
    except NotATable as problem:
        raise Refused(str(problem), code="no_table", fields={"file": str(problem)}) from problem
    content.seek(0)
    digest = hashlib.file_digest(content, "sha256").hexdigest()  # type: ignore[arg-type]
    content.seek(0)
    batch = ImportBatch(
        plant=plant,
        created_by=by,
        client_key=client_key or uuid.uuid4(),
        subject=found.name,
        file_name=file_name[:200],
        is_workbook=shape.is_workbook,
        sha256=digest,
        options={"system": str(getattr(by, "unit_system", "") or UnitSystem.METRIC), **(options or {})},
        n_rows=n_rows,
    )
    batch.file.save(file_name, File(content), save=False)
    with transaction.atomic():
        batch.save()
    return batch


CHOSEN = (
    "encoding",
    "delimiter",
    "sheet",
    "header_line",
    "decimal",
    "date_order",
    "time_zone",
    "doubled",
    "system",
    "known",
    "equal",
    "midnight",
)
# What is taken where nobody chose.
TAKEN = {"known": "refuse", "equal": "one", "doubled": "refuse"}


def choose(*, batch: ImportBatch, options: Mapping[str, Any]) -> ImportBatch:
    """Keep what a person chose about a file that is not being written yet.

    Raises
    ------
    Refused
        If the file cannot be read so, or it is being written or done.
    """
    if batch.state != State.UNDERSTOOD or batch.rows_done:
        raise Refused(_("This file is being written or done; its choices are settled. Send it again to choose anew."))
    check_choices(options)
    before = batch.options
    batch.options = {
        **before,
        **{name: options[name] for name in CHOSEN if name in options},
        "columns": dict(options.get("columns", before.get("columns", {}))),
        "units": {name: unit for name, unit in options.get("units", before.get("units", {})).items() if unit},
    }
    layout = ("encoding", "delimiter", "sheet", "header_line")
    if any(before.get(name) != batch.options.get(name) for name in layout):
        found = understand(batch)
        with opened(batch) as file:
            try:
                batch.n_rows = count_rows(file, found.shape, limits_on_a_page())
            except NotATable as problem:
                raise Refused(str(problem), code="no_table") from problem
    with transaction.atomic():
        # Somebody else may have started it meanwhile.
        kept = ImportBatch.objects.filter(pk=batch.pk, state=State.UNDERSTOOD, rows_done=0).update(
            options=batch.options, n_rows=batch.n_rows
        )
    if not kept:
        raise Refused(_("Somebody else started this file meanwhile; its choices are settled."), code="started")
    return batch


def check_choices(options: Mapping[str, Any]) -> None:
    """Raises Refused where a choice is none that is offered."""
    offered: dict[str, Collection[str]] = {
        "encoding": {*import_files.ENCODINGS, "utf-8-sig", "utf-16-le", "utf-16-be", "latin-1"},
        "delimiter": import_files.DELIMITERS,
        "decimal": ("point", "comma"),
        "date_order": ("dmy", "mdy"),
        "doubled": ("refuse", "earlier", "later"),
        "known": ("refuse", "correct"),
        "equal": ("one", "each"),
        "midnight": ("time", "day"),
        "system": [each.value for each in UnitSystem],
        "time_zone": available_timezones(),
    }
    for name, allowed in offered.items():
        given = options.get(name)
        if given and given not in allowed:
            words = _("“%(given)s” is no choice for %(name)s.") % {"given": given, "name": name.replace("_", " ")}
            if name == "time_zone":
                words += " " + _("Give a time zone such as Europe/Berlin.")
            else:
                words += " " + _("Choose one of: %s.") % ", ".join(repr(each) for each in sorted(allowed))
            raise Refused(words, code="no_choice", fields={name: words})
    line = str(options.get("header_line") or 0)
    if not line.isdigit() or int(line) > 1000:
        raise Refused(_("The line of the column names is “%s”; give a line from 1 to 1000.") % line, code="no_choice")


def forget_file(*, batch: ImportBatch) -> None:
    """Take back a file of which nothing was written and no job was asked for.

    Raises
    ------
    Refused
        If its rows are being written or were.
    """
    if batch.state != State.UNDERSTOOD or batch.job_id is not None:
        raise Refused(_("Rows of this file are in the book; it stays in the list as their source."), code="used")
    with transaction.atomic():
        batch.delete()
    batch.file.delete(save=False)


# --- running ----------------------------------------------------------------------------------------------------------
def start_import(*, batch: ImportBatch, by: Any, all_or_nothing: bool | None = None) -> Job:
    """Ask for the job that writes the rows. Asking twice gives the same job; one that was stopped goes on.

    What goes on stays all rows or none if it was; a file that was refused as a whole is then written without its bad
    rows, unless `all_or_nothing` is given.

    Raises
    ------
    Refused
        If something is still to be decided, or the file was written already.
    """
    batch.refresh_from_db()
    if batch.job is not None and batch.job.state in (Job.State.WAITING, Job.State.RUNNING):
        return batch.job
    if batch.state == State.DONE:
        raise Refused(_("This file was written already; nothing is left to do."), code="done")
    found = understand(batch)
    if not found.is_ready:
        raise Refused(" ".join([*found.problems, *(each.words for each in found.questions)]), code="undecided")
    with transaction.atomic():
        now = ImportBatch.objects.select_for_update(of=("self",)).select_related("job").get(pk=batch.pk)
        if now.job_id != batch.job_id and now.job is not None:
            faster: Job = now.job  # somebody else's
            return faster
        batch.options = settled(batch.options, found)
        if all_or_nothing is None:
            all_or_nothing = batch.all_or_nothing and batch.state != State.REFUSED
        if not batch.rows_done:
            batch.all_or_nothing = all_or_nothing
        written = ["options", "all_or_nothing", "state", "problem", "job"]
        if batch.state == State.REFUSED:  # tried as a whole before; those rows are looked at again
            batch.rejected_rows.all().delete()
            batch.n_refused = 0
            written.append("n_refused")
        batch.state, batch.problem = State.RUNNING, ""
        # Of two people who press the button at once both get this one job.
        batch.job = ask_for_job(
            "import",
            args={"batch": batch.pk},
            plant=batch.plant,
            by=by,
            key=f"import-{batch.pk}-{batch.job_id or 0}",
        )
        batch.save(update_fields=written)
    return batch.job


def settled(options: Mapping[str, Any], found: Understanding) -> dict[str, Any]:
    """The choices with everything that was told from the data, so that the job need not tell it again."""
    return {
        **TAKEN,
        **options,
        "heads": list(found.shape.columns),
        "encoding": found.shape.encoding,
        "delimiter": found.shape.delimiter,
        "sheet": found.shape.sheet,
        "header_line": found.shape.header_line,
        "columns": {each.column.name: each.head for each in found.matches},
        "units": dict(found.reading.units),
        "decimal": found.reading.decimal,
        "date_order": found.reading.date_order,
        "time_zone": found.reading.time_zone,
        "doubled": found.reading.doubled,
        "midnight": found.reading.midnight,
    }


def stop_import(*, batch: ImportBatch) -> None:
    """Stop at the next chunk. What was written stays; the file can go on later."""
    if batch.job is not None:
        stop_job(batch.job)


def same_file_before(batch: ImportBatch) -> list[ImportBatch]:
    """Earlier imports of the very same bytes, of which rows were or are being written; the latest first."""
    rows = ImportBatch.objects.filter(plant=batch.plant, subject=batch.subject, sha256=batch.sha256)
    begun = rows.exclude(pk=batch.pk).exclude(state__in=[State.UNDERSTOOD, State.REFUSED])
    return list(begun.select_related("created_by").order_by("-created_at"))


def is_repeat(batch: ImportBatch, found: Understanding) -> bool:
    """Whether the same file was written with the same choices before."""
    choices = settled(batch.options, found)
    done = (each for each in same_file_before(batch) if each.state == State.DONE)
    return any({**TAKEN, **each.options} == choices for each in done)


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
    if batch.state == State.REFUSED:
        words = ngettext(
            "Import of %(file)s: nothing was written, %(refused)s row is wrong and all rows or none were asked for.",
            "Import of %(file)s: nothing was written, %(refused)s rows are wrong and all rows or none were asked for.",
            batch.n_refused,
        )
        return words % known
    counts = _("%(written)s written, %(changed)s changed, %(unchanged)s already known, %(refused)s refused") % known
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


def rows_of(batch: ImportBatch, found: Understanding, limits: Limits | None = None) -> Iterator[SourceRow]:
    """All rows of the file; by the limits of a job unless others are given."""
    with opened(batch) as file:
        try:
            yield from read_rows(file, found.shape, limits or limits_in_a_job())
        except NotATable as problem:
            raise Refused(str(problem), code="no_table") from problem


def in_chunks(rows: Iterator[Any], size: int) -> Iterator[list[Any]]:
    while chunk := list(islice(rows, size)):
        yield chunk


def keyed_chunks(
    batch: ImportBatch, subject: ImportSubject, context: ImportContext, found: Understanding
) -> Iterator[list[KeyedRow]]:
    """The rows of the file as read, a chunk at a time; equal rows are counted from the top of the file."""
    yield from keyed_rows(rows_of(batch, found), subject, context, found)


def keyed_rows(
    rows: Iterable[SourceRow], subject: ImportSubject, context: ImportContext, found: Understanding
) -> Iterator[list[KeyedRow]]:
    seen = RowsSeen()
    for chunk in in_chunks(iter(rows), CHUNK):
        yield [with_key(prepare(row, found, subject, context), subject, context, seen) for row in chunk]


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


class RowsSeen:
    """The rows of a file so far: equal rows are told from further events of the same belt, moment and place."""

    def __init__(self) -> None:
        # By hash, as a file has many rows: how many different ones share a key; and of each row that was seen its
        # place among those, its line, and how often it came.
        self.n_different: dict[int, int] = {}
        self.known: dict[int, tuple[int, int, int]] = {}

    def add(self, row: PreparedRow) -> tuple[int, int, int]:
        """Place among the different rows of its key, line of the first equal row, and how many equal ones came."""
        key, content = hash(row.natural_key), hash((row.natural_key, row.content))
        place, line, n = self.known.get(content) or (self.n_different.get(key, 0), row.source.line_number, 0)
        if n == 0:
            self.n_different[key] = place + 1
        self.known[content] = (place, line, n + 1)
        return place, line, n


def with_key(row: PreparedRow, subject: ImportSubject, context: ImportContext, seen: RowsSeen) -> KeyedRow:
    """A row with its key. Rows equal in all they say count once, unless a person said that each is an event."""
    if row.problems:
        return KeyedRow(row)
    if not subject.repeats_are_real:
        return KeyedRow(row, row_key(subject, context.plant, row.natural_key, 0))
    place, line, n = seen.add(row)
    if n and not context.equal_are_events:
        return KeyedRow(row, equal_to_line=line)
    return KeyedRow(row, row_key(subject, context.plant, row.natural_key, place, n), n_equal_above=n)


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
    if is_unchanged(subject, context, each.row.values, each.key):
        return UNCHANGED
    context.line_number, context.n_equal_above = each.row.source.line_number, each.n_equal_above
    return write_one(subject, context, each.row.values, each.key)


def is_unchanged(subject: ImportSubject, context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> bool:
    """Whether the book has the row just so, told without a query; what cannot be told is left to the writer."""
    known = context.known_entries.get(key)
    if known is None or subject.stored is None:
        return False
    try:
        return not differing(known, subject.stored(context, values))
    except Refused:
        return False


def write_new(subject: ImportSubject, context: ImportContext, keyed: list[KeyedRow]) -> set[uuid.UUID]:
    """Write the new rows of a chunk many at a time, where the subject can; the keys of those that were taken."""
    if subject.write_many is None or subject.entry_model is None:
        return set()
    known = context.known_entries.keys() | context.by_hand.keys()
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
    context.known_entries, context.by_hand = {}, {}
    keyed = [(each.row, each.key) for each in rows_at_hand if each.key]
    if subject.entry_model is None or not keyed:
        return
    rows: Any = subject.entry_model._default_manager.select_related(subject.key_fields[0])
    context.known_entries = {each.client_key: each for each in rows.filter(client_key__in=[key for _row, key in keyed])}
    keyed = [(row, key) for row, key in keyed if key not in context.known_entries]
    if not keyed:
        return
    # All subjects with entries are keyed by a belt and a moment first.
    belt, moment = subject.key_fields[:2]
    alike: dict[str, list[Any]] = {}
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
    context.by_hand = {key: alike[row.natural_key] for row, key in keyed if row.natural_key in alike}


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
        return problems_of(refused_by(error))
    except Refused as refusal:
        context.forget()
        return problems_of(refusal)
    if subject.entry_model and outcome != UNCHANGED and key not in context.known_entries:
        # The same row may come again in this chunk.
        row = subject.entry_model._default_manager.filter(client_key=key).first()
        if row is not None:
            context.known_entries[key] = row
    return outcome


DOUBTFUL = "doubtful"  # a person who insists may have it written as it is


def problems_of(refusal: Refused) -> list[dict[str, str]]:
    if len(refusal.fields) == 1:
        # The message is the whole sentence; the words at the field may be a short form of it.
        problem = {"field": next(iter(refusal.fields)), "reason": refusal.message}
        return [{**problem, "code": DOUBTFUL} if refusal.code == DOUBTFUL else problem]
    return [{"field": name, "reason": words} for name, words in refusal.fields.items()] or [
        {"field": "", "reason": refusal.message}
    ]


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


# --- refused rows -----------------------------------------------------------------------------------------------------
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
        source = SourceRow(row.line_number, tuple(texts.get(head, "") for head in found.shape.columns))
        prepared = prepare(source, found, subject, context)
        outcome: Outcome = prepared.problems
        if not prepared.problems:
            seen = rows_written(batch, found, subject, prepared)
            outcome = write_retried(row, batch, subject, context, with_key(prepared, subject, context, seen), texts)
    if isinstance(outcome, str):
        return outcome
    RejectedRow.objects.filter(pk=row.pk, state__in=MENDABLE).update(values=texts, problems=outcome)
    row.values, row.problems = texts, outcome
    fields = {each["field"]: each["reason"] for each in outcome if each["field"]}
    raise Refused(" ".join(each["reason"] for each in outcome), code="still_wrong", fields=fields)


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
                "This file was to be written as a whole, so no row of it is written alone. Mend the file and send it "
                "again, or write the good rows and keep the others for correction."
            )
        )
    if row.state == RejectedRow.State.DROPPED:
        raise Refused(_("This row was left out on purpose. Send it again in a file if it is needed after all."))


def rows_written(batch: ImportBatch, found: Understanding, subject: ImportSubject, row: PreparedRow) -> RowsSeen:
    """The rows of the file with this row's key that are written, so that each keeps a key of its own."""
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
        for each in rows_of(batch, found, limits_on_a_page())
        if each.line_number not in kept and prepare(each, only_key, subject, context).natural_key == row.natural_key
    ]
    for mended in batch.rejected_rows.written():
        cells = tuple(mended.values.get(head, "") for head in found.shape.columns)
        others.append(SourceRow(mended.line_number, cells))
    for each in others:
        other = prepare(each, found, subject, context)
        if not other.problems and other.natural_key == row.natural_key:
            seen.add(other)
    return seen


def drop_row(*, row: RejectedRow) -> bool:
    """Leave a refused row out on purpose. It stays visible and counted as refused."""
    return bool(
        RejectedRow.objects.filter(pk=row.pk, state=RejectedRow.State.OPEN).update(state=RejectedRow.State.DROPPED)
    )


REASONS, LINE = "reasons", "line in the first file"


def rejected_as_csv(batch: ImportBatch) -> Iterator[str]:
    """The open refused rows as a file that can be mended and sent again: the same columns, and the reasons."""
    rows = batch.rejected_rows.open()
    # The order of the file; a data base does not keep the order of a row's cells.
    heads: list[str] = list(batch.options.get("heads", []))
    for row in rows:
        heads += [head for head in row.values if head not in heads]
    delimiter = ";" if batch.options.get("decimal") == "comma" else ","
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=delimiter)

    def line(cells: list[Any]) -> str:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow(cells)
        return buffer.getvalue()

    yield "\ufeff" + line([*heads, REASONS, LINE])  # the mark tells spreadsheet programs that it is UTF-8
    for row in rows:
        reasons = " ".join(each["reason"] for each in row.problems)
        cells = [import_files.guarded(row.values.get(head, "")) for head in heads]
        yield line([*cells, import_files.guarded(reasons), row.line_number])
