"""Plants with a known truth, judged as the site judges: how often is the verdict wrong, do intervals keep their word?

Each plant has stretches of belt whose true rates differ (gamma). Devices go where the count of the year before was
highest, as people do, or where so many incidents came within a month, so that regression to the mean is in the data.
Counts are made day by day, in bad spells where the scenario says so; stretches are the reference and tell the trend for
as long as they have no device. From the daily counts on every step is the site's own: check for spells, reference
model, trend, shrinking, rule of the verdict, and the fleet's middle from the same answers. Beside them stands what a
sheet of paper does: the worst quarter before against everything after.

What the simulation leaves out: traits of belts, unknown hours, cuts, settling-in, and stretches whose own rates drift.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.calc.rates import compare_rates
from reports.calc.bad_spells import check_spells
from reports.calc.empirical_bayes import EffectIndex, index_against, index_of_effect
from reports.calc.pooled import pool_expected, random_effects
from reports.calc.reference_model import (
    FEWEST_FOR_TREND,
    FEWEST_STRETCHES,
    NoReference,
    ReferenceModel,
    Trend,
    fit_reference,
    fit_trend,
    trend_of,
)
from reports.calc.verdicts import EffectVerdict, VerdictRules, judge

FloatArray = NDArray[np.float64]

# The same few counts come again and again, and their exact limits take most of the time.
compared_rates = lru_cache(maxsize=None)(compare_rates)

DAYS = 365
HOURS_A_DAY = 13.0
QUARTER = 91
MONTH = 30
METHODS = ("worst quarter", "plain", "compared", "shrunk", "fleet, plain", "fleet, allowed for", "verdict")


@dataclass(frozen=True)
class Scenario:
    """One truth.

    Attributes
    ----------
    name : str
    effect : float
        True ratio of the rate after to before in the zone of a device [-].
    mean_per_1000_h, shape : float
        Mean and gamma shape of the true rates of stretches.
    n_stretches, n_treated : int
        Stretches of a plant, and how many of them get a device.
    is_selected : bool
        Devices go to the highest counts; else to stretches by lot.
    spell : float
        Mean number of incidents in a bad spell; 1 where they come singly.
    trend : float
        What happens to every stretch meanwhile [-].
    days_after : int
        Days after the installation that are known.
    trigger : int or None
        A device goes in on the day on which so many incidents came within 30 days; else all on one day.
    """

    name: str
    effect: float = 1.0
    mean_per_1000_h: float = 2.5
    shape: float = 8.0
    n_stretches: int = 60
    n_treated: int = 12
    is_selected: bool = True
    spell: float = 1.0
    trend: float = 1.0
    days_after: int = DAYS
    trigger: int | None = None

    @property
    def is_null(self) -> bool:
        """Devices do nothing, so that fewer and more are both wrong."""
        return self.effect == 1.0


SCENARIOS = (
    Scenario("no effect, by lot", is_selected=False),
    Scenario("no effect, worst chosen"),
    Scenario("no effect, worst chosen, bad spells", spell=2.0),
    Scenario("no effect, worst chosen, everything falls by a third", trend=0.67),
    Scenario("no effect, worst chosen, everything rises by a third", trend=1.33),
    Scenario("no effect, worst chosen, few incidents", mean_per_1000_h=0.8),
    Scenario("no effect, put in after four incidents in a month", trigger=4),
    Scenario("no effect, worst chosen, small plant", n_stretches=14, n_treated=6),
    Scenario("no effect, worst chosen, small plant, all falls by a third", n_stretches=14, n_treated=6, trend=0.67),
    Scenario("halved", effect=0.5),
    Scenario("halved, bad spells", effect=0.5, spell=2.0),
    Scenario("halved, few incidents", effect=0.5, mean_per_1000_h=0.8),
    Scenario("halved, three months after", effect=0.5, days_after=90),
    Scenario("worse by half", effect=1.5),
)


@dataclass
class Tally:
    """Counts of one method in one scenario."""

    n: int = 0
    fewer: int = 0
    more: int = 0
    too_early: int = 0
    n_intervals: int = 0
    covered: int = 0

    def share(self, name: str) -> float:
        """Share of the devices with this word; of the intervals for "covered"."""
        return float(getattr(self, name)) / self.out_of(name) if self.out_of(name) else math.nan

    def out_of(self, name: str) -> int:
        return self.n_intervals if name == "covered" else self.n


@dataclass
class Result:
    """What the methods said in one scenario, plant by plant."""

    scenario: Scenario
    n_plants: int
    plants: list[dict[str, Tally]] = field(default_factory=list)

    @property
    def tallies(self) -> dict[str, Tally]:
        """Sums over the plants."""
        return {name: self.sum_of(name) for name in METHODS}

    def sum_of(self, method: str) -> Tally:
        those = [each[method] for each in self.plants]
        return Tally(**{each.name: sum(getattr(one, each.name) for one in those) for each in fields(Tally)})

    def error(self, method: str, name: str) -> float:
        """Standard error of a share; devices of a plant share its trend and model, so that plants are the sample.

        References
        ----------
        Cochran, W. G. (1977), Sampling Techniques, 3rd ed., section 6.3, ratio estimate of clusters (from memory).
        """
        whole = self.sum_of(method)
        share, n = whole.share(name), whole.out_of(name)
        if self.n_plants < 2 or not n:
            return math.nan
        apart = sum((getattr(each[method], name) - share * each[method].out_of(name)) ** 2 for each in self.plants)
        return math.sqrt(apart * self.n_plants / (self.n_plants - 1)) / n


def daily_counts(rates_per_h: FloatArray, days: int, spell: float, rng: np.random.Generator) -> FloatArray:
    """Incidents of each stretch on each day, shape (stretches, days)."""
    means = np.broadcast_to(rates_per_h[:, None] * HOURS_A_DAY, (rates_per_h.size, days))
    if spell <= 1:
        return rng.poisson(means).astype(float)
    counts = np.zeros(means.shape)
    for stretch, day in np.argwhere(rng.poisson(means / spell) > 0):
        for _each in range(1 + rng.poisson(spell - 1)):
            counts[stretch, min(day + rng.integers(0, 3), days - 1)] += 1
    return counts


def days_of(counts: FloatArray) -> NDArray[np.int_]:
    """The day of each incident, for incidents counted by day."""
    return np.repeat(np.arange(counts.size), counts.astype(int))


@dataclass(frozen=True)
class MadePlant:
    """Incidents of each stretch on each day, and the day on which it got a device (the number of days: never)."""

    counts: FloatArray
    installed: NDArray[np.int_]

    def without_device(self, start: int, end: int) -> tuple[FloatArray, FloatArray]:
        """Incidents and running hours of each stretch in a span of days, while no device was there."""
        until = np.clip(self.installed, start, end)
        day = np.arange(start, end)
        n = (self.counts[:, start:end] * (day < until[:, None])).sum(axis=1)
        return n, np.asarray((until - start) * HOURS_A_DAY, dtype=float)


def make_plant(scenario: Scenario, rng: np.random.Generator) -> MadePlant:
    """One plant: who gets a device, when, and what is counted."""
    rates = rng.gamma(scenario.shape, scenario.mean_per_1000_h / 1000 / scenario.shape, scenario.n_stretches)
    n_days = DAYS + scenario.days_after + (DAYS if scenario.trigger else 0)
    untouched = daily_counts(rates, n_days, scenario.spell, rng)
    changed = daily_counts(rates * scenario.trend, n_days, scenario.spell, rng)
    untouched[:, DAYS:] = changed[:, DAYS:]
    installed = np.full(rates.size, n_days)
    if scenario.trigger:
        within = np.cumsum(untouched, axis=1)
        within[:, MONTH:] -= within[:, :-MONTH].copy()
        reached = within[:, DAYS : n_days - scenario.days_after] >= scenario.trigger
        installed[reached.any(axis=1)] = DAYS + 1 + reached.argmax(axis=1)[reached.any(axis=1)]
    else:
        order = rng.permutation(scenario.n_stretches)
        if scenario.is_selected:
            order = order[np.argsort(-untouched[order, :DAYS].sum(axis=1), kind="stable")]
        installed[order[: scenario.n_treated]] = DAYS
    treated = daily_counts(rates * scenario.trend * scenario.effect, n_days, scenario.spell, rng)
    return MadePlant(np.where(np.arange(n_days) < installed[:, None], untouched, treated), installed)


def run_plant(scenario: Scenario, result: Result, rules: VerdictRules, rng: np.random.Generator) -> None:
    """Make one plant, judge its devices, add to the tallies."""
    plant = make_plant(scenario, rng)
    tallies = {name: Tally() for name in METHODS}
    result.plants.append(tallies)
    n_days = plant.counts.shape[1]
    years = [plant.without_device(start, min(start + DAYS, n_days)) for start in range(0, n_days, DAYS)]
    untreated = plant.installed == n_days
    reference: ReferenceModel | NoReference = NoReference(int(untreated.sum()), ())
    if untreated.sum() >= FEWEST_STRETCHES:
        counts, hours = (np.column_stack([each[i] for each in years]) for i in (0, 1))
        reference = fit_reference(counts, hours)
    trends: dict[int, Trend | None] = {}
    devices: list[EffectIndex] = []
    strata: list[tuple[float, ...]] = []
    for each in np.flatnonzero(~untreated):
        day = int(plant.installed[each])
        if day not in trends:
            trends[day] = trend_at(plant, day, scenario.days_after, reference)
        before, after = plant.counts[each, day - DAYS : day], plant.counts[each, day : day + scenario.days_after]
        index, divided = judge_device(scenario, tallies, rules, before, after, reference, trends[day])
        devices += [index] if index is not None else []
        strata.append(divided)
    pool_devices(scenario, tallies, devices, strata, rules.level)


def pool_devices(
    scenario: Scenario,
    tallies: dict[str, Tally],
    devices: Sequence[EffectIndex],
    strata: Sequence[tuple[float, ...]],
    level: float,
) -> None:
    """The fleet's middle of a plant: of the counts, and of the answers that allow for what the site can."""
    if len(devices) < 2:
        return
    columns = [(each.n_weighed, each.log_expected, each.own_variance, each.shared_error) for each in devices]
    allowed = pool_expected(*np.array(columns).T, level=level)
    plain = random_effects(*(list(each) for each in zip(*strata, strict=True)), level=level)
    for name, found in (("fleet, plain", plain), ("fleet, allowed for", allowed)):
        if found.low is not None and found.high is not None:
            note_interval(tallies[name], found.low, found.high, scenario.effect)


