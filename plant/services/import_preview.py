"""What a sent file would do to the book, shown before anything is written.

The first rows are written as the job would write them, through the same services, in a transaction that is taken back:
so the preview refuses what writing refuses. Where something is still to be decided only the cells are read.
"""

from __future__ import annotations

import datetime as dt
import logging
import time
from collections import Counter
from collections.abc import Container, Iterator
from dataclasses import dataclass, field, replace
from typing import Any
from zoneinfo import ZoneInfo

from django.db import DatabaseError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.calc.import_columns import ColumnKind
from plant.calc.units import format_quantity
from plant.models import ImportBatch
from plant.services.book_faults import book_fault
from plant.services.import_rows import KeyedRow, PreparedRow, keyed_rows
from plant.services.import_subjects.shape import (
    CHANGED,
    REPEATED,
    UNCHANGED,
    WRITTEN,
    ImportContext,
    ImportSubject,
    subject_of,
)
from plant.services.import_understanding import DATED, NUMBERED, Understanding, understand
from plant.services.import_writing import Outcome, context_of, equal_words, outcomes_of
from plant.services.imports import same_file_before
from plant.words.moments import day_of
from plant.words.storage import BookFault, not_held_against_the_book

log = logging.getLogger(__name__)

SAMPLE_ROWS = 10
LINES_NAMED = 8
# Where one data base file holds the book, others wait while rows are tried out: no longer than this, after one chunk.
TRIED_FOR_S = 2.0


@dataclass(frozen=True)
class TriedRow:
    """A row of the file as it would be written, and what would become of it."""

    line_number: int
    shown: dict[str, str]  # label of the field -> text
    outcome: str  # one of plant.services.import_writing.OUTCOMES; empty where it was not tried
    problems: tuple[dict[str, str], ...] = ()


@dataclass(frozen=True)
class WhyRefused:
    """One reason with all rows that would be refused for it."""

    label: str  # of the field; empty where it is about the row
    words: str
    url: str
    lines: tuple[int, ...]

    @property
    def lines_words(self) -> str:
        words = ngettext("Line %(lines)s:", "%(n)s rows, lines %(lines)s:", len(self.lines))
        return words % {"n": len(self.lines), "lines": lines_words(list(self.lines))}


@dataclass(frozen=True)
class SentBefore:
    """The same file, imported earlier."""

    batch: ImportBatch
    words: str


@dataclass(frozen=True)
class Preview:
    """How a file is read, and what became of its first rows when they were tried out."""

    found: Understanding
    notes: tuple[str, ...] = ()
    samples: tuple[TriedRow, ...] = ()
    wrong: tuple[TriedRow, ...] = ()
    tally: Counter[str] = field(default_factory=Counter)
    n_tried: int = 0
    sent_before: SentBefore | None = None

    @property
    def n_wrong(self) -> int:
        return self.tally["refused"]

    @property
    def is_ready(self) -> bool:
        return self.found.is_ready

    def reasons(self) -> list[WhyRefused]:
        """Why rows would be refused, the reason of most rows on top: a thousand rows may lack one word."""
        lines: dict[tuple[str, str, str], list[int]] = {}
        for row in self.wrong:
            for each in row.problems:
                reason = (each.get("label", ""), each["reason"], each.get("url", ""))
                lines.setdefault(reason, []).append(row.line_number)
        found = [WhyRefused(*reason, tuple(dict.fromkeys(those))) for reason, those in lines.items()]
        return sorted(found, key=lambda each: (-len(each.lines), each.lines[0]))


class TakenBack(Exception):
    """Ends a trial: nothing of it stays."""


def preview_of(batch: ImportBatch) -> Preview:
    """How the file is read under the choices made so far, with its first rows tried out.

    Raises
    ------
    Refused
        If the file cannot be read as a table under these choices.
    """
    found = understand(batch)
    subject = subject_of(batch.subject)
    if found.problems:
        return Preview(found, found.notes)
    with timezone.override(batch.plant.zone):
        tried, note = try_out(batch, subject, found)
        preview = told(subject, found, tried)
        notes = (*preview.notes, *([note] if note else []), *same_moment_notes(batch, subject, tried))
        return replace(preview, notes=notes, sent_before=sent_before(batch, preview, tried))


Tried = list[tuple[KeyedRow, Outcome]]


