"""The import desk: take a file in, keep what was chosen about it, start and stop the job that writes its rows."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Collection, Mapping
from typing import Any, BinaryIO
from zoneinfo import available_timezones

from django.conf import settings
from django.core.files import File
from django.db import transaction
from django.utils.translation import gettext as _

from plant.calc import import_texts
from plant.calc.import_files import count_rows, understand_file
from plant.calc.import_limits import ImportLimits, NotATable
from plant.calc.import_rows import FileShape
from plant.calc.own_words import about_heads
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import ImportBatch, Job, Plant
from plant.selectors.own_words import own_words_of
from plant.services.import_subjects.shape import ImportSubject, subject_of
from plant.services.import_understanding import (
    Understanding,
    known_names,
    limits_on_a_page,
    match_fields,
    opened,
    raw,
    understand,
)
from plant.services.jobs import ask_for_job, stop_job
from plant.services.own_words import say_columns
from plant.words.imports import no_table

State = ImportBatch.State
GOING = (State.TAKING_BACK, State.TAKEN_BACK)


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
    limits: ImportLimits | None = None,
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
        shape = understand_file(content, known_names(found, own_heads(plant, found)), limits=limits)
        n_rows = count_rows(content, shape, limits)
    except NotATable as problem:
        raise no_table(problem, ["file"]) from problem
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
        options={**first_options(by), **manner_of(plant, found, shape), **(options or {})},
        n_rows=n_rows,
    )
    batch.file.save(file_name, File(content), save=False)
    with transaction.atomic():
        batch.save()
    return batch


def first_options(by: Any) -> dict[str, Any]:
    """What is taken of whoever sends a file: the units in which they read and type."""
    return {"system": str(getattr(by, "unit_system", "") or UnitSystem.METRIC)}


# What a file with the same columns is read by again: how it is written, not what becomes of rows that the book has.
MANNER = ("decimal", "date_order", "time_zone", "doubled", "system", "equal", "midnight", "columns", "units")


def manner_of(plant: Plant, subject: ImportSubject, shape: FileShape) -> dict[str, Any]:
    """The choices by which the latest file with the very same columns was read, and which file that was."""
    written = ImportBatch.objects.of_plant(plant).filter(subject=subject.name, state=State.DONE)
    for before in written.order_by("-created_at")[:LOOKED_BACK]:
        if before.options.get("heads") == list(shape.columns):
            return {
                **{name: before.options[name] for name in MANNER if name in before.options},
                "as_read": str(before.client_key),
            }
    return {}


LOOKED_BACK = 100  # files of one kind among which the same columns are looked for


def read_anew(*, batch: ImportBatch, by: Any) -> ImportBatch:
    """Forget every choice about a file of which nothing is written yet, those taken from an earlier file among them.

    Raises
    ------
    Refused
        If it is being written or done.
    """
    options = first_options(by)
    if not ImportBatch.objects.filter(pk=batch.pk, state=State.UNDERSTOOD, rows_done=0).update(options=options):
        raise Refused(_("This file is being written or done; its choices are settled. Send it again to choose anew."))
    batch.options = options
    return batch


def is_nothing_written(batch: ImportBatch) -> bool:
    """Whether a file is over and none of its rows is in the book by it."""
    return (
        batch.state in (State.DONE, State.REFUSED)
        and not batch.n_written + batch.n_changed
        and not batch.rejected_rows.written().exists()
    )


def open_again(*, batch: ImportBatch) -> ImportBatch:
    """Let a file of which no row was written be read by other choices, as if it had just been sent.

    Raises
    ------
    Refused
        If rows of it are in the book, or it is no longer kept.
    """
    if not is_nothing_written(batch):
        raise Refused(
            _("Rows of this file are in the book. Take it back, or send it again, to choose anew."), code="used"
        )
    with opened(batch):
        pass
    with transaction.atomic():
        held = ImportBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
        if not is_nothing_written(held):
            raise Refused(_("Somebody else went on with this file meanwhile."), code="started")
        held.rejected_rows.all().delete()
        held.state, held.problem, held.rows_done = State.UNDERSTOOD, "", 0
        held.n_unchanged = held.n_repeated = held.n_refused = 0
        held.save(update_fields=["state", "job", "problem", "rows_done", "n_unchanged", "n_repeated", "n_refused"])
    return held


def own_heads(plant: Plant, subject: ImportSubject) -> Mapping[str, str]:
    """The plant's own names of columns for this kind of rows, by key: the fields that they fill."""
    about = about_heads(subject.name)
    return own_words_of(plant, [about]).get(about, {})


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
                raise no_table(problem) from problem
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
        "encoding": {*import_texts.ENCODINGS, "utf-8-sig", "utf-16-le", "utf-16-be", "latin-1"},
        "delimiter": import_texts.DELIMITERS,
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
    """Take back a file of which nothing is written, nor is to be.

    Raises
    ------
    Refused
        If its rows are being written or were.
    """
    batch.refresh_from_db()
    if batch.state != State.UNDERSTOOD:
        raise Refused(_("Rows of this file are in the book; it stays in the list as their source."), code="used")
    with transaction.atomic():
        batch.delete()
    batch.file.delete(save=False)


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
    check_not_going(batch)
    found = understand(batch)
    if not found.is_ready:
        raise Refused(" ".join([*found.problems, *(each.words for each in found.questions)]), code="undecided")
    with transaction.atomic():
        now = ImportBatch.objects.select_for_update(of=("self",)).select_related("job").get(pk=batch.pk)
        if now.job_id != batch.job_id and now.job is not None:
            faster: Job = now.job  # somebody else's
            return faster
        check_not_going(now)
        say_columns(plant=batch.plant, by=by, subject=subject_of(batch.subject), heads=chosen_heads(batch, found))
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


def check_not_going(batch: ImportBatch) -> None:
    """Raises Refused where a file was taken back, or somebody began to."""
    if batch.state in GOING:
        words = _("This file was taken back, or is half taken back. Send it again if its rows are right after all.")
        raise Refused(words, code="taken_back")


def chosen_heads(batch: ImportBatch, found: Understanding) -> list[tuple[str, str]]:
    """Columns that a person gave another field than their name tells, so that the next file is read so at once."""
    subject = subject_of(batch.subject)
    told, _doubts = match_fields(subject, found.shape, {}, own_heads(batch.plant, subject))
    by_name = {each.head: each.column.name for each in told if each.head}
    chosen = {each.head: each.column.name for each in found.matched()}
    return [
        (head, chosen.get(head, "")) for head in found.shape.columns if chosen.get(head, "") != by_name.get(head, "")
    ]


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
    choices = without_source(settled(batch.options, found))
    done = (each for each in same_file_before(batch) if each.state == State.DONE)
    return any({**TAKEN, **without_source(each.options)} == choices for each in done)


def without_source(options: Mapping[str, Any]) -> dict[str, Any]:
    """The choices, wherever they were taken from."""
    return {name: value for name, value in options.items() if name != "as_read"}