def trend_at(plant: MadePlant, day: int, days_after: int, reference: ReferenceModel | NoReference) -> Trend | None:
    """The trend between the year before a day and the days after, as the site finds it."""
    columns = [plant.without_device(day - DAYS, day), plant.without_device(day, day + days_after)]
    n, hours = (np.column_stack([each[i] for each in columns]) for i in (0, 1))
    ever_n, ever_h = plant.without_device(0, plant.counts.shape[1])
    untreated = plant.installed == plant.counts.shape[1]
    if isinstance(reference, NoReference):
        (n_before, n_after), (h_before, h_after) = n[untreated].sum(axis=0), hours[untreated].sum(axis=0)
        if min(n_before, n_after) < FEWEST_FOR_TREND:
            return None
        return trend_of(int(n_before), float(h_before), int(n_after), float(h_after))
    return fit_trend(
        np.column_stack([n, ever_n - n.sum(axis=1)]),
        np.column_stack([hours, ever_h - hours.sum(axis=1)]),
        rate_per_h=np.full(untreated.size, reference.rate_per_h({})),
        shape=reference.shape,
        is_untreated=untreated,
    )


def judge_device(
    scenario: Scenario,
    tallies: dict[str, Tally],
    rules: VerdictRules,
    before: FloatArray,
    after: FloatArray,
    reference: ReferenceModel | NoReference,
    trend: Trend | None,
) -> tuple[EffectIndex | None, tuple[float, ...]]:
    """Every method's word on one device, from its incidents of each day; what the fleet's answer is pooled from."""
    n0, n1 = int(before.sum()), int(after.sum())
    hours_before, hours_after = DAYS * HOURS_A_DAY, after.size * HOURS_A_DAY
    daily = np.full(DAYS, HOURS_A_DAY), np.full(after.size, HOURS_A_DAY)
    spells = check_spells([(days_of(before), daily[0]), (days_of(after), daily[1])])
    ratio = compared_rates(n0, hours_before, n1, hours_after, level=rules.level)
    told: dict[str, Any] = {"coverage_before": 1, "coverage_after": 1, "n_detectors": 1, "rules": rules}
    plain = judge(ratio, **told)
    note(tallies["plain"], plain.verdict, ratio.low, ratio.high, scenario.effect)
    quarters = before[: 4 * QUARTER].reshape(4, QUARTER).sum(axis=1)
    sheet = compared_rates(int(quarters.max()), QUARTER * HOURS_A_DAY, n1, hours_after, level=rules.level)
    if sheet.low is not None and sheet.high is not None:
        note_interval(tallies["worst quarter"], sheet.low, sheet.high, scenario.effect)
    sides = (n0, hours_before, n1, hours_after)
    known: dict[str, Any] = {"dispersion": spells.widening, "level": rules.level}
    compared = shrunk = None
    if trend is not None and n0 + n1 > 0:
        drift: dict[str, Any] = {"trend": trend.ratio, "log_error": trend.log_error, **known}
        compared = index_of_effect(*sides, rate_per_h=1.0, shape=0.0, **drift)
        note_interval(tallies["compared"], compared.low, compared.high, scenario.effect)
    if not isinstance(reference, NoReference):
        shrunk = index_against(reference, {}, *sides, trend=trend, **known)
        note_interval(tallies["shrunk"], shrunk.low, shrunk.high, scenario.effect)
    said = judge(ratio, **told, spells=spells, shrunk=shrunk, compared=compared)
    note(tallies["verdict"], said.verdict, None, None, scenario.effect)
    return shrunk or compared, tuple(each / spells.widening for each in sides)


