"""Any two periods of a device, a belt, an area or the plant compared: counts, hours, ratio, and what warns of it.

Unlike a comparison by the rule, somebody picked these periods, perhaps after looking at the counts. So there is an
interval and no verdict of the rule, and whatever else changed in or between the periods is listed.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import urlencode

import numpy as np
from django.urls import reverse

from installs.calc.effect_zones import Zone, union
from installs.models import Installation
from installs.selectors.installations import zones_of
from plant.calc.addresses import key_in
from plant.calc.rates import Rate, RateRatio, compare_rates, rate_with_interval
from plant.calc.reasons import Reason
from plant.models import Area, Conveyor, Plant
from reports.calc.bad_spells import SpellCheck, WidenedLimits, check_spells, widened_limits
from reports.calc.empirical_bayes import EffectIndex, index_of_effect
from reports.calc.reference_model import Trend
from reports.calc.seasons import SeasonCheck, compare_seasons
from reports.calc.smallest_change import SmallestChange, smallest_change
from reports.calc.study_windows import Window
from reports.calc.verdicts import direction
from reports.selectors.belts import Belt, Happened, belts_of, incidents_url
from reports.selectors.reference_groups import DAY_S, Reference
from reports.selectors.studies import group_of, reference_for, share_a_stretch


class Compared(StrEnum):
    """What two periods are compared of."""

    NAMED = "compared.named"  # an area, or the plant
    BELT = "compared.belt"
    REACH = "compared.reach"


@dataclass(frozen=True)
class Scope:
    """What is compared: a stretch of one belt, or whole belts."""

    what: Reason
    key: str  # as in the address of the page
    belts: tuple[Belt, ...]
    strand: str = ""
    zones: tuple[Zone, ...] = ()
    members: tuple[Installation, ...] = ()
    area: Area | None = None


@dataclass(frozen=True)
class PeriodSide:
    """Incidents and running hours of one period."""

    window: Window
    n: int
    hours: float
    coverage: float
    n_unknown_hours: int
    n_without_place: int
    n_without_time: int
    rate: Rate
    url: str


@dataclass(frozen=True)
class BeltLine:
    """One belt of an area or plant in both periods."""

    conveyor: Conveyor
    first: PeriodSide
    second: PeriodSide
    ratio: RateRatio


@dataclass(frozen=True)
class BeltHappening:
    """Something that changed on the belts in or between the periods."""

    at: dt.datetime
    where: str
    what: Reason
    url: str


@dataclass(frozen=True)
class PeriodComparison:
    """Everything that the page shows."""

    scope: Scope
    first: PeriodSide
    second: PeriodSide
    ratio: RateRatio
    spells: SpellCheck
    widened: WidenedLimits | None
    trend: Trend | None
    compared: EffectIndex | None
    seasons: SeasonCheck
    smallest: SmallestChange
    happenings: tuple[BeltHappening, ...]
    lines: tuple[BeltLine, ...]

    @property
    def answer(self) -> str:
        """fewer, more, flat or unjudged: the name of its mark."""
        return direction(self.ratio, self.spells)


def scope_of(plant: Plant, key: str) -> Scope | None:
    """The scope that a key names ("plant", "area-3", "conveyor-7", "installation-9"); None where the plant has none."""
    kind, _dash, text = key.partition("-")
    pk = key_in(text)
    belts = Conveyor.objects.of_plant(plant).select_related("area", "plant").order_by("tag")
    if kind == "plant":
        return Scope(Reason(Compared.NAMED, {"name": str(plant)}), key, tuple(belts_of(belts).values()))
    if pk is None:
        return None
    if kind == "area":
        area = Area.objects.of_plant(plant).filter(pk=pk).first()
        if area is None:
            return None
        what = Reason(Compared.NAMED, {"name": str(area)})
        return Scope(what, key, tuple(belts_of(belts.filter(area=area)).values()), area=area)
    if kind == "conveyor":
        conveyor = belts.filter(pk=pk).first()
        if conveyor is None:
            return None
        return Scope(Reason(Compared.BELT, {"tag": conveyor.tag}), key, tuple(belts_of([conveyor]).values()))
    row = Installation.objects.of_plant(plant).filter(pk=pk).first() if kind == "installation" else None
    if row is None:
        return None
    belt = belts_of(belts.filter(pk=row.conveyor_id))[row.conveyor_id]
    members = group_of(next(each for each in belt.installations if each.pk == row.pk), belt)
    numbers = " + ".join(each.device.number for each in members)
    what = Reason(Compared.REACH, {"tag": belt.conveyor.tag, "number": numbers})
    zones = union(zone for each in members for zone in zones_of(each))
    return Scope(what, key, (belt,), row.strand, tuple(zones), members)


def window_of_days(first: dt.date, last: dt.date, zone: dt.tzinfo, now: dt.datetime) -> Window:
    """Whole days in the plant's clock, both ends included; a last day of today ends now."""
    start, end = (
        dt.datetime.combine(day, dt.time(), tzinfo=zone).astimezone(dt.UTC)
        for day in (first, last + dt.timedelta(days=1))
    )
    return Window(start, max(start, min(end, now)))


