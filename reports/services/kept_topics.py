"""Which results are kept as rows, and which models each is made from: the one place that says so.

A topic names every model whose rows its calculation reads, also through a relation. A write to one of them raises the
topic's counter; a test writes to each and looks.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from inspections.selectors.plan_years import YEAR, year_as_text, year_from_text
from plant.calc.running_hours import Ledger
from plant.models import Conveyor, Plant
from plant.selectors.running_hours import HOURS, hours_of, ledger_as_text, ledger_from_text
from plant.selectors.running_hours import WHOLE as ONE_LEDGER
from plant.services.kept import OneOfMany, Topic, register_topic
from reports.selectors.fleet_effect import EFFECT, PARTS, as_text, fleet_of, from_text
from reports.selectors.kept_effect import REFERENCE, WHOLE, reference_as_text, reference_from_text
from reports.selectors.studies import gather_reference
from reports.services.kept_months import (
    MONTH,
    drafts_of,
    month_as_text,
    month_from_text,
    part_from_rows,
)

# What a belt did: its hours and incidents, and where its switches stand.
OF_BELTS = (
    "plant.Plant",
    "plant.Area",
    "plant.Conveyor",
    "plant.ConveyorPart",
    "plant.Incident",
    "plant.RunRecord",
    "plant.MeterReading",
    "plant.BeltChange",
    "installs.LoggedStation",
)
# Where devices stood, how far each reaches, and when it did not work.
OF_DEVICES = (
    "installs.DeviceModel",
    "installs.ModelSheet",
    "installs.Device",
    "installs.Installation",
    "installs.OutOfService",
)


# What the year ahead is counted from.
OF_CHECKS = (
    "inspections.CheckPlan",
    "inspections.CouldNotDo",
    "inspections.Deferral",
    "inspections.Shift",
    "inspections.TechnicianProfile",
    "plant.OutageWindow",
)
# When parts of devices failed, and when somebody last found them sound.
OF_PARTS = (
    "installs.PartChange",
    "inspections.CheckKind",
    "inspections.Task",
    "inspections.Visit",
    "inspections.Reading",
)
# Windows that people set, and what a decision waits for.
OF_DECISIONS = (
    "reports.StudyWindow",
    "inspections.Action",
    "inspections.Deferral",
    "inspections.CouldNotDo",
)


# What engineers noted on comparisons; the rest of a month is what belts, devices, parts and decisions say.
OF_MONTHS = ("reports.StudyNote",)


# A belt's ledger: its rows of hours, and what its meter counts to.
OF_HOURS = ("plant.Conveyor", "plant.RunRecord", "plant.MeterReading")


def belts_of_plant(plant: Plant) -> list[int]:
    return list(Conveyor.objects.of_plant(plant).order_by("pk").values_list("pk", flat=True))


def belt_of_row(row: Any) -> int:
    key: int = row.pk if isinstance(row, Conveyor) else row.conveyor_id
    return key


def ledger_from_rows(plant: Plant, now: dt.datetime, key: int) -> dict[str, Callable[[], Ledger]]:
    return {ONE_LEDGER: lambda: hours_of(Conveyor.objects.of_plant(plant).filter(pk=key))[key].ledger}


def register_topics() -> None:
    """Called once, when every app is loaded."""
    # First, because the others are made from ledgers.
    register_topic(
        Topic(
            name=HOURS,
            reads=OF_HOURS,
            parts=(ONE_LEDGER,),
            make=ledger_from_rows,
            write=ledger_as_text,
            read=ledger_from_text,
            each=OneOfMany(keys_of=belts_of_plant, key_of=belt_of_row),
        )
    )
    register_topic(
        Topic(
            name=REFERENCE,
            reads=(*OF_BELTS, *OF_DEVICES),
            parts=(WHOLE,),
            make=lambda plant, now: {WHOLE: lambda: gather_reference(plant, now)},
            write=reference_as_text,
            read=reference_from_text,
        )
    )
    register_topic(
        Topic(
            name=EFFECT,
            reads=(*OF_BELTS, *OF_DEVICES, *OF_PARTS, *OF_DECISIONS),
            parts=PARTS,
            make=fleet_of,
            write=as_text,
            read=from_text,
        )
    )
    register_topic(
        Topic(
            name=MONTH,
            reads=(*OF_BELTS, *OF_DEVICES, *OF_PARTS, *OF_DECISIONS, *OF_MONTHS),
            parts=drafts_of,
            make=lambda plant, now: {},
            write=month_as_text,
            read=month_from_text,
            make_asked=part_from_rows,
        )
    )
    register_topic(
        Topic(
            name=YEAR,
            reads=(*OF_BELTS, *OF_DEVICES, *OF_PARTS, *OF_CHECKS),
            parts=(),
            make=lambda plant, now: {},
            write=year_as_text,
            read=year_from_text,
        )
    )