def note(tally: Tally, verdict: EffectVerdict, low: float | None, high: float | None, truth: float) -> None:
    """Count one verdict, and whether its interval held the truth."""
    tally.n += 1
    tally.fewer += verdict is EffectVerdict.FEWER
    tally.more += verdict is EffectVerdict.MORE
    tally.too_early += verdict is EffectVerdict.TOO_EARLY
    if low is not None and high is not None:
        tally.n_intervals += 1
        tally.covered += low <= truth <= high


def note_interval(tally: Tally, low: float, high: float, truth: float) -> None:
    """Count one interval as if its side of 1 were the verdict, and whether it held the truth."""
    tally.n += 1
    tally.fewer += high < 1
    tally.more += low > 1
    tally.n_intervals += 1
    tally.covered += low <= truth <= high


def simulate(
    scenarios: Sequence[Scenario] = SCENARIOS,
    *,
    n_plants: int,
    seed: int,
    rules: VerdictRules | None = None,
    progress: Callable[[str], None] | None = None,
) -> list[Result]:
    """Every scenario with its own stream of chance, so that one more scenario changes no other.

    Parameters
    ----------
    scenarios : sequence of Scenario, optional
        The plants to make up.
    n_plants : int
        Plants of each scenario, at least 1.
    seed : int
    rules : VerdictRules, optional
        By which the verdicts are reached; the usual ones if not given.
    progress : callable, optional
        Told the name of each scenario as it begins.

    Raises
    ------
    ValueError
        If n_plants is below 1.
    """
    if n_plants < 1:
        raise ValueError(f"n_plants is {n_plants}; give 1 or more")
    results = []
    for scenario in scenarios:
        if progress is not None:
            progress(scenario.name)
        result = Result(scenario, n_plants)
        rng = np.random.default_rng([seed, *scenario.name.encode()])
        for _each in range(n_plants):
            run_plant(scenario, result, rules or VerdictRules(), rng)
        results.append(result)
    return results


