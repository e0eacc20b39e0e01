"""Lives of sensor rollers and pivots, gathered from part changes, visits and what stands in service today.

A life ends as a failure where the part was worn to its limit, failed or seized; where it was changed while still sound,
or is in service, it lived at least so long. Ages are running hours of the belt.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from inspections.models import CheckKind, Reading, Task
from inspections.services.wear import DIAMETERS, LEAST_COVERAGE, NEW_ROLLER_MM, daily_hours, readings_of
from installs.models import Installation, PartChange
from plant.calc.running_hours import Ledger
from plant.models import Plant
from reports.calc.life import Demand, WeibullLife, demand_for_spares, fit_weibull
from reports.selectors import ledgers_of

ROLLERS, PIVOTS = "sensor_rollers", "pivot"
MONTHS_AHEAD = 12
DAYS_IN_MONTH = 365.25 / 12
# Why a part was changed: failures, against one that was changed while still sound.
FAILURES = {PartChange.Why.WORN, PartChange.Why.FAILED, PartChange.Why.SEIZED}
SEED = 20240101


@dataclass(frozen=True)
class Life:
    """One part from new until it was changed, or until today."""

    installation: Installation
    part: str
    side: str
    began_at: dt.datetime
    ended_at: dt.datetime
    hours: float | None  # None where too few running hours are known
    is_failure: bool
    is_in_service: bool
    words: str


@dataclass(frozen=True)
class LifeGroup:
    """Parts of one model and duty, their life and the spares that they will need."""

    part: str
    model: str
    duty: str
    lives: tuple[Life, ...]
    n_unknown: int
    fit: WeibullLife
    demand: tuple[Demand, ...]

    @property
    def year(self) -> Demand | None:
        """The last month ahead, which holds the sum of all with its interval."""
        return self.demand[-1] if self.demand else None

    @property
    def per_year(self) -> float:
        return sum(each.expected for each in self.demand)


@dataclass(frozen=True)
class End:
    """A part that was changed, or was found failed."""

    at: dt.datetime
    is_failure: bool
    words: str


def ends_of_rollers(installations: Iterable[Installation]) -> dict[tuple[int, str], list[End]]:
    """Roller changes that were written as part changes, and those that a visit's diameters show."""
    those = list(installations)
    found: dict[tuple[int, str], list[End]] = defaultdict(list)
    changes = PartChange.objects.current().filter(installation__in=those, part=PartChange.Part.SENSOR_ROLLERS)
    for change in changes:
        for side in (change.side,) if change.side else DIAMETERS.values():
            found[change.installation_id, side].append(
                End(change.changed_at, change.why in FAILURES, str(change.get_why_display()))
            )
    at_act = set(
        Reading.objects.current()
        .as_found()
        .filter(visit__installation__in=those, code__in=DIAMETERS, grade="act")
        .values_list("visit__installation_id", "side", "visit__visited_at")
    )
    for (place, side), readings in readings_of(those).items():
        before: float | None = None
        for at, stage, value in readings:
            if stage == Reading.Stage.AS_FOUND:
                before = value
            elif before is not None and value - before > NEW_ROLLER_MM:
                known = any(abs(each.at - at) < dt.timedelta(days=2) for each in found[place, side])
                if not known:
                    is_failure = (place, side, at) in at_act
                    words = _("found at act and changed") if is_failure else _("changed while not at act")
                    found[place, side].append(End(at, is_failure, words))
    return found


def ends_of_pivots(installations: Iterable[Installation]) -> dict[tuple[int, str], list[End]]:
    """Pivots that were changed, and first findings of act: the pivot did not work then, whatever was done to it.

    A pivot that was found so and then changed failed once: its end is the finding, and the change is no second one.
    """
    those = list(installations)
    found: dict[tuple[int, str], list[End]] = defaultdict(list)
    changes = PartChange.objects.current().filter(installation__in=those, part=PartChange.Part.PIVOT)
    changed: dict[int, list[PartChange]] = defaultdict(list)
    for change in changes.order_by("changed_at"):
        changed[change.installation_id].append(change)
    rows = (
        Task.objects.done()
        .filter(installation__in=those, check_kind__rule=CheckKind.Rule.PIVOT_FREEDOM)
        .order_by("closed_at")
        .values_list("installation_id", "grade", "visit__visited_at", "closed_at")
    )
    was_act: dict[int, bool] = {}
    looks: dict[int, dict[dt.datetime, str]] = defaultdict(dict)
    for place, grade, visited_at, closed_at in rows:
        looks[place][visited_at or closed_at] = grade
        if grade == "act" and not was_act.get(place):
            found[place, ""].append(End(visited_at or closed_at, True, _("found seized or beyond its limit")))
        was_act[place] = grade == "act"
    for place, those in changed.items():
        looked = looks[place]
        for change in those:
            last = max((at for at in looked if at <= change.changed_at), default=None)
            if last is not None and looked[last] == "act":
                continue
            found[place, ""].append(End(change.changed_at, change.why in FAILURES, str(change.get_why_display())))
    return found


def hours_between(ledger: Ledger, start: dt.datetime, end: dt.datetime) -> float | None:
    if end <= start:
        return None
    known = ledger.hours(start, end)
    return known.running_h / known.coverage if known.coverage >= LEAST_COVERAGE and known.running_h > 0 else None


def lives_of(plant: Plant, part: str, now: dt.datetime) -> list[Life]:
    """Every life of one kind of part in a plant, those of removed devices too."""
    every = list(Installation.objects.of_plant(plant).select_related("conveyor", "device__device_model").order_by("pk"))
    ledgers = ledgers_of(list({each.conveyor_id: each.conveyor for each in every}.values()))
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
                hours = hours_between(ledgers[each.conveyor_id], began, end.at)
                lives.append(Life(each, part, side, began, end.at, hours, end.is_failure, False, end.words))
                began = end.at
            hours = hours_between(ledgers[each.conveyor_id], began, until)
            words = _("in service") if each.removed_at is None else _("removed with the device")
            lives.append(Life(each, part, side, began, until, hours, False, each.removed_at is None, words))
    return lives


def life_groups(plant: Plant, part: str, now: dt.datetime) -> list[LifeGroup]:
    """Lives by model and duty, each with its Weibull life and the demand of the months ahead."""
    grouped: dict[tuple[str, str], list[Life]] = defaultdict(list)
    for life in lives_of(plant, part, now):
        at = life.installation
        grouped[at.device.device_model.name, str(at.conveyor.get_duty_display())].append(life)
    ledgers = ledgers_of(
        list(
            {each.installation.conveyor_id: each.installation.conveyor for g in grouped.values() for each in g}.values()
        )
    )
    per_day = {pk: daily_hours(ledger, now) for pk, ledger in ledgers.items()}
    found = []
    for (model, duty), lives in sorted(grouped.items()):
        known = [each for each in lives if each.hours is not None]
        fit = fit_weibull([each.hours or 0.0 for each in known], [each.is_failure for each in known])
        serving = [each for each in known if each.is_in_service]
        # A belt of which the last weeks are not known is taken to stand still: said by `n_unknown`.
        speeds = [DAYS_IN_MONTH * (per_day[each.installation.conveyor_id] or 0.0) for each in serving]
        demand = demand_for_spares(
            fit,
            [each.hours or 0.0 for each in serving],
            speeds,
            months=MONTHS_AHEAD,
            rng=np.random.default_rng(SEED),
        )
        found.append(LifeGroup(part, model, duty, tuple(lives), len(lives) - len(known), fit, demand))
    return found
