"""Running hours from a file: spans and meter readings."""

from __future__ import annotations

import uuid
from functools import partial
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.import_columns import Column, ColumnKind
from plant.calc.units import QuantityKind
from plant.errors import Refused
from plant.models import (
    MeterReading,
    RunRecord,
)
from plant.services.import_subjects.shape import (
    TAG,
    ImportContext,
    ImportSubject,
    choices_of,
    given_values,
    quantity,
    register_import_subject,
    write_entry,
)
from plant.services.running_hours import (
    check_span,
    correct_meter_reading,
    correct_run,
    record_meter_reading,
    record_run,
    record_runs,
)


# --- running hours ----------------------------------------------------------------------------------------------------
def complete_span(values: dict[str, Any]) -> None:
    if not values.get("kind"):
        is_total = values.get("running_h") is not None
        values["kind"] = (RunRecord.Kind.TOTAL if is_total else RunRecord.Kind.RUNNING).value


def complete_reading(values: dict[str, Any]) -> None:
    values["event"] = values.get("event") or MeterReading.Event.NORMAL.value


def span_of(context: ImportContext, values: dict[str, Any]) -> dict[str, Any]:
    """The values of a span as they are stored; raises Refused where they cannot be."""
    values = given_values(context, values)
    hours = values.get("running_h")
    if values["kind"] == RunRecord.Kind.TOTAL and hours is None:
        words = _("The hours are empty. Write how long the belt ran, 0 if it stood still.")
        raise Refused(words, fields={"running_h": words})
    values["running_h"] = check_span(
        kind=values["kind"],
        starts_at=values["starts_at"],
        ends_at=values["ends_at"],
        running_h=hours or 0.0,
        now=context.now,
    )
    return values


def write_span(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    return write_entry(context, RunRecord, span_of(context, values), key, record_run, correct_run)


def write_spans(context: ImportContext, rows: list[tuple[dict[str, Any], uuid.UUID]]) -> None:
    spans = [{**span_of(context, values), "client_key": key, "import_batch": context.batch} for values, key in rows]
    record_runs(spans, by=context.by, now=context.now)


register_import_subject(
    ImportSubject(
        name="running_hours",
        label=gettext_lazy("Running hours: spans"),
        right="plant.add_runrecord",
        order=40,
        key_fields=("conveyor", "starts_at", "ends_at", "kind"),
        write_row=write_span,
        write_many=write_spans,
        stored=span_of,
        complete=complete_span,
        entry_model=RunRecord,
        help=gettext_lazy("From, to, and the hours run in between; without a column of hours it ran all the while."),
        columns=(
            TAG,
            Column(
                "starts_at",
                "from",
                ColumnKind.MOMENT,
                aliases=("from", "start", "begin", "started", "start time", "on"),
                required=True,
                example="2026-03-01 06:00",
            ),
            Column(
                "ends_at",
                "to",
                ColumnKind.MOMENT,
                aliases=("to", "end", "until", "stop", "stopped", "end time", "off"),
                required=True,
                example="2026-03-02 06:00",
            ),
            quantity(
                "running_h",
                "running hours",
                QuantityKind.HOURS,
                "hours",
                "run hours",
                "runtime",
                "total",
                example="21.5",
            ),
            Column(
                "kind",
                "kind",
                ColumnKind.CHOICE,
                choices=choices_of(RunRecord.Kind, running=("run", "on"), no_data=("unknown", "gap", "none")),
                example="total",
            ),
            Column("source", "source", longest=60, example="control system"),
        ),
    )
)


def write_reading(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    values = given_values(context, values)
    create = partial(record_meter_reading, keep_doubtful=context.keep_doubtful)
    correct = partial(correct_meter_reading, keep_doubtful=context.keep_doubtful)
    return write_entry(context, MeterReading, values, key, create, correct, only_if_chosen=True)


register_import_subject(
    ImportSubject(
        name="meter_readings",
        label=gettext_lazy("Running hours: meter readings"),
        right="plant.add_meterreading",
        order=41,
        key_fields=("conveyor", "read_at", "event"),
        write_row=write_reading,
        stored=given_values,
        complete=complete_reading,
        entry_model=MeterReading,
        may_correct_known=True,
        times_of={"read_at": "read_time"},
        help=gettext_lazy("What the hour meter showed; a replaced meter has a last reading and a first one."),
        columns=(
            TAG,
            Column(
                "read_at",
                "read at",
                ColumnKind.MOMENT,
                aliases=("read on", "date", "when", "time stamp", "timestamp", "datetime"),
                required=True,
                example="2026-03-01 06:00",
            ),
            Column("read_time", "time of day", ColumnKind.TIME_OF_DAY, aliases=("time", "clock"), example=""),
            quantity(
                "reading_h",
                "meter shows",
                QuantityKind.HOURS,
                "reading",
                "meter",
                "hour meter",
                "hours",
                "counter",
                required=True,
                example="10480.5",
            ),
            Column(
                "event",
                "what",
                ColumnKind.CHOICE,
                aliases=("event",),
                choices=choices_of(
                    MeterReading.Event,
                    normal=("ordinary", "regular"),
                    last_of_old=("old", "last", "removed"),
                    first_of_new=("new", "first", "fitted"),
                ),
                example="normal",
            ),
            Column("note", "note", aliases=("remark", "remarks", "comment", "comments"), longest=200),
        ),
    )
)