def compare_periods(
    scope: Scope, first: Window, second: Window, now: dt.datetime, reference: Reference | None = None
) -> PeriodComparison:
    """Compare two periods that do not overlap; the second against the first."""
    plant = scope.belts[0].conveyor.plant
    lines = tuple(line_of(belt, scope, first, second) for belt in scope.belts)
    sides = [
        together(scope, window, [getattr(line, name) for line in lines])
        for name, window in (("first", first), ("second", second))
    ]
    counts = (sides[0].n, sides[0].hours, sides[1].n, sides[1].hours)
    ratio = compare_rates(*counts)
    spells = check_spells([days_of(belt, scope, window) for window in (first, second) for belt in scope.belts])
    is_wider = spells.is_clustered and ratio.low is not None
    trend = (reference or reference_for(plant, now)).trend(first, second)
    compared = None
    if trend is not None and sides[0].hours > 0 and sides[1].hours > 0 and sides[0].n + sides[1].n > 0:
        compared = index_of_effect(
            *counts, rate_per_h=1.0, shape=0.0, trend=trend.ratio, log_error=trend.log_error, dispersion=spells.widening
        )
    return PeriodComparison(
        scope=scope,
        first=sides[0],
        second=sides[1],
        ratio=ratio,
        spells=spells,
        widened=widened_limits(*counts, spells.dispersion) if is_wider else None,
        trend=trend,
        compared=compared,
        seasons=compare_seasons(*(days_in_months(window, plant.zone) for window in (first, second))),
        smallest=smallest_change(sides[0].n, sides[0].hours, sides[1].hours, dispersion=spells.widening),
        happenings=tuple(happenings_of(scope, min(first.start, second.start), max(first.end, second.end))),
        lines=lines,
    )


def here(belt: Belt, scope: Scope) -> np.ndarray:
    """Which incidents of a belt the scope takes in."""
    if scope.zones:
        return belt.incidents.in_zones(scope.strand, scope.zones)
    return np.ones(belt.incidents.at_s.shape, dtype=bool)


def line_of(belt: Belt, scope: Scope, first: Window, second: Window) -> BeltLine:
    sides = []
    for window in (first, second):
        exposure, then = belt.ledger.hours(window.start, window.end), belt.incidents.within(window)
        mine = then & here(belt, scope)
        n = int(np.count_nonzero(mine & belt.incidents.is_covered))
        unplaced = then & belt.incidents.without_place(scope.strand) if scope.zones else np.zeros(0, dtype=bool)
        sides.append(
            PeriodSide(
                window=window,
                n=n,
                hours=exposure.running_h,
                coverage=exposure.coverage,
                n_unknown_hours=int(np.count_nonzero(mine)) - n,
                n_without_place=int(np.count_nonzero(unplaced)),
                n_without_time=int(np.count_nonzero(belt.incidents.cut_by(window) & here(belt, scope))),
                rate=rate_with_interval(n, exposure.running_h),
                url=incidents_url(belt.conveyor, window, scope.strand, scope.zones),
            )
        )
    ratio = compare_rates(sides[0].n, sides[0].hours, sides[1].n, sides[1].hours)
    return BeltLine(belt.conveyor, sides[0], sides[1], ratio)


