"""What a comparison of counts needs from the rest of the plant: the reference group, the trend, and the spells.

`Reference` is gathered once for a plant and kept as a row (`reports.selectors.kept_effect`). The stretches of it are
tiles of the usual length of a zone with a drift switch in them; those that a device reached count until its
installation, the others throughout.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from installs.calc.effect_zones import Zone, detectors_in, uncovered, union
from installs.selectors.installations import zones_of
from plant.calc.rates import RateRatio, compare_rates
from plant.calc.reasons import Reason
from reports.calc.bad_spells import SpellCheck, check_spells
from reports.calc.empirical_bayes import EffectIndex, index_against, index_of_effect
from reports.calc.reference_model import (
    FEWEST_FOR_TREND,
    FEWEST_STRETCHES,
    NoReference,
    ReferenceModel,
    ReferenceRule,
    Trend,
    fit_reference,
    fit_trend,
    too_few_stretches,
    trend_of,
)
from reports.calc.study_windows import Window
from reports.calc.verdicts import Judgement, VerdictRules, judge
from reports.selectors.raw_switches import raw_switches_of, set_free

if TYPE_CHECKING:
    from reports.selectors.belts import Belt

FloatArray = NDArray[np.float64]

TILE_M = 50.0
SHORTEST_TILE_M = 10.0
REFERENCE_DAYS = 1461
REFERENCE_YEAR_DAYS = 365
DAY_S = 86400.0
STRANDS = ("carry", "return")


@dataclass(frozen=True, eq=False)
class Days:
    """Running total of hours at the ends of days, so that any window's hours are read off."""

    at_s: FloatArray
    total: FloatArray

    def of(self, window: Window) -> float:
        low, high = np.interp([window.start.timestamp(), window.end.timestamp()], self.at_s, self.total)
        return float(high - low)

    def by_day(self, window: Window) -> FloatArray:
        n = max(1, int(np.ceil((window.end - window.start).total_seconds() / DAY_S)))
        edges = np.minimum(window.start.timestamp() + DAY_S * np.arange(n + 1), window.end.timestamp())
        return np.asarray(np.diff(np.interp(edges, self.at_s, self.total)))


@dataclass(frozen=True)
class ReferencePlace:
    """Where a stretch of the reference lies, and its traits as the model may take them."""

    tag: str
    strand: str
    zone: Zone
    until: dt.datetime | None  # None: no device reached it so far
    traits: dict[str, float]


@dataclass(frozen=True, eq=False)
class Stretches:
    """Stretches with a drift switch while no device reached them, as arrays of one length (total: one row each)."""

    at_s: FloatArray  # ends of days, evenly spaced
    total: FloatArray  # running hours since the first of them, shape (s, days)
    until_s: FloatArray  # when a device reached the stretch; infinite where none did
    rate_per_h: FloatArray  # by the reference model, where there is one
    incident_at_s: FloatArray  # moments of all incidents on them while untreated, shape (n,)
    incident_of: NDArray[np.int_]  # the row of each

    @property
    def is_untreated(self) -> NDArray[np.bool_]:
        return np.isinf(self.until_s)

    def within(self, start_s: float, end_s: float) -> tuple[FloatArray, FloatArray]:
        """Incidents and running hours of each stretch between two moments, while it was without a device."""
        here = (self.incident_at_s >= start_s) & (self.incident_at_s < end_s)
        n = np.bincount(self.incident_of[here], minlength=self.until_s.size).astype(float)
        first, last = np.full(n.size, start_s), np.minimum(end_s, self.until_s)
        return n, np.maximum(self._hours_until(last) - self._hours_until(first), 0.0)

    def _hours_until(self, moment_s: FloatArray) -> FloatArray:
        moment_s = np.clip(moment_s, self.at_s[0], self.at_s[-1])
        day = (moment_s - self.at_s[0]) / (self.at_s[1] - self.at_s[0])
        low = np.minimum(np.floor(day).astype(int), self.at_s.size - 2)
        row = np.arange(moment_s.size)
        below, above = self.total[row, low], self.total[row, low + 1]
        return np.asarray(below + (day - low) * (above - below))


