"""Belts with their running hours and incidents, read once for all that is computed of them."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any
from urllib.parse import urlencode

import numpy as np
from django.db.models import QuerySet
from django.urls import reverse
from numpy.typing import NDArray

from installs.calc.effect_zones import Zone, inside
from installs.models import Installation, LoggedStation
from plant.calc.calendar import local_day_bounds
from plant.calc.running_hours import Ledger
from plant.models import BeltChange, Conveyor, ConveyorPart, Incident
from plant.selectors.running_hours import ledgers_of
from reports.calc.study_windows import Window


class Happened(StrEnum):
    """What happened on a belt: a device, its standing still, or work of a kind."""

    FITTED = "happened.fitted"
    REMOVED = "happened.removed"
    OUT_OF_SERVICE = "happened.out_of_service"
    KIND_OF_WORK = "happened.kind_of_work"
    WORK = "happened.work"


@dataclass(frozen=True, eq=False)
class Incidents:
    """Incidents of one belt that count, as arrays of one length.

    Where only the day is known, an incident happened somewhere from `first_s` to `last_s`: it is in a window that holds
    all of this time, and in none whose edge lies within. `at_s` is then the middle, which is good enough for counts by
    day.
    """

    at_s: NDArray[np.float64]  # seconds since 1970
    strand: NDArray[np.str_]
    chainage_m: NDArray[np.float64]  # NaN where nobody knows
    is_covered: NDArray[np.bool_]  # running hours are known for that moment
    first_s: NDArray[np.float64]  # equal to at_s where the time of day is known
    last_s: NDArray[np.float64]

    def within(self, window: Window) -> NDArray[np.bool_]:
        start, end = window.start.timestamp(), window.end.timestamp()
        return np.asarray((self.first_s >= start) & (self.first_s < end) & (self.last_s <= end))

    def cut_by(self, window: Window) -> NDArray[np.bool_]:
        """Those of which nobody can tell whether they were in the window: an edge lies within their day."""
        overlaps = (self.first_s < window.end.timestamp()) & (self.last_s > window.start.timestamp())
        return np.asarray(overlaps & ~self.within(window))

    def in_zones(self, strand: str, zones: Sequence[Zone]) -> NDArray[np.bool_]:
        return np.asarray((self.strand == strand) & inside(zones, self.chainage_m))

    def without_place(self, strand: str) -> NDArray[np.bool_]:
        return np.asarray(np.isnan(self.chainage_m) & ((self.strand == strand) | (self.strand == "")))


@dataclass(frozen=True, eq=False)
class Belt:
    """What is known of one belt for comparisons."""

    conveyor: Conveyor
    ledger: Ledger
    incidents: Incidents
    changes: tuple[BeltChange, ...]
    switches: tuple[ConveyorPart, ...]
    stations: tuple[LoggedStation, ...]
    installations: tuple[Installation, ...]
    seen_at: dt.datetime | None = None  # as it stood then; None: as it stands today

    def as_of(self, moment: dt.datetime) -> Belt:
        """The belt as it stood at a moment: what was fitted later is not there yet."""
        fitted = tuple(each for each in self.installations if each.installed_at < moment)
        return replace(self, installations=fitted, seen_at=moment)

    @property
    def standing_switches(self) -> list[ConveyorPart]:
        """Drift switches that stand there; one that was removed later stood there still."""
        day = None if self.seen_at is None else self.seen_at.astimezone(self.conveyor.plant.zone).date()
        return [
            each for each in self.switches if each.removed_on is None or (day is not None and each.removed_on >= day)
        ]

    def is_used_until(self, moment: dt.datetime) -> bool:
        """Not taken out of use before the day of a moment."""
        retired_on = self.conveyor.retired_on
        return retired_on is None or retired_on >= moment.astimezone(self.conveyor.plant.zone).date()


@dataclass(frozen=True)
class KeptBelt:
    """Which belt a kept result is of. Its hours and incidents are not kept with the result: asking for them fails."""

    conveyor: Conveyor


# --- gathering --------------------------------------------------------------------------------------------------------
def belts_of(conveyors: Iterable[Conveyor]) -> dict[int, Belt]:
    """What comparisons need of several belts, in a fixed number of queries."""
    belts = list(conveyors)
    ledgers = ledgers_of(belts)
    rows: dict[int, list[IncidentCells]] = defaultdict(list)
    incidents = Incident.objects.current().filter(conveyor__in=belts).order_by("happened_at")
    names = ("happened_at", "strand", "chainage_m", "time_is_known", "created_at")
    for belt, *cells in incidents.values_list("conveyor_id", *names):
        rows[belt].append(tuple(cells))
    changes = grouped(BeltChange.objects.filter(conveyor__in=belts).order_by("changed_at"))
    switches = grouped(ConveyorPart.objects.drift_switches().filter(conveyor__in=belts))
    stations = grouped(LoggedStation.objects.filter(conveyor__in=belts))
    standing = grouped(
        with_all(Installation.objects.filter(conveyor__in=belts)).order_by(
            "conveyor__tag", "chainage_m", "installed_at"
        )
    )
    return {
        each.pk: Belt(
            conveyor=each,
            ledger=ledgers[each.pk],
            incidents=incident_arrays(rows[each.pk], ledgers[each.pk], each.plant.zone),
            changes=tuple(changes[each.pk]),
            switches=tuple(switches[each.pk]),
            stations=tuple(stations[each.pk]),
            installations=tuple(standing[each.pk]),
        )
        for each in belts
    }


def with_all(rows: QuerySet[Installation]) -> QuerySet[Installation]:
    """Installations with what comparisons and their sentences ask of them."""
    known = rows.select_related("device__device_model", "plant", "conveyor__area", "conveyor__plant", "sheet")
    return known.prefetch_related("out_of_service")


def grouped(rows: Any) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.conveyor_id].append(row)
    return found


# Moment, strand, chainage, whether the time of day is known, moment of entry.
IncidentCells = tuple[Any, ...]


def incident_arrays(rows: Sequence[IncidentCells], ledger: Ledger, zone: dt.tzinfo) -> Incidents:
    spans = [span_of(at, is_known, entered, zone) for at, _strand, _chainage, is_known, entered in rows]
    first_s, last_s = (np.array([each[i].timestamp() for each in spans], dtype=float) for i in (0, 1))
    return Incidents(
        at_s=(first_s + last_s) / 2.0,
        strand=np.array([each[1] for each in rows], dtype=np.str_),
        chainage_m=np.array([np.nan if each[2] is None else each[2] for each in rows], dtype=float),
        is_covered=are_covered(spans, ledger),
        first_s=first_s,
        last_s=last_s,
    )


def span_of(
    at: dt.datetime, time_is_known: bool, entered_at: dt.datetime, zone: dt.tzinfo
) -> tuple[dt.datetime, dt.datetime]:
    """From when to when an incident may have happened: within its day, and before it was entered."""
    if time_is_known:
        return at, at
    return at, max(at, min(local_day_bounds(at.astimezone(zone).date(), zone)[1], entered_at))


def are_covered(spans: Sequence[tuple[dt.datetime, dt.datetime]], ledger: Ledger) -> NDArray[np.bool_]:
    """Whether running hours are known for each moment; of a whole day for its beginning, middle and end."""
    if not spans:
        return np.zeros(0, dtype=bool)
    instant = dt.timedelta(microseconds=1)
    moments = [(start, start + (end - start) / 2, max(start, end - instant)) for start, end in spans]
    return np.asarray(np.asarray(ledger.covers([each for one in moments for each in one])).reshape(-1, 3).all(axis=1))


# --- one comparison ---------------------------------------------------------------------------------------------------
def incidents_url(conveyor: Conveyor, window: Window, strand: str = "", zones: Sequence[Zone] = ()) -> str:
    """The list of incidents behind a count."""
    asked: dict[str, Any] = {
        "conveyor": conveyor.pk,
        "from": window.start.astimezone(dt.UTC).isoformat(),
        "until": window.end.astimezone(dt.UTC).isoformat(),
    }
    if strand:
        asked["strand"] = strand
    if zones:
        # With the unit: the list takes a bare number in its reader's own.
        asked["low_m"] = f"{min(zone.low_m for zone in zones):g} m"
        asked["high_m"] = f"{max(zone.high_m for zone in zones):g} m"
    return f"{reverse('incident-list')}?{urlencode(asked)}"
