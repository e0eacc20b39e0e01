"""What a strip shows of its conveyors: the last twelve months and their incidents."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils import timezone

from plant.calc.units import UnitSystem
from plant.models import Conveyor
from plant.selectors.incidents import IncidentPlace, incident_places, year_until


@dataclass(frozen=True)
class StripSubject:
    """The conveyors that are drawn, the window, and its incidents by conveyor."""

    conveyors: tuple[Conveyor, ...]
    since: dt.datetime
    until: dt.datetime
    incidents: Mapping[int, tuple[IncidentPlace, ...]]
    system: UnitSystem = UnitSystem.METRIC


def strip_subject(conveyors: Iterable[Conveyor], system: UnitSystem, *, now: dt.datetime | None = None) -> StripSubject:
    """What layers are asked about: the last twelve months of these conveyors."""
    belts = tuple(conveyors)
    since, until = year_until(now or timezone.now())
    return StripSubject(
        conveyors=belts, since=since, until=until, incidents=incident_places(belts, since, until), system=system
    )