@dataclass(frozen=True, eq=False)
class Reference:
    """The plant's stretches without a device: a model of their rate, and what they did over time."""

    model: ReferenceModel | NoReference
    days: dict[int, Days]
    stretches: Stretches
    places: tuple[ReferencePlace, ...] = ()  # one for each of the stretches

    @property
    def n_untreated(self) -> int:
        return int(np.count_nonzero(self.stretches.is_untreated))

    def trend(self, before: Window, after: Window) -> Trend | None:
        """What stretches did while without a device between two windows; None where they are too few to tell.

        Every other hour known of them is a third window: it tells more of each stretch's own rate.
        """
        those = self.stretches
        columns = [those.within(each.start.timestamp(), each.end.timestamp()) for each in (before, after)]
        n, hours = (np.column_stack([each[i] for each in columns]) for i in (0, 1))
        if isinstance(self.model, NoReference):
            sums = [float(each[those.is_untreated, side].sum()) for side in (0, 1) for each in (n, hours)]
            if min(sums[0], sums[2]) < FEWEST_FOR_TREND:
                return None
            return trend_of(int(sums[0]), sums[1], int(sums[2]), sums[3])
        ever_n, ever_h = those.within(-np.inf, np.inf)
        n = np.column_stack([n, np.maximum(ever_n - n.sum(axis=1), 0)])
        hours = np.column_stack([hours, np.maximum(ever_h - hours.sum(axis=1), 0.0)])
        rates, shape = those.rate_per_h, self.model.shape
        return fit_trend(n, hours, rate_per_h=rates, shape=shape, is_untreated=those.is_untreated)

    def hours_by_day(self, belt: Belt, window: Window) -> FloatArray:
        return self.days[belt.conveyor.pk].by_day(window)


@dataclass(frozen=True)
class Answers:
    """The other answers of a comparison, and what was checked."""

    spells: SpellCheck
    trend: Trend | None
    compared: EffectIndex | None  # against the trend, nothing drawn towards a fleet's rate
    shrunk: EffectIndex | None
    reference_per_1000_h: float | None
    reasons: tuple[Reason, ...]
    model: ReferenceModel | None = None
    traits: Mapping[str, float] = field(default_factory=dict)  # of this belt, as the model takes them


def reference_of(belts: Sequence[Belt], now: dt.datetime) -> Reference:
    """Gather the stretches of a plant's belts; no query."""
    grid = now.timestamp() - DAY_S * np.arange(REFERENCE_DAYS, -1, -1.0)
    moments = [dt.datetime.fromtimestamp(each, dt.UTC) for each in grid]
    days: dict[int, Days] = {}
    at_s, totals, until_s, places = [], [], [], []
    for belt in belts:
        daily = np.asarray(belt.ledger.hours_many(moments[:-1], moments[1:]).running_h)
        days[belt.conveyor.pk] = Days(grid, np.concatenate([[0.0], np.cumsum(daily)]))
        for strand, zone, until in stretches_of(belt):
            window = Window(moments[0], min(max(until or now, moments[0]), now))
            here = belt.incidents.in_zones(strand, [zone]) & belt.incidents.is_covered & belt.incidents.within(window)
            at_s.append(belt.incidents.at_s[here])
            totals.append(days[belt.conveyor.pk].total)
            until_s.append(until.timestamp() if until else np.inf)
            places.append(ReferencePlace(belt.conveyor.tag, strand, zone, until, traits_of(belt, strand)))
    stretches = Stretches(
        at_s=grid,
        total=np.array(totals).reshape(-1, grid.size),
        until_s=np.array(until_s, dtype=float),
        rate_per_h=np.zeros(0),
        incident_at_s=np.concatenate([np.zeros(0), *at_s]),
        incident_of=np.repeat(np.arange(len(at_s)), [each.size for each in at_s]).astype(int),
    )
    n_untreated = int(np.count_nonzero(stretches.is_untreated))
    if n_untreated < FEWEST_STRETCHES:
        model: ReferenceModel | NoReference = too_few_stretches(n_untreated)
    else:
        columns = {name: [each.traits[name] for each in places] for name in places[0].traits}
        edges = grid[::-REFERENCE_YEAR_DAYS][::-1]
        years = [stretches.within(*pair) for pair in itertools.pairwise([grid[0], *edges[1:-1], np.inf])]
        n, hours = (np.column_stack([each[i] for each in years]) for i in (0, 1))
        model = fit_reference(n, hours, columns)
    if not isinstance(model, NoReference):
        stretches = replace(stretches, rate_per_h=np.array([model.rate_per_h(each.traits) for each in places]))
    return Reference(model, days, stretches, tuple(places))


