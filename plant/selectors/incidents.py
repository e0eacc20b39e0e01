"""Where and how often incidents came."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from dateutil.relativedelta import relativedelta
from django.db.models import Count
from django.utils import timezone

from plant.models import Conveyor, Incident, Plant


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
