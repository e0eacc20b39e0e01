"""Rates of belts and of the plant, and how two spans of time compare."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np
from django.urls import reverse

from plant.calc.rates import Rate, RateRatio, compare_rates, rate_with_interval
from reports.calc.bad_spells import SpellCheck, check_spells
from reports.calc.study_windows import Window
from reports.calc.verdicts import direction, limits_with_spells
from reports.selectors.belts import Belt, incidents_url
from reports.selectors.reference_groups import (
    Reference,
    days_of,
)


# --- rates of belts and of the plant ----------------------------------------------------------------------------------
@dataclass(frozen=True)
class BeltRate:
    """Incidents per 1000 running hours of one belt, or of a plant (belt None), in a window."""

    belt: Belt | None
    window: Window
    rate: Rate
    exposure_h: float
    coverage: float
    n_unknown_hours: int
    url: str


def belt_rate(belt: Belt, window: Window) -> BeltRate:
    exposure = belt.ledger.hours(window.start, window.end)
    then = belt.incidents.within(window)
    n = int(np.count_nonzero(then & belt.incidents.is_covered))
    return BeltRate(
        belt=belt,
        window=window,
        rate=rate_with_interval(n, exposure.running_h),
        exposure_h=exposure.running_h,
        coverage=exposure.coverage,
        n_unknown_hours=int(np.count_nonzero(then)) - n,
        url=incidents_url(belt.conveyor, window),
    )


def plant_rate(belts: Iterable[Belt], window: Window) -> BeltRate:
    """The plant as one: all incidents over all running hours of belts in use at the end of the window."""
    each = [belt_rate(belt, window) for belt in belts if belt.is_used_until(window.end)]
    n, hours = sum(one.rate.n for one in each), sum(one.exposure_h for one in each)
    elapsed = len(each) * (window.end - window.start) / dt.timedelta(hours=1)
    covered = sum(one.coverage for one in each) * (window.end - window.start) / dt.timedelta(hours=1)
    asked = urlencode(
        {"from": window.start.astimezone(dt.UTC).isoformat(), "until": window.end.astimezone(dt.UTC).isoformat()}
    )
    return BeltRate(
        belt=None,
        window=window,
        rate=rate_with_interval(n, hours),
        exposure_h=hours,
        coverage=covered / elapsed if elapsed else 0.0,
        n_unknown_hours=sum(one.n_unknown_hours for one in each),
        url=f"{reverse('incident-list')}?{asked}",
    )


@dataclass(frozen=True)
class RateComparison:
    """Whole belts, or the plant, in a window against an earlier one; bad spells taken in."""

    earlier: BeltRate
    later: BeltRate
    ratio: RateRatio
    spells: SpellCheck

    @property
    def answer(self) -> str:
        """fewer, more, flat or unjudged: the name of its mark."""
        return direction(self.ratio, self.spells)

    @property
    def limits(self) -> tuple[float, float] | None:
        """Widened where incidents come in bad spells."""
        return limits_with_spells(self.ratio, self.spells)


def compare_belts(
    belts: Sequence[Belt], earlier: Window, later: Window, reference: Reference, *, level: float = 0.95
) -> RateComparison:
    """All incidents of belts in a window against an earlier one, each window with the belts in use at its end."""
    sides = []
    for window in (earlier, later):
        for belt in belts:
            if belt.is_used_until(window.end):
                everywhere = np.ones(belt.incidents.at_s.shape, dtype=bool)
                sides.append(days_of(belt, everywhere, window, reference))
    then, now = (plant_rate(belts, window) for window in (earlier, later))
    ratio = compare_rates(then.rate.n, then.exposure_h, now.rate.n, now.exposure_h, level=level)
    return RateComparison(then, now, ratio, check_spells(sides))