def stretches_of(belt: Belt) -> Iterable[tuple[str, Zone, dt.datetime | None]]:
    """Stretches with a drift switch: strand, place, and until when no device reached it (None: never one did)."""
    switches = [each.chainage_m for each in belt.standing_switches]
    for strand in STRANDS:
        treated = [(each, zones_of(each)) for each in belt.installations if each.strand == strand]
        covered = union(zone for _one, zones in treated for zone in zones)
        for gap in uncovered(covered, belt.conveyor.length_m):
            n = max(1, round(gap.length_m / TILE_M))
            edges = np.linspace(gap.low_m, gap.high_m, n + 1)
            for low, high in itertools.pairwise(edges):
                # A switch on the edge of two tiles is seen in the upper one only.
                inside = Zone(float(low), float(high) - (1e-6 if high < gap.high_m else 0.0))
                if high - low >= SHORTEST_TILE_M and detectors_in([inside], switches):
                    yield strand, inside, None
        for each, zones in treated:
            for zone in zones:
                reached = [other.installed_at for other, those in treated if any(_meet(zone, one) for one in those)]
                if detectors_in([zone], switches):
                    yield strand, zone, min([each.installed_at, *reached])


def _meet(one: Zone, other: Zone) -> bool:
    return one.low_m < other.high_m and other.low_m < one.high_m


def traits_of(belt: Belt, strand: str) -> dict[str, float]:
    """Candidates of the reference model."""
    conveyor = belt.conveyor
    return {
        "wet abrasive duty": float(conveyor.duty == conveyor.Duty.WET_ABRASIVE),
        "carry strand": float(strand == "carry"),
        "log of belt length": float(np.log(conveyor.length_m)),
        "belt speed": float(conveyor.speed_m_s or np.nan),
        "belt width": float(conveyor.belt_width_mm or np.nan) / 1000.0,
    }


def days_of(
    belt: Belt, chosen: NDArray[np.bool_], window: Window, reference: Reference
) -> tuple[NDArray[np.int_], FloatArray]:
    """Day of each chosen incident in a window at known running hours, counted from its start, and the hours of each."""
    incidents = belt.incidents
    at_s = incidents.at_s[chosen & incidents.is_covered & incidents.within(window)]
    daily = reference.hours_by_day(belt, window)
    day = np.floor((at_s - window.start.timestamp()) / DAY_S).astype(int)
    return np.clip(day, 0, daily.size - 1), daily


def answers_of(
    belt: Belt,
    strand: str,
    zones: Sequence[Zone],
    before: Any,
    after: Any,
    reference: Reference,
    level: float,
) -> Answers:
    """The other answers for two sides of a comparison."""
    here = belt.incidents.in_zones(strand, zones)
    spells = check_spells([days_of(belt, here, side.window, reference) for side in (before, after)])
    if before.hours <= 0 or after.hours <= 0:
        return Answers(spells, None, None, None, None, ())
    trend = reference.trend(before.window, after.window)
    reasons = []
    counts = (before.n, before.hours, after.n, after.hours)
    compared = None
    if trend is None:
        reasons.append(Reason(ReferenceRule.NO_TREND))
    elif before.n + after.n > 0:
        told: dict[str, Any] = {"trend": trend.ratio, "log_error": trend.log_error, "level": level}
        compared = index_of_effect(*counts, rate_per_h=1.0, shape=0.0, dispersion=spells.widening, **told)
    model = reference.model
    if isinstance(model, NoReference):
        return Answers(spells, trend, compared, None, None, (*reasons, *model.reasons))
    traits = traits_of(belt, strand)
    if any(not np.isfinite(traits[name]) for name in model.names):
        return Answers(spells, trend, compared, None, None, (*reasons, Reason(ReferenceRule.TRAIT_UNKNOWN)))
    rate = model.rate_per_h(traits)
    shrunk = index_against(model, traits, *counts, trend=trend, dispersion=spells.widening, level=level)
    return Answers(spells, trend, compared, shrunk, 1000.0 * rate, tuple(reasons), model, traits)


# --- beside the zone --------------------------------------------------------------------------------------------------
class BesidePlace(StrEnum):
    """Where a stretch beside the zone lies, by the belt's travel where it runs one way."""

    BELOW = "beside.below"
    ABOVE = "beside.above"
    DOWNSTREAM_TO_TAIL = "beside.downstream_to_tail"
    UPSTREAM_TO_HEAD = "beside.upstream_to_head"
    UPSTREAM_TO_TAIL = "beside.upstream_to_tail"
    DOWNSTREAM_TO_HEAD = "beside.downstream_to_head"
    REST = "beside.rest"


@dataclass(frozen=True)
class Beside:
    """A stretch next to the zone, or the rest of the belt, in the same windows."""

    place: BesidePlace
    low_m: float | None
    high_m: float | None
    ratio: RateRatio