def try_out(batch: ImportBatch, subject: ImportSubject, found: Understanding) -> tuple[Tried, str]:
    """Each row with what would become of it, and a word where the rows could not be written for trial."""
    tried: Tried = []
    if found.is_ready:
        try:
            with transaction.atomic():
                tried.extend(written_for_trial(batch, subject, found))
                raise TakenBack
        except TakenBack:
            return tried, ""
        except DatabaseError as error:
            fault = book_fault(error)
            if fault is None:
                raise
            if fault != BookFault.BUSY:
                log.exception("import %s: the rows could not be tried out (%s)", batch.pk, fault)
            tried.clear()
            note = not_held_against_the_book(fault)
    else:
        note = ""
    for keyed in keyed_rows(found.first_rows, subject, ImportContext(plant=batch.plant, by=None), found):
        tried += [(each, each.row.problems or (REPEATED if each.equal_to_line else "")) for each in keyed]
    return tried, note


def written_for_trial(
    batch: ImportBatch, subject: ImportSubject, found: Understanding
) -> Iterator[tuple[KeyedRow, Outcome]]:
    context = context_of(batch, found)
    until = time.monotonic() + TRIED_FOR_S
    for keyed in keyed_rows(found.first_rows, subject, context, found):
        yield from zip(keyed, outcomes_of(subject, context, keyed), strict=True)
        if time.monotonic() > until:
            return


# --- told -------------------------------------------------------------------------------------------------------------
def told(subject: ImportSubject, found: Understanding, tried: Tried) -> Preview:
    tally: Counter[str] = Counter()
    samples: list[TriedRow] = []
    wrong: list[TriedRow] = []
    clocks = set(subject.times_of.values())
    labels = {column.name: str(column.label) for column in subject.columns}
    for each, outcome in tried:
        name, problems = (outcome, []) if isinstance(outcome, str) else ("refused", outcome)
        problems = [{**one, "label": labels.get(one["field"], "")} for one in problems]
        tally[name] += 1
        if name != "refused" and len(samples) >= SAMPLE_ROWS:
            continue
        if name == REPEATED:
            problems = [equal_words(each.equal_to_line)]
        line, shown = each.row.source.line_number, shown_values(found, each.row, clocks)
        row = TriedRow(line, shown, name, tuple(problems))
        if len(samples) < SAMPLE_ROWS:
            samples.append(row)
        if name == "refused":
            wrong.append(row)
    notes = (*found.notes, *equal_notes(tried), *midnight_notes(subject, found, tried))
    return Preview(found, notes, tuple(samples), tuple(wrong), tally, len(tried))


def lines_words(lines: list[int]) -> str:
    named = ", ".join(map(str, lines[:LINES_NAMED]))
    return (
        _("%(lines)s and %(more)s more") % {"lines": named, "more": len(lines) - LINES_NAMED}
        if (len(lines) > LINES_NAMED)
        else named
    )


def equal_notes(tried: Tried) -> Iterator[str]:
    """What stands there twice: counted once, or as two, so that nobody finds it out later."""
    once = [each.row.source.line_number for each, _outcome in tried if each.equal_to_line]
    if once:
        yield ngettext(
            "Line %(lines)s is equal to a row above it in every cell and is not counted again. "
            "If it is an event of its own, say so under “equal rows of the file”.",
            "Lines %(lines)s are equal to rows above them in every cell and are not counted again. "
            "If each is an event of its own, say so under “equal rows of the file”.",
            len(once),
        ) % {"lines": lines_words(once)}
    each_own = [each.row.source.line_number for each, _outcome in tried if each.n_equal_above]
    if each_own:
        yield ngettext(
            "Line %(lines)s is equal to a row above it in every cell and is written as an event of its own, as chosen.",
            "Lines %(lines)s are equal to rows above them in every cell and are written as events of their own, as "
            "chosen.",
            len(each_own),
        ) % {"lines": lines_words(each_own)}


def same_moment_notes(batch: ImportBatch, subject: ImportSubject, tried: Tried) -> Iterator[str]:
    """New rows of a belt and a minute that the book has already: an earlier file may have brought them with less."""
    if not (subject.repeats_are_real and subject.entry_model):
        return
    belt, moment = subject.key_fields[:2]
    # 00:00 stands where a log keeps the day alone, and one day holds many events.
    new = [
        each.row
        for each, outcome in tried
        if outcome == WRITTEN and each.row.values[moment].astimezone(batch.plant.zone).time() != dt.time()
    ]
    if not new:
        return
    # A belt of the rows is one of this plant.
    at = {f"{belt}__in": {each.values[belt].pk for each in new}, f"{moment}__in": {each.values[moment] for each in new}}
    rows: Any = subject.entry_model._default_manager
    known = set(rows.filter(corrected_by__isnull=True, is_withdrawn=False, **at).values_list(belt, moment))
    lines = [each.source.line_number for each in new if (each.values[belt].pk, each.values[moment]) in known]
    if lines:
        yield ngettext(
            "Line %(lines)s would be new, but the book has a row of the same belt and minute that differs in strand or "
            "chainage. If both tell of one event, it would be counted twice: correct the row in the book instead.",
            "Lines %(lines)s would be new, but the book has rows of the same belt and minute that differ in strand or "
            "chainage. If two tell of one event, it would be counted twice: correct the rows in the book instead.",
            len(lines),
        ) % {"lines": lines_words(lines)}


