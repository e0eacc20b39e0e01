"""Reads that span several models and fit no one QuerySet."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, cast

from plant.calc import codec
from plant.calc.chainage import revolution_time_s
from plant.calc.incidents import (
    ChatterDay,
    Fold,
    FoundIncidents,
    JoiningRules,
    find_chatter,
    find_incidents,
    fold_in_runs,
)
from plant.calc.incidents import RawSwitchEvent as RawSwitchEvent
from plant.calc.meter_readings import Meter, MeterResult, meter_spans
from plant.calc.running_hours import Ledger, build_ledger
from plant.calc.running_spans import Span
from plant.models import Conveyor, MeterReading, RunRecord, SwitchEvent
from plant.selectors.kept import fresh_values, topic_of_key

# One kept result a belt.
HOURS, WHOLE = "hours", "whole"


def hours_topic(conveyor_id: int) -> str:
    return topic_of_key(HOURS, conveyor_id)


def ledger_as_text(ledger: Ledger) -> str:
    return codec.write((ledger.set_aside, ledger.edges_us, ledger.shares), [Span])


def ledger_from_text(text: str) -> Ledger:
    return Ledger(*codec.read(text, [Span]))


@dataclass(frozen=True)
class Hours:
    """What is known of one belt's running: the ledger, and the meter readings that were set aside."""

    ledger: Ledger
    meter: MeterResult


def hours_of(conveyors: Iterable[Conveyor]) -> dict[int, Hours]:
    """The ledgers of several belts from their rows, by pk, in two queries whatever their number."""
    belts = list(conveyors)
    spans: dict[int, list[Span]] = defaultdict(list)
    runs = RunRecord.objects.current().filter(conveyor__in=belts).order_by("conveyor_id", "starts_at")
    for at, start, end, hours, kind, source in runs.values_list(
        "conveyor_id", "starts_at", "ends_at", "running_h", "kind", "source"
    ).iterator(chunk_size=5000):
        spans[at].append(Span(start=start, end=end, running_h=hours, kind=cast(Any, kind), source=source))
    meters: dict[int, list[Meter]] = defaultdict(list)
    readings = MeterReading.objects.current().filter(conveyor__in=belts).order_by("conveyor_id", "read_at", "pk")
    for at, read_at, reading_h, event in readings.values_list("conveyor_id", "read_at", "reading_h", "event"):
        meters[at].append(Meter(read_at=read_at, reading_h=reading_h, event=cast(Any, event)))
    known = {}
    for belt in belts:
        meter = meter_spans(meters[belt.pk], modulus_h=belt.meter_rolls_over_at_h)
        known[belt.pk] = Hours(ledger=build_ledger([*spans[belt.pk], *meter.spans]), meter=meter)
    return known


def ledgers_of(conveyors: Iterable[Conveyor]) -> dict[int, Ledger]:
    """What is known of the running hours of several belts, by pk, true to the book.

    Building ledgers takes most of the time of a page that shows hours. So each is taken as it is kept where no row of
    its belt has come since, and built where one has: a query for all that are kept, two for all that are built.
    """
    belts = {each.pk: each for each in conveyors}
    kept = fresh_values([hours_topic(pk) for pk in belts], WHOLE, ledger_from_text)
    missing = [belt for pk, belt in belts.items() if hours_topic(pk) not in kept]
    built = hours_of(missing) if missing else {}
    return {pk: built[pk].ledger if pk in built else kept[hours_topic(pk)] for pk in belts}


def ledger_of(conveyor: Conveyor) -> Ledger:
    """What is known of one belt's running hours."""
    return ledgers_of([conveyor])[conveyor.pk]


@dataclass(frozen=True)
class SwitchDay:
    """One switch on one day: how often it went on, and what that means."""

    label: str
    chainage_m: float
    chatter: ChatterDay


@dataclass(frozen=True)
class SwitchWatch:
    """What the raw events of a belt's drift switches tell, before they are joined to incidents."""

    n_events: int
    days: tuple[SwitchDay, ...]
    folds: tuple[tuple[str, Fold], ...]
    found: FoundIncidents

    @property
    def n_defect_days(self) -> int:
        return sum(day.chatter.is_defect for day in self.days)


def switch_watch_of(conveyor: Conveyor, *, since: dt.datetime, zone: dt.tzinfo) -> SwitchWatch:
    """Chatter, what travels with the belt, and the incidents that the plant's rule makes of the events."""
    rows = (
        SwitchEvent.objects.filter(drift_switch__conveyor=conveyor, at__gte=since)
        .order_by("at")
        .values_list("drift_switch_id", "at", "is_on", "side")
    )
    parts = {part.pk: part for part in conveyor.parts.drift_switches()}
    events = [
        RawSwitchEvent(conveyor=conveyor.tag, at=at, is_on=is_on, side=side, switch=str(part))
        for part, at, is_on, side in rows
    ]
    revolution_s = revolution_time_s(conveyor.length_m, conveyor.speed_m_s)
    on_times: dict[str, list[dt.datetime]] = defaultdict(list)
    for event in events:
        if event.is_on:
            on_times[event.switch].append(event.at)
    return SwitchWatch(
        n_events=len(events),
        days=tuple(
            SwitchDay(
                label=parts[int(day.switch)].label or str(parts[int(day.switch)]),
                chainage_m=parts[int(day.switch)].chainage_m,
                chatter=day,
            )
            for day in find_chatter(events, tz=zone)
        ),
        folds=tuple(
            (parts[int(switch)].label or str(parts[int(switch)]), fold_in_runs(times, revolution_s))
            for switch, times in sorted(on_times.items())
        ),
        found=find_incidents(
            events, running_of(conveyor, since), JoiningRules(gap_s=conveyor.plant.merge_minutes * 60.0)
        ),
    )


def running_of(conveyor: Conveyor, since: dt.datetime) -> dict[str, list[tuple[dt.datetime, dt.datetime]]]:
    """When the belt ran, where a running signal is in the book; without one, contacts are not cut to running time."""
    rows = conveyor.run_records.current().filter(kind=RunRecord.Kind.RUNNING, ends_at__gt=since)
    spans = list(rows.values_list("starts_at", "ends_at"))
    return {conveyor.tag: spans} if spans else {}
