"""The rows of a file as read: their values, their problems, and the key that tells one from another."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

from plant.calc import import_rows
from plant.calc.import_cells import read_cell
from plant.calc.import_columns import ColumnKind
from plant.calc.import_dates import is_time_known
from plant.calc.import_rows import SourceRow
from plant.calc.reasons import NotAccepted
from plant.errors import Refused
from plant.models import Conveyor, ImportBatch, Plant
from plant.services.import_subjects.shape import (
    ImportContext,
    ImportSubject,
)
from plant.services.import_understanding import Understanding, rows_of, with_clock
from plant.words.imports import import_words

CHUNK = 200
KEY_SPACE = uuid.UUID("6f1d4c2e-3b0a-5d53-9a52-6b1e0c9f7a11")


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


def prepare(row: SourceRow, found: Understanding, subject: ImportSubject, context: ImportContext) -> PreparedRow:
    """Read the cells of one row. Nothing is written; every problem of the row is found, not only the first."""
    if row.problem:
        return PreparedRow(row, {}, [{"field": "", "reason": import_words(row.problem)}])
    values: dict[str, Any] = {}
    problems: list[dict[str, str]] = []
    at = {each.column.name: found.shape.columns.index(each.head) for each in found.matched()}
    clock_columns = set(subject.times_of.values())
    for name in at:
        if name in clock_columns:
            continue
        try:
            values |= values_of_cell(name, row, at, found, subject, context)
        except NotAccepted as problem:
            problems.append({"field": name, "reason": import_words(problem.reason)})
        except Refused as refusal:
            problems.append({"field": name, "reason": refusal.message})
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


def values_of_cell(
    name: str,
    row: SourceRow,
    at: Mapping[str, int],
    found: Understanding,
    subject: ImportSubject,
    context: ImportContext,
) -> dict[str, Any]:
    """What the cell of one column says, and whether it gave the time of day where the subject asks.

    Raises
    ------
    NotAccepted, Refused
        If it cannot be read, or names what the plant does not have.
    """
    column = subject.column(name)
    if not subject.is_needed(column):
        column = replace(column, required=False)
    broken = dict(row.cell_problems)
    if at[name] in broken:
        raise NotAccepted(broken[at[name]])
    cell = with_clock(row.cells[at[name]], row, at.get(subject.times_of.get(name, "")))
    value = read_cell(cell, column, found.reading)
    values: dict[str, Any] = {}
    if column.time_flag and value is not None:
        values[column.time_flag] = is_time_known(cell, found.reading)
    if column.kind is ColumnKind.CONVEYOR and value is not None:
        value = context.conveyor(value)
    values[name] = value
    return values


def content_of(row: SourceRow, values: Mapping[str, Any], used: Container[int]) -> str:
    said = [f"{name}={value.pk if isinstance(value, Conveyor) else value}" for name, value in values.items()]
    said += [import_rows.cell_text(cell) for place, cell in enumerate(row.cells) if place not in used]
    return "\x1f".join(said)


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