def midnight_notes(subject: ImportSubject, found: Understanding, tried: Tried) -> Iterator[str]:
    flags = [each.column.time_flag for each in found.matched() if each.column.time_flag]
    if flags:
        n = sum(any(each.row.values.get(name) is False for name in flags) for each, _outcome in tried)
        if n:
            words = _(
                "%(n)s of the %(rows)s rows tried out have no time of day: their day is kept and that the time is not "
                "known. If 00:00 is meant, say so under “a time of 00:00”."
            )
            yield words % {"n": n, "rows": len(tried)}
        return
    zone = ZoneInfo(found.reading.time_zone)
    n = 0
    for each, _outcome in tried:
        moments = [each.row.values.get(name) for name in subject.times_of]
        n += any(moment is not None and moment.astimezone(zone).time() == dt.time() for moment in moments)
    if n:
        words = _(
            "%(n)s of the %(rows)s rows tried out stand at 00:00. Where a date has no time of day, midnight is taken."
        )
        yield words % {"n": n, "rows": len(tried)}


def shown_values(found: Understanding, prepared: PreparedRow, left_out: Container[str]) -> dict[str, str]:
    """The values as they would be written, in the units of the person and the clock of the plant, by field's label."""
    shown = {}
    asked = {each.option for each in found.questions}
    for each in found.matched():
        column, value = each.column, prepared.values.get(each.column.name)
        if column.name in left_out:
            continue
        if value is None:
            text = ""
        elif (column.kind in DATED and "date_order" in asked) or (column.kind in NUMBERED and "decimal" in asked):
            text = _("to be decided")
        elif column.kind is ColumnKind.QUANTITY:
            text = format_quantity(value, column.quantity, found.reading.system)
        elif column.time_flag and prepared.values.get(column.time_flag) is False:
            text = _("%(day)s, time not known") % {"day": timezone.localtime(value).date().isoformat()}
        elif column.kind is ColumnKind.MOMENT:
            text = timezone.localtime(value).strftime("%Y-%m-%d %H:%M %Z")
        elif isinstance(value, bool):
            text = _("yes") if value else _("no")
        else:
            text = str(value)
        shown[str(column.label)] = text
    return shown


# --- a file that was sent before --------------------------------------------------------------------------------------
def sent_before(batch: ImportBatch, preview: Preview, tried: Tried) -> SentBefore | None:
    """That this very file was imported before, and which of its rows differ from the book all the same."""
    earlier = same_file_before(batch)
    if not earlier:
        return None
    is_done = [each for each in earlier if each.state == ImportBatch.State.DONE]
    before = (is_done or earlier)[0]
    told = _("This file was imported on %(day)s by %(who)s.")
    if not is_done:
        told = _("An import of this file was begun on %(day)s by %(who)s and has not come to its end.")
    words = told % {
        "day": day_of(before.created_at),
        "who": before.created_by or _("a job"),
    }
    if preview.is_ready and not preview.tally[""]:
        words += " " + again_words(batch, preview, tried)
    return SentBefore(before, words)


def again_words(batch: ImportBatch, preview: Preview, tried: Tried) -> str:
    lines = [each.row.source.line_number for each, outcome in tried if outcome not in (UNCHANGED, REPEATED)]
    if not lines and preview.n_tried >= batch.n_rows:
        return _("Importing it again changes nothing.")
    if not lines:
        return _("Importing it again changes nothing in the first %(n)s rows.") % {"n": preview.n_tried}
    known = {
        "lines": lines_words(lines),
        "n": len(lines),
        "written": preview.tally[WRITTEN],
        "changed": preview.tally[CHANGED],
        "refused": preview.n_wrong,
    }
    return (
        ngettext(
            "%(n)s row differs from what the book has now (line %(lines)s): %(written)s would be written, %(changed)s "
            "changed, %(refused)s refused.",
            "%(n)s rows differ from what the book has now (lines %(lines)s): %(written)s would be written, %(changed)s "
            "changed, %(refused)s refused.",
            len(lines),
        )
        % known
    )