def beside_zone(belt: Belt, strand: str, zones: Sequence[Zone], before: Any, after: Any) -> tuple[Beside, ...]:
    """Whether the wander moved instead of going: stretches below and above the zone, and the rest of the belt.

    Stretches are as long as a tile, cut at the pulleys, and named by the belt's travel where it runs one way. The rest
    is every other place on either strand.
    """
    length_m, edge = belt.conveyor.length_m, 1e-6
    low, high = min(zone.low_m for zone in zones), max(zone.high_m for zone in zones)
    to_tail, to_head = beside_places(strand, is_reversing=belt.conveyor.is_reversing)
    spans = [(to_tail, max(0.0, low - TILE_M), low - edge)]
    spans += [(to_head, high + edge, min(length_m, high + TILE_M))]
    incidents = belt.incidents
    mine, near, rows = incidents.in_zones(strand, zones), np.zeros(incidents.at_s.shape, dtype=bool), []

    def compared(chosen: NDArray[np.bool_]) -> RateRatio:
        kept = chosen & incidents.is_covered
        n = [int(np.count_nonzero(kept & incidents.within(side.window))) for side in (before, after)]
        return compare_rates(n[0], before.hours, n[1], after.hours)

    for place, start, end in spans:
        if end - start > 1.0:
            here = incidents.in_zones(strand, [Zone(start, end)])
            near |= here
            rows.append(Beside(place, round(start, 1), round(end, 1), compared(here)))
    rest = ~mine & ~near & np.isfinite(incidents.chainage_m)
    rows.append(Beside(BesidePlace.REST, None, None, compared(rest)))
    return tuple(rows)


def beside_places(strand: str, *, is_reversing: bool) -> tuple[BesidePlace, BesidePlace]:
    """The stretches towards the tail and towards the head."""
    if is_reversing:
        return BesidePlace.BELOW, BesidePlace.ABOVE
    if strand == "return":
        return BesidePlace.DOWNSTREAM_TO_TAIL, BesidePlace.UPSTREAM_TO_HEAD
    return BesidePlace.UPSTREAM_TO_TAIL, BesidePlace.DOWNSTREAM_TO_HEAD


@dataclass(frozen=True)
class Sensitivity:
    """The verdict under another way of counting; no merge time where nothing of it can be merged otherwise."""

    merge_minutes: int | None
    is_possible: bool
    n_before: int
    n_after: int
    n_raw: int  # incidents of both sides, as in the book, to whose raw events the merge time was applied
    n_booked: int  # all of them
    ratio: RateRatio
    judgement: Judgement


# How far beyond an end of the zone a logged place may have meant the zone; common practice, no source.
POSSIBLE_M = 15.0
MERGE_MINUTES = (5, 10, 20)


def sensitivity_of(
    belt: Belt, strand: str, zones: Sequence[Zone], before: Any, after: Any, n_detectors: int, rules: VerdictRules
) -> tuple[Sensitivity, ...]:
    """The counts' verdict with possible places too, and with other merge times where raw switch events are kept.

    Sure: in the zone. Possible: up to 15 m beyond its ends, or without a known place on the strand. What people logged
    was never merged and stays one each (`reports.selectors.raw_switches`).
    """
    incidents = belt.incidents
    raw = raw_switches_of(belt, [before.window, after.window])
    sure = incidents.in_zones(strand, zones)
    wide = [Zone(max(0.0, zone.low_m - POSSIBLE_M), zone.high_m + POSSIBLE_M) for zone in zones]
    possible = incidents.in_zones(strand, wide) | incidents.without_place(strand)
    rows = []
    for is_possible, chosen, places in ((False, sure, zones), (True, possible, wide)):
        booked = [
            int(np.count_nonzero(chosen & incidents.is_covered & incidents.within(side.window)))
            for side in (before, after)
        ]
        free = set_free(raw, belt, strand, places)
        freed = [free.n_booked(side.window) for side in (before, after)]
        tried: Sequence[int | None] = sorted({*MERGE_MINUTES, raw.merge_minutes}) if sum(freed) else (None,)
        for minutes in tried:
            n = list(booked)
            if minutes is not None:
                starts = [each.start for each in raw.join(free.events, minutes)]
                for k, side in enumerate((before, after)):
                    joined = sum(side.window.start <= at < side.window.end for at in starts)
                    n[k] = booked[k] - freed[k] + joined
            ratio = compare_rates(n[0], before.hours, n[1], after.hours, level=rules.level)
            judged = judge(ratio, coverage_before=1.0, coverage_after=1.0, n_detectors=n_detectors, rules=rules)
            rows.append(Sensitivity(minutes, is_possible, n[0], n[1], sum(freed), sum(booked), ratio, judged))
    return tuple(rows)
