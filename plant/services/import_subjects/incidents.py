"""Incidents from a file."""

from __future__ import annotations

import uuid
from typing import Any

from django.utils.translation import gettext_lazy

from plant.calc.import_columns import Column, ColumnKind
from plant.calc.units import QuantityKind
from plant.models import (
    Incident,
    Side,
)
from plant.services.import_subjects.shape import (
    STRAND_CHOICES,
    TAG,
    ImportContext,
    ImportSubject,
    choices_of,
    given_values,
    quantity,
    register_import_subject,
    write_entry,
)
from plant.services.incidents import correct_incident, record_incident, record_incidents

# --- incidents --------------------------------------------------------------------------------------------------------
# A revised severity or note is the same episode; it must not count twice.
INCIDENT_KEY = ("conveyor", "happened_at", "strand", "chainage_m")


def write_incident(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    return write_entry(
        context,
        Incident,
        given_values(context, values),
        key,
        record_incident,
        correct_incident,
        only_if_chosen=True,
        told_apart_by=INCIDENT_KEY,
    )


def write_incidents(context: ImportContext, rows: list[tuple[dict[str, Any], uuid.UUID]]) -> None:
    given = [
        {**given_values(context, values), "client_key": key, "import_batch": context.batch} for values, key in rows
    ]
    record_incidents(given, by=context.by, now=context.now)


register_import_subject(
    ImportSubject(
        name="incidents",
        label=gettext_lazy("Incidents"),
        right="plant.add_incident",
        order=50,
        key_fields=INCIDENT_KEY,
        write_row=write_incident,
        write_many=write_incidents,
        stored=given_values,
        entry_model=Incident,
        may_correct_known=True,
        repeats_are_real=True,
        times_of={"happened_at": "happened_time"},
        help=gettext_lazy(
            "Each row is one episode of mistracking. Rows that are equal in every cell count once, unless you say that "
            "each is an episode of its own."
        ),
        columns=(
            TAG,
            Column(
                "happened_at",
                "when",
                ColumnKind.MOMENT,
                aliases=(
                    "date",
                    "when",
                    "happened",
                    "time stamp",
                    "timestamp",
                    "datetime",
                    "occurred",
                    "date and time",
                ),
                required=True,
                example="2026-03-01 14:15",
                time_flag="time_is_known",
            ),
            Column("happened_time", "time of day", ColumnKind.TIME_OF_DAY, aliases=("time", "clock"), example=""),
            Column("strand", "strand", ColumnKind.CHOICE, choices=STRAND_CHOICES, example="return"),
            quantity(
                "chainage_m", "chainage", QuantityKind.DISTANCE_M, "position", "pos", "metre", "place", example="80"
            ),
            Column(
                "side",
                "side",
                ColumnKind.CHOICE,
                choices=choices_of(Side, drive=("drive", "ds"), off=("off", "os", "non-drive", "nds")),
                example="drive",
            ),
            quantity("offset_mm", "offset", QuantityKind.LENGTH_MM, "belt offset", "off centre", example="70"),
            Column("severity", "severity", ColumnKind.CHOICE, choices=choices_of(Incident.Severity), example="contact"),
            Column("consequence", "consequence", longest=300),
            quantity(
                "minutes_lost",
                "minutes lost",
                QuantityKind.MINUTES,
                "downtime",
                "lost",
                "delay",
                "stop",
                "stopped",
                "stopped min",
                example="25",
            ),
            quantity("spilled_t", "spilled", QuantityKind.TONNES, "spillage", "spill", example="0.5"),
            Column(
                "was_loaded",
                "belt was loaded",
                ColumnKind.YES_NO,
                aliases=("loaded",),
                choices={"yes": ("loaded", "full"), "no": ("empty", "unloaded")},
                example="yes",
            ),
            Column(
                "suspected_cause",
                "suspected cause",
                ColumnKind.CHOICE,
                aliases=("cause",),
                choices=choices_of(Incident.Cause),
                example="load",
            ),
            Column("source", "source", ColumnKind.CHOICE, choices=choices_of(Incident.Source), example="log"),
            Column(
                "note",
                "note",
                aliases=("remark", "remarks", "comment", "comments", "text", "description"),
                longest=2000,
            ),
        ),
    )
)
