"""Reads that span several models and fit no one QuerySet."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from plant.calc.running_hours import Ledger, Meter, MeterResult, Span, build_ledger, meter_spans
from plant.models import Conveyor, MeterReading, RunRecord
from plant.permissions import ROLES


def roles_in(person: Any, plant: Any) -> list[str]:
    """The person's roles in a plant, in the order of the house."""
    held = set(person.memberships.filter(plant=plant).values_list("role__name", flat=True))
    return [role for role in ROLES if role in held]


@dataclass(frozen=True)
class Hours:
    """What is known of one belt's running: the ledger, and the meter readings that were set aside."""

    ledger: Ledger
    meter: MeterResult


def hours_of(conveyors: Iterable[Conveyor]) -> dict[int, Hours]:
    """The ledgers of several belts, by pk, in two queries whatever their number."""
    belts = list(conveyors)
    spans: dict[int, list[Span]] = defaultdict(list)
    runs = RunRecord.objects.current().filter(conveyor__in=belts).order_by("conveyor_id", "starts_at")
    for belt, start, end, hours, kind, source in runs.values_list(
        "conveyor_id", "starts_at", "ends_at", "running_h", "kind", "source"
    ).iterator(chunk_size=5000):
        spans[belt].append(Span(start=start, end=end, running_h=hours, kind=kind, source=source))
    meters: dict[int, list[Meter]] = defaultdict(list)
    readings = MeterReading.objects.current().filter(conveyor__in=belts).order_by("conveyor_id", "read_at", "pk")
    for belt, read_at, reading_h, event in readings.values_list("conveyor_id", "read_at", "reading_h", "event"):
        meters[belt].append(Meter(read_at=read_at, reading_h=reading_h, event=event))
    known = {}
    for belt in belts:
        meter = meter_spans(meters[belt.pk], modulus_h=belt.meter_rolls_over_at_h)
        known[belt.pk] = Hours(ledger=build_ledger([*spans[belt.pk], *meter.spans]), meter=meter)
    return known


def ledger_of(conveyor: Conveyor) -> Ledger:
    """What is known of one belt's running hours."""
    return hours_of([conveyor])[conveyor.pk].ledger
