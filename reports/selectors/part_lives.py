"""Lives of sensor rollers and pivots, gathered from part changes, visits and what stands in service today.

A life ends as a failure where the part was worn to its limit, failed or seized; where it was changed while still sound,
or is in service, it lived at least so long. Ages are running hours of the belt.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from inspections.selectors.part_ends import ends_of_pivots, ends_of_rollers
from inspections.selectors.wear import DIAMETERS, LEAST_COVERAGE, daily_hours
from installs.models import Installation
from plant.calc.running_hours import Ledger
from plant.models import Plant
from plant.selectors.running_hours import ledgers_of
from reports.calc.life import Demand, NeedAtRate, WeibullLife, demand_for_spares, fit_weibull, need_at_rate

ROLLERS, PIVOTS = "sensor_rollers", "pivot"
MONTHS_AHEAD = 12
DAYS_IN_MONTH = 365.25 / 12
SEED = 20240101


class Unknown(StrEnum):
    """Why the running hours of a part are not known."""

    NO_TIME = "no_time"  # its life has no length: it ends at the moment at which it began
    FEW_HOURS = "few_hours"  # hours are in the book for too little of its life
    STOOD = "stood"  # as far as hours are in the book, the belt stood still all its life
    OF_LATE = "of_late"  # its own hours are known, those of the belt's last weeks are not


@dataclass(frozen=True)
class Life:
    """One part from new until it was changed, or until today.

    Attributes
    ----------
    hours : float or None
        Running hours; None where they are not known: then `unknown` says why.
    coverage : float
        Share of its life for which the book has running hours [-].
    """

    installation: Installation
    part: str
    side: str
    began_at: dt.datetime
    ended_at: dt.datetime
    hours: float | None
    is_failure: bool
    is_in_service: bool
    how: str  # as the change was written; empty where it did not end by one
    coverage: float = 1.0
    unknown: Unknown | None = None
    is_change: bool = False  # ended by a change or a failure, not by today and not with its device

    @property
    def is_changed_sound(self) -> bool:
        return self.is_change and not self.is_failure


@dataclass(frozen=True)
class Spares:
    """Parts of one group in twelve months: for failures, and for parts that are changed while still sound.

    Attributes
    ----------
    failures : Demand or None
        From the fitted life; None where it cannot be told.
    changes : NeedAtRate or None
        Of parts changed while sound; of all changes where there is no fitted life.
    n_in_service, n_unknown_speed : int
        Parts in service, and those of them on belts whose running hours of late are not known: they are left out.
    """

    failures: Demand | None
    changes: NeedAtRate | None
    n_in_service: int
    n_unknown_speed: int

    @property
    def expected(self) -> float | None:
        """None where it is not known."""
        if self.n_in_service == 0:
            return 0.0
        if self.n_unknown_speed == self.n_in_service:
            return None
        if self.failures is not None:
            return self.failures.until_expected + ((self.changes.expected or 0.0) if self.changes else 0.0)
        return self.changes.expected if self.changes else None


@dataclass(frozen=True)
class LifeLeftOut:
    """A life whose running hours are not known, and what is worked out without it."""

    life: Life
    why: Unknown
    of_lives: bool
    of_spares: bool


@dataclass(frozen=True)
class LifeGroup:
    """Parts of one model and duty, their life and the spares that they will need."""

    part: str
    model: str
    duty: str
    lives: tuple[Life, ...]
    left_out: tuple[LifeLeftOut, ...]
    fit: WeibullLife
    demand: tuple[Demand, ...]
    spares: Spares

    @property
    def n_unknown(self) -> int:
        """Lives that the fit goes without."""
        return sum(each.of_lives for each in self.left_out)


def hours_of_life(ledger: Ledger, start: dt.datetime, end: dt.datetime) -> dict[str, Any]:
    """Running hours of a life as `Life` takes them, or why they are not known."""
    if end <= start:
        return {"hours": None, "coverage": 0.0, "unknown": Unknown.NO_TIME}
    known = ledger.hours(start, end)
    if known.coverage < LEAST_COVERAGE:
        return {"hours": None, "coverage": known.coverage, "unknown": Unknown.FEW_HOURS}
    if known.running_h <= 0:
        return {"hours": None, "coverage": known.coverage, "unknown": Unknown.STOOD}
    return {"hours": known.running_h / known.coverage, "coverage": known.coverage}


def lives_of(plant: Plant, part: str, now: dt.datetime) -> list[Life]:
    """Every life of one kind of part in a plant, those of removed devices too."""
    every = list(Installation.objects.of_plant(plant).select_related("conveyor", "device__device_model").order_by("pk"))
    ledgers = ledgers_of(each.conveyor for each in every)
    ends = ends_of_rollers(every) if part == ROLLERS else ends_of_pivots(every)
    sides = tuple(DIAMETERS.values()) if part == ROLLERS else ("",)
    lives = []
    for each in every:
        until = min(each.removed_at or now, now)
        for side in sides:
            began = each.installed_at
            for end in sorted(ends[each.pk, side], key=lambda one: one.at):
                if not began < end.at <= until:
                    continue
                lives.append(
                    Life(
                        each,
                        part,
                        side,
                        began,
                        end.at,
                        is_failure=end.is_failure,
                        is_in_service=False,
                        how=end.how,
                        is_change=True,
                        **hours_of_life(ledgers[each.conveyor_id], began, end.at),
                    )
                )
                began = end.at
            lives.append(
                Life(
                    each,
                    part,
                    side,
                    began,
                    until,
                    is_failure=False,
                    is_in_service=each.removed_at is None,
                    how="",
                    **hours_of_life(ledgers[each.conveyor_id], began, until),
                )
            )
    return lives


def life_groups(plant: Plant, part: str, now: dt.datetime) -> list[LifeGroup]:
    """Lives by model and duty, each with its Weibull life and the demand of the months ahead."""
    grouped: dict[tuple[str, str], list[Life]] = defaultdict(list)
    for life in lives_of(plant, part, now):
        at = life.installation
        grouped[at.device.device_model.name, str(at.conveyor.get_duty_display())].append(life)
    ledgers = ledgers_of(each.installation.conveyor for lives in grouped.values() for each in lives)
    per_day = {pk: daily_hours(ledger, now) for pk, ledger in ledgers.items()}
    found = []
    for (model, duty), lives in sorted(grouped.items()):
        known = [each for each in lives if each.hours is not None]
        fit = fit_weibull([each.hours or 0.0 for each in known], [each.is_failure for each in known])
        serving = [each for each in known if each.is_in_service]
        # A belt of which the last weeks are not known is taken to stand still, and its parts are counted apart.
        speeds = [DAYS_IN_MONTH * (per_day[each.installation.conveyor_id] or 0.0) for each in serving]
        demand = demand_for_spares(
            fit,
            [each.hours or 0.0 for each in serving],
            speeds,
            months=MONTHS_AHEAD,
            rng=np.random.default_rng(SEED),
        )
        changed = [each for each in known if (each.is_changed_sound if demand else each.is_change)]
        left_out = tuple(left_out_of(lives, per_day))
        spares = Spares(
            failures=demand[-1] if demand else None,
            changes=need_at_rate(len(changed), sum(each.hours or 0.0 for each in known), MONTHS_AHEAD * sum(speeds)),
            n_in_service=sum(each.is_in_service for each in lives),
            n_unknown_speed=sum(each.of_spares for each in left_out),
        )
        found.append(LifeGroup(part, model, duty, tuple(lives), left_out, fit, demand, spares))
    return found


def left_out_of(lives: Iterable[Life], per_day: Mapping[int, float | None]) -> Iterator[LifeLeftOut]:
    """Lives without known hours, and parts in service on belts whose hours of late are not known."""
    for each in lives:
        if each.unknown is not None:
            yield LifeLeftOut(each, each.unknown, of_lives=True, of_spares=each.is_in_service)
        elif each.is_in_service and per_day[each.installation.conveyor_id] is None:
            yield LifeLeftOut(each, Unknown.OF_LATE, of_lives=False, of_spares=True)
