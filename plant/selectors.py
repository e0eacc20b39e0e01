"""Reads that span several models and fit no one QuerySet."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from dateutil.relativedelta import relativedelta
from django.db.models import Count
from django.utils import timezone

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
from plant.calc.incidents import SwitchEvent as RawSwitchEvent
from plant.calc.running_hours import Ledger, Meter, MeterResult, Span, build_ledger, meter_spans
from plant.models import Conveyor, Incident, Membership, MeterReading, Plant, RunRecord, SignInAct, SwitchEvent
from plant.permissions import ROLES


def roles_in(person: Any, plant: Any) -> list[str]:
    """The person's roles in a plant, in the order of the house."""
    held = set(person.memberships.filter(plant=plant).values_list("role__name", flat=True))
    return [role for role in ROLES if role in held]


def role_changes(plant: Plant, most: int = 50) -> list[Any]:
    """Which roles were given and taken in a plant, newest first, with who did it."""
    rows = Membership.history.filter(plant=plant).select_related("person", "role", "history_user")
    return list(rows.order_by("-history_date", "-history_id")[:most])


def sign_in_acts(plant: Plant, most: int = 50) -> list[SignInAct]:
    """What was done with sign-ins of a plant's people, newest first."""
    return list(SignInAct.objects.filter(plant=plant).select_related("person", "by")[:most])


@dataclass(frozen=True)
class Hours:
    """What is known of one belt's running: the ledger, and the meter readings that were set aside."""

    ledger: Ledger
    meter: MeterResult


def hours_of(conveyors: Iterable[Conveyor], *, since: dt.datetime | None = None) -> dict[int, Hours]:
    """The ledgers of several belts, by pk, in two queries whatever their number.

    With `since`, running records that ended before are left out: enough for windows that begin there, and quicker.
    """
    belts = list(conveyors)
    spans: dict[int, list[Span]] = defaultdict(list)
    runs = RunRecord.objects.current().filter(conveyor__in=belts).order_by("conveyor_id", "starts_at")
    if since is not None:
        runs = runs.filter(ends_at__gt=since)
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


@dataclass(frozen=True)
class IncidentPlace:
    """Where and when a belt wandered, as figures need it."""

    pk: int
    happened_at: dt.datetime
    strand: str
    chainage_m: float | None
    severity: str
    time_is_known: bool = True


def year_until(now: dt.datetime) -> tuple[dt.datetime, dt.datetime]:
    """The last twelve months: from the same wall time a year ago in the plant's clock until now."""
    return (timezone.localtime(now) - relativedelta(months=12)).astimezone(dt.UTC), now


def incident_places(
    conveyors: Iterable[Conveyor], since: dt.datetime, until: dt.datetime
) -> dict[int, tuple[IncidentPlace, ...]]:
    """Incidents that count, by conveyor and in order of time; one query whatever the number of belts."""
    belts = list(conveyors)
    found: dict[int, list[IncidentPlace]] = {belt.pk: [] for belt in belts}
    rows = Incident.objects.current().filter(conveyor__in=belts).between(since, until).order_by("happened_at", "pk")
    names = ("pk", "happened_at", "strand", "chainage_m", "severity", "time_is_known")
    for belt, *values in rows.values_list("conveyor_id", *names):
        found[belt].append(IncidentPlace(*values))
    return {pk: tuple(places) for pk, places in found.items()}


def incident_counts(plant: Plant, since: dt.datetime, until: dt.datetime) -> dict[int, int]:
    """Incidents that count, by conveyor; belts without any are left out."""
    rows = Incident.objects.of_plant(plant).current().between(since, until).order_by()
    return dict(rows.values_list("conveyor_id").annotate(n=Count("pk")))


def people_in(plant: Plant, *roles: str) -> list[int]:
    """Active people who hold one of the roles in the plant, each once."""
    held = Membership.objects.filter(plant=plant, role__name__in=roles, person__is_active=True)
    return sorted(set(held.values_list("person_id", flat=True)))
