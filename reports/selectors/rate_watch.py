"""Reads for the rate watch: every device in service that has a rate to be held against.

Bad days are counted, not incidents, so that one bad spell of a day raises no alarm on its own.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from inspections.models import Task
from reports.calc.rate_watch import Learnt, WatchRules, chance_of_alarm, learn, watch_rate
from reports.calc.study_windows import Window
from reports.selectors.reference_groups import DAY_S, Reference, days_of
from reports.selectors.studies import Book, Study, devices_in


@dataclass(frozen=True)
class Fading:
    """An alarm that stands: a comparison in which bad days come more often than at first.

    Attributes
    ----------
    strength : float
        S as it stands: by 3 to that power the bad days since are likelier at three times the learnt rate than at it.
    """

    study: Study
    climbing_since: dt.datetime
    alarm_at: dt.datetime
    n_learnt: int
    hours_learnt: float
    n_since: int
    hours_since: float
    strength: float


@dataclass(frozen=True, eq=False)
class Watched:
    """A comparison under watch, of one device or several: its bad days and hours since settling-in, and the rules."""

    study: Study
    start: dt.datetime
    bad: NDArray[np.float64]
    hours: NDArray[np.float64]
    rules: WatchRules
    learnt: Learnt
    first: int  # of the days since the start, the first that is watched

    @property
    def fading(self) -> Fading | None:
        """The alarm, if one stands."""
        first, learnt = self.first, self.learnt
        watch = watch_rate(self.bad[first:], learnt.rate_per_h * self.hours[first:], learnt.h, rise=self.rules.rise)
        if watch.standing is None or watch.standing_since is None:
            return None
        begin = first + watch.standing_since
        return Fading(
            study=self.study,
            climbing_since=self.start + dt.timedelta(days=begin),
            alarm_at=self.start + dt.timedelta(days=first + watch.standing),
            n_learnt=learnt.n,
            hours_learnt=learnt.hours,
            n_since=int(self.bad[begin:].sum()),
            hours_since=float(self.hours[begin:].sum()),
            strength=watch.s[-1],
        )

    @property
    def chance(self) -> float:
        """How likely an alarm would stand if its rate had been the same all along."""
        # Whole days only: today's hours grow with every request, and the answer is kept.
        return chance_of_alarm(int(self.bad[:-1].sum()), self.hours[:-1], self.rules, first=self.first)


@dataclass(frozen=True, eq=False)
class FleetWatch:
    """Every comparison under watch, the alarms that stand, and how many of them chance alone would bring.

    Devices that were fitted together are one comparison and are watched as one.
    """

    watched: tuple[Watched, ...]
    fading: tuple[Fading, ...]  # the strongest first

    @property
    def n_watched(self) -> int:
        """Comparisons under watch."""
        return len(self.watched)

    @property
    def n_devices(self) -> int:
        """Devices in them."""
        return devices_in(each.study for each in self.watched)

    @cached_property
    def n_by_chance(self) -> float:
        return sum(each.chance for each in self.watched)


@dataclass(frozen=True)
class WatchSummary:
    """The same without the days of each comparison: what pages say of the watch."""

    n_watched: int
    n_devices: int
    n_by_chance: float
    fading: tuple[Fading, ...]


def summary_of(watch: FleetWatch) -> WatchSummary:
    return WatchSummary(watch.n_watched, watch.n_devices, watch.n_by_chance, watch.fading)


def watch_of(book: Book) -> FleetWatch:
    """The watch over a plant's devices in service; where a check was done for an earlier alarm, from then on."""
    asked = Task.objects.of_plant(book.plant).filter(origin=Task.Origin.RATE_WATCH, closed_at__lt=book.now)
    done: dict[int, Any] = dict(asked.order_by("closed_at").values_list("installation_id", "closed_at"))
    found = (watched_of(each, book.reference, done) for each in book.studies if each.n_detectors and each.is_whole)
    watched = tuple(each for each in found if each is not None)
    alarms = (each.fading for each in watched)
    fading = sorted((each for each in alarms if each is not None), key=lambda each: -each.strength)
    return FleetWatch(watched, tuple(fading))


def fading_in(book: Book) -> tuple[Fading, ...]:
    """Alarms that stand, the strongest first."""
    return watch_of(book).fading


def fading_at(study: Study, reference: Reference) -> Fading | None:
    """The alarm of one comparison, if one stands."""
    if not study.n_detectors or not study.is_whole:
        return None
    asked = Task.objects.filter(installation__in=study.members, origin=Task.Origin.RATE_WATCH, closed_at__lt=study.now)
    done: dict[int, Any] = dict(asked.order_by("closed_at").values_list("installation_id", "closed_at"))
    watched = watched_of(study, reference, done)
    return watched.fading if watched is not None else None


def watched_of(study: Study, reference: Reference, done: Mapping[int, dt.datetime]) -> Watched | None:
    """One device under watch by the numbers that its plant chose; None while it still learns.

    Parameters
    ----------
    done : mapping of installation pk to datetime
        When the check that an alarm asked for was last done.
    """
    plant, start = study.conveyor.plant, study.windows.settling.end
    if start >= study.now:
        return None
    here = study.belt.incidents.in_zones(study.installation.strand, study.zones)
    day, hours = days_of(study.belt, here, Window(start, study.now), reference)
    bad = (np.bincount(day, minlength=hours.size) > 0).astype(float)
    before_per_h = (study.before.rate.per_1000_h or 0.0) / 1000.0
    rules = WatchRules(
        learn_h=plant.watch_learn_h,
        least_rate_per_h=plant.watch_least_share_pct / 100.0 * before_per_h,
        alarm_years=plant.watch_alarm_years,
    )
    learnt = learn(bad, hours, rules)
    if learnt is None:
        return None
    first = learnt.steps
    checked_at = max((done[one.pk] for one in study.members if one.pk in done), default=start)
    if checked_at > start:
        first = max(first, min(hours.size, int((checked_at - start).total_seconds() // DAY_S) + 1))
    return Watched(study, start, bad, hours, rules, learnt, first)
