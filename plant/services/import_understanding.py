"""What the import desk makes of a file: its shape, the column of each field, conventions, what is to be decided."""

from __future__ import annotations

import time
from collections.abc import Container, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any, BinaryIO

from django.conf import settings
from django.core.files import File
from django.utils.translation import gettext as _

from plant.calc import import_rows
from plant.calc.import_columns import (
    Column,
    ColumnKind,
    FileReading,
    default_unit,
    is_unit_of,
    match_columns,
    names_of,
    plain_name,
)
from plant.calc.import_conventions import decide_date_order, decide_decimal, decide_midnight
from plant.calc.import_files import read_rows, understand_file
from plant.calc.import_limits import ImportLimits, NotATable
from plant.calc.import_rows import Cell, FileShape, SourceRow
from plant.calc.own_words import WORDED, FoundWord, about_heads, about_of, head_key, words_in
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import ImportBatch, Plant
from plant.selectors.own_words import own_words_of, tags_of
from plant.services.import_subjects.shape import (
    ImportSubject,
    subject_of,
)
from plant.words.imports import import_words, no_table

LOOKED_AT_ROWS = 2000  # rows that may be tried before anything is written
DECIDED_FROM_ROWS = {False: 20_000, True: 5_000}  # rows that tell date order and decimal mark; workbooks read slowly
NUMBERED = (ColumnKind.QUANTITY, ColumnKind.COUNT)
DATED = (ColumnKind.MOMENT, ColumnKind.DAY)


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
    reading: FileReading = field(default_factory=FileReading)
    questions: tuple[Question, ...] = ()
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    first_rows: tuple[SourceRow, ...] = field(default=(), repr=False)
    # Words in columns of choices and tags, of the rows that were looked at.
    words: tuple[FoundWord, ...] = field(default=(), repr=False)

    @property
    def is_ready(self) -> bool:
        return not self.questions and not self.problems

    def matched(self) -> list[FieldMatch]:
        return [each for each in self.matches if each.head]

    def unknown_words(self) -> list[FoundWord]:
        return [each for each in self.words if each.means is None]

    def unused_heads(self) -> list[str]:
        used = {each.head for each in self.matches}
        return [head for head in self.shape.columns if head not in used]


def known_names(subject: ImportSubject, own: Container[str] = ()) -> Any:
    """Whether a cell is the name of one of the subject's columns, or one that the plant uses."""
    names = set().union(*(names_of(column) for column in subject.columns))
    return lambda text: plain_name(import_rows.split_head(text)[0]) in names or head_key(text) in own


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


def limits_on_a_page() -> ImportLimits:
    """How much is read while somebody waits for the page: from now on, so many seconds."""
    until = time.monotonic() + settings.LARGEST_IMPORT_SECONDS
    return replace(
        limits_in_a_job(), seconds=settings.LARGEST_IMPORT_SECONDS, is_late=lambda: time.monotonic() >= until
    )


def limits_in_a_job() -> ImportLimits:
    """How much is read where nobody waits."""
    return ImportLimits(rows=settings.LARGEST_IMPORT_ROWS, unpacked_mb=settings.LARGEST_IMPORT_UNPACKED_MB)


def understand(batch: ImportBatch, limits: ImportLimits | None = None) -> Understanding:
    """What the desk makes of the file under the choices made so far; by the limits of a page unless others are given.

    Raises
    ------
    Refused
        If the file cannot be read as a table under these choices, or holds more than is read.
    """
    subject = subject_of(batch.subject)
    limits = limits or limits_on_a_page()
    own = own_words_of(batch.plant, abouts_of(subject))
    own_heads = own.get(about_heads(subject.name), {})
    with opened(batch) as file:
        try:
            shape = understand_file(file, known_names(subject, own_heads), shape_of(batch), limits)
            first = list(islice(read_rows(file, shape, limits), DECIDED_FROM_ROWS[batch.is_workbook]))
        except NotATable as problem:
            raise no_table(problem) from problem
    matches, doubts = match_fields(subject, shape, batch.options, own_heads)
    reading, questions = read_conventions(subject, shape, matches, first, batch)
    reading = replace(reading, words=own_of_fields(subject, own))
    problems = [import_words(each) for each in doubts.values()]
    absent = [each.column for each in matches if each.column.required and not each.head]
    missing = [column.label for column in absent if subject.is_needed(column)]
    notes = tuple(import_words(each) for each in shape.notes)
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
    worded = words_of(batch.plant, shape, matches, first, reading)
    return Understanding(shape, tuple(matches), reading, tuple(questions), tuple(problems), notes, tried, worded)


