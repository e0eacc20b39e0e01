"""Reads for the rate watch: every device in service that has a rate to be held against.

Bad days are counted, not incidents, so that one bad spell of a day raises no alarm on its own.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from inspections.models import Task
from reports.answers import DAY_S
from reports.calc.rate_watch import threshold_for, watch_rate
from reports.calc.study_windows import Window
from reports.selectors import Book, Study


@dataclass(frozen=True)
class Fading:
    """A device whose rate climbs away from what it had reached."""

    study: Study
    climbing_since: dt.datetime
    alarm_at: dt.datetime
    n_learnt: int
    hours_learnt: float
    n_since: int
    hours_since: float

    @property
    def why(self) -> str:
        return (
            f"Rate watch: bad days at first {self.n_learnt} in {self.hours_learnt:.0f} h, {self.n_since} in "
            f"{self.hours_since:.0f} h since {self.climbing_since:%Y-%m-%d}. Pivot, sensors, place?"
        )


def fading_in(book: Book) -> tuple[Fading, ...]:
    """Alarms of a plant's devices in service; where a check was done for an earlier one, from then on."""
    done: dict[int, dt.datetime] = {}
    asked = Task.objects.of_plant(book.plant).filter(origin=Task.Origin.RATE_WATCH, closed_at__isnull=False)
    for pk, closed_at in asked.order_by("closed_at").values_list("installation_id", "closed_at"):
        done[pk] = closed_at
    found = (
        fading_of(each, book, max((done[one.pk] for one in each.members if one.pk in done), default=None))
        for each in book.studies
        if each.n_detectors and all(one.removed_at is None for one in each.members)
    )
    return tuple(each for each in found if each is not None)


def fading_of(study: Study, book: Book, checked_at: dt.datetime | None) -> Fading | None:
    """The alarm of one device, if there is one, by the numbers that its plant chose."""
    plant = book.plant
    start = study.windows.settling.end
    if start >= book.now:
        return None
    window = Window(start, book.now)
    hours = book.reference.hours_by_day(study.belt, window)
    incidents = study.belt.incidents
    kept = incidents.in_zones(study.installation.strand, study.zones) & incidents.is_covered
    day = np.floor((incidents.at_s[kept & incidents.within(window)] - start.timestamp()) / DAY_S).astype(int)
    bad = (np.bincount(np.minimum(day, hours.size - 1), minlength=hours.size) > 0).astype(float)
    learnt = int(np.searchsorted(np.cumsum(hours), plant.watch_learn_h)) + 1
    if learnt >= hours.size:
        return None
    n_learnt, h_learnt = int(bad[:learnt].sum()), float(hours[:learnt].sum())
    before_per_h = (study.before.rate.per_1000_h or 0.0) / 1000.0
    # A short good time at first may be luck: no less than a share of the rate before is taken for good.
    rate_per_h = max(max(1, n_learnt) / h_learnt, plant.watch_least_share_pct / 100.0 * before_per_h)
    a_year = float(hours[learnt:].sum()) / (hours.size - learnt) * 365.25
    if a_year <= 0:
        return None
    first = learnt
    if checked_at is not None and checked_at > start:
        first = max(first, min(hours.size, int((checked_at - start).total_seconds() // DAY_S) + 1))
    threshold = threshold_for(rate_per_h * a_year * plant.watch_alarm_years)
    watch = watch_rate(bad[first:], rate_per_h * hours[first:], threshold)
    if watch.signal is None or watch.climbing_since is None:
        return None
    begin = first + watch.climbing_since
    return Fading(
        study=study,
        climbing_since=start + dt.timedelta(days=begin),
        alarm_at=start + dt.timedelta(days=first + watch.signal),
        n_learnt=n_learnt,
        hours_learnt=h_learnt,
        n_since=int(bad[begin:].sum()),
        hours_since=float(hours[begin:].sum()),
    )