def together(scope: Scope, window: Window, sides: Sequence[PeriodSide]) -> PeriodSide:
    """The belts of a scope as one."""
    if len(sides) == 1 and scope.area is None:
        return sides[0]
    n, hours = sum(each.n for each in sides), sum(each.hours for each in sides)
    asked = {"from": window.start.astimezone(dt.UTC).isoformat(), "until": window.end.astimezone(dt.UTC).isoformat()}
    if scope.area is not None:
        asked["area"] = str(scope.area.pk)
    return PeriodSide(
        window=window,
        n=n,
        hours=hours,
        coverage=sum(each.coverage for each in sides) / len(sides),
        n_unknown_hours=sum(each.n_unknown_hours for each in sides),
        n_without_place=sum(each.n_without_place for each in sides),
        n_without_time=sum(each.n_without_time for each in sides),
        rate=rate_with_interval(n, hours),
        url=f"{reverse('incident-list')}?{urlencode(asked)}",
    )


def days_of(belt: Belt, scope: Scope, window: Window) -> tuple[np.ndarray, np.ndarray]:
    """Day of each incident of a belt in a period, and the running hours of every day."""
    n_days = max(1, int(np.ceil((window.end - window.start).total_seconds() / DAY_S)))
    edges = [min(window.start + dt.timedelta(days=n), window.end) for n in range(n_days + 1)]
    hours = np.asarray(belt.ledger.hours_many(edges[:-1], edges[1:]).running_h)
    kept = here(belt, scope) & belt.incidents.is_covered & belt.incidents.within(window)
    day = np.floor((belt.incidents.at_s[kept] - window.start.timestamp()) / DAY_S).astype(int)
    return np.clip(day, 0, n_days - 1), hours


def days_in_months(window: Window, zone: dt.tzinfo) -> list[float]:
    """Days of a period in each month of the year, in the plant's clock."""
    days = [0.0] * 12
    day, last = (each.astimezone(zone).date() for each in (window.start, window.end - dt.timedelta(seconds=1)))
    while day <= last:
        end = min(last, day.replace(day=calendar.monthrange(day.year, day.month)[1]))
        days[day.month - 1] += (end - day).days + 1
        day = end + dt.timedelta(days=1)
    return days


def happenings_of(scope: Scope, start: dt.datetime, end: dt.datetime) -> list[BeltHappening]:
    """Work on the belts and devices that came, went or stood still, in or between the periods."""
    found = []
    for belt in scope.belts:
        tag = belt.conveyor.tag
        for change in belt.changes:
            if change.cuts_comparison:
                told = {"kind": change.get_kind_display(), "description": change.description}
                what = Reason(Happened.WORK, told)
                found.append(BeltHappening(change.changed_at, tag, what, change.get_absolute_url()))
        for each in belt.installations:
            if scope.members and not any(share_a_stretch(each, one) for one in scope.members):
                continue
            known, url = {"number": each.device.number}, each.get_absolute_url()
            found.append(BeltHappening(each.installed_at, tag, Reason(Happened.FITTED, known), url))
            if each.removed_at is not None:
                found.append(BeltHappening(each.removed_at, tag, Reason(Happened.REMOVED, known), url))
            for spell in each.out_of_service.all():
                what = Reason(Happened.OUT_OF_SERVICE, known)
                found.append(BeltHappening(spell.begins_at, tag, what, url))
    return sorted((each for each in found if start <= each.at < end), key=lambda each: each.at)