def as_table(results: Sequence[Result], level: float = 0.95) -> str:
    """The results as a table in Markdown; shares with one standard error, plants taken as the sample.

    Where the truth is no effect, the last column holds the rule's wrong verdicts, fewer and more together, against what
    it promises. The rows of the fleet hold one interval for each plant.

    Parameters
    ----------
    results : sequence of Result
    level : float, optional
        Coverage that the intervals were asked for [-].
    """
    lines = [
        "| truth | method | fewer | more | too early | interval holds the truth | promise |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for result in results:
        for method, tally in result.tallies.items():
            if not tally.n:
                continue

            def told(name: str, result: Result = result, method: str = method, tally: Tally = tally) -> str:
                return f"{100 * tally.share(name):.1f} ± {100 * result.error(method, name):.1f} %"

            early = f"{100 * tally.share('too_early'):.1f} %" if method in {"plain", "verdict"} else "-"
            covered = told("covered") if tally.n_intervals else "-"
            kept = promise(result, 1.0 - level) if method == "verdict" and result.scenario.is_null else "-"
            shares = f"{told('fewer')} | {told('more')} | {early} | {covered}"
            lines.append(f"| {result.scenario.name} | {method} | {shares} | {kept} |")
    return "\n".join(lines)


def promise(result: Result, nominal: float) -> str:
    """Whether wrong verdicts of both kinds together keep to the nominal share, in words."""
    if not result.tallies["shrunk"].n:
        return "none made"
    verdict = result.tallies["verdict"]
    share = verdict.share("fewer") + verdict.share("more")
    error = math.hypot(result.error("verdict", "fewer"), result.error("verdict", "more"))
    if share <= nominal:
        return f"at most {100 * nominal:g} % in all: kept"
    if share <= nominal + 2.0 * error:
        return f"at most {100 * nominal:g} % in all: above it, by less than two errors"
    return f"at most {100 * nominal:g} % in all: broken"