def abouts_of(subject: ImportSubject) -> list[str]:
    """Where the plant's own words are kept that a file of this kind may hold."""
    worded = [about_of(subject.name, column) for column in subject.columns if column.kind in WORDED]
    return [about_heads(subject.name), *worded]


def own_of_fields(subject: ImportSubject, own: Mapping[str, Mapping[str, str]]) -> dict[str, Mapping[str, str]]:
    """The plant's own words by field."""
    by_field = {column.name: own.get(about_of(subject.name, column), {}) for column in subject.columns}
    return {name: words for name, words in by_field.items() if words}


def words_of(
    plant: Plant, shape: FileShape, matches: Iterable[FieldMatch], rows: list[SourceRow], reading: FileReading
) -> tuple[FoundWord, ...]:
    """The words of the rows looked at, column by column."""
    worded = [each for each in matches if each.head and each.column.kind in WORDED]
    has_tags = any(each.column.kind is ColumnKind.CONVEYOR for each in worded)
    tags = tags_of(plant) if has_tags else {}
    found: list[FoundWord] = []
    for each in worded:
        place = shape.columns.index(each.head)
        cells = [row.cells[place] for row in rows if place < len(row.cells)]
        found += words_in(each.column, cells, reading.words.get(each.column.name, {}), tags)
    return tuple(found)


def match_fields(
    subject: ImportSubject, shape: FileShape, options: Mapping[str, Any], own: Mapping[str, str]
) -> tuple[list[FieldMatch], dict[str, Reason]]:
    """The column of each field: chosen by the person, else by the plant's own name for it, else by a common name."""
    chosen: Mapping[str, str] = options.get("columns", {})
    said = {head: own[head_key(head)] for head in shape.columns if head_key(head) in own}
    others = [head if head not in said else "" for head in shape.columns]
    told, stated, doubts = match_columns(others, subject.columns)
    by_plant = {name: head for head, name in said.items() if name}
    matches = []
    for column in subject.columns:
        head = chosen.get(column.name)
        if head is None or (head and head not in shape.columns):
            head = by_plant.get(column.name) or (shape.columns[told[column.name]] if column.name in told else "")
            if column.name in by_plant:
                doubts.pop(column.name, None)
        else:
            doubts.pop(column.name, None)
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
) -> tuple[FileReading, list[Question]]:
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
                    yield import_rows.cell_text(with_clock(row.cells[place], row, clock))

    at = {each.column.name: shape.columns.index(each.head) for each in matched}
    midnight = decide_midnight(moments()).value
    may_be_days = any(each.column.time_flag for each in matched)
    if shape.is_workbook and may_be_days and not any(name in at for name in subject.times_of.values()):
        midnight = "day"  # a workbook keeps a date as the 00:00 of its day
    decimal = decide_decimal(texts(*NUMBERED))
    order = decide_date_order(texts(*DATED))
    questions = []
    for option, told in (("date_order", order), ("decimal", decimal)):
        if told.reason is not None and told.is_needed and not options.get(option):
            questions.append(Question(option, import_words(told.reason)))
    reading = FileReading(
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


def with_clock(cell: Cell, row: SourceRow, clock: int | None) -> Cell:
    """A date together with the time of day that stands in another column, unless the date has one already."""
    day = import_rows.cell_text(cell)
    of_day = import_rows.cell_text(row.cells[clock]) if clock is not None else ""
    return f"{day} {of_day}" if day and of_day and ":" not in day else cell


def rows_of(batch: ImportBatch, found: Understanding, limits: ImportLimits | None = None) -> Iterator[SourceRow]:
    """All rows of the file; by the limits of a job unless others are given."""
    with opened(batch) as file:
        try:
            yield from read_rows(file, found.shape, limits or limits_in_a_job())
        except NotATable as problem:
            raise no_table(problem) from problem
