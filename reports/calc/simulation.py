"""Plants with a known truth, judged as the site judges: how often is the verdict wrong, do intervals keep their word?

Each plant has stretches of belt whose true rates differ (gamma). Devices go where the count of the year before was
highest, as people do, so that regression to the mean is in the data. Counts are made day by day, in bad spells where
the scenario says so; stretches without a device are the reference and tell the trend. From the daily counts on every
step is the site's own: check for spells, comparison, reference model, shrinking, rule of the verdict. Beside them
stands what a sheet of paper does: the worst quarter before against everything after.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reports.calc.bad_spells import check_spells
from reports.calc.empirical_bayes import (
    NoReference,
    fit_reference,
    fit_trend,
    index_against,
    index_of_effect,
    trend_of,
)
from reports.calc.rate_ratio import Verdict, VerdictRules, compare_rates, judge

FloatArray = NDArray[np.float64]

# The same few counts come again and again, and their exact limits take most of the time.
compared_rates = lru_cache(maxsize=None)(compare_rates)

DAYS = 365
HOURS_A_DAY = 13.0
QUARTER = 91
METHODS = ("worst quarter", "plain", "compared", "shrunk", "verdict")


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


SCENARIOS = (
    Scenario("no effect, by lot", is_selected=False),
    Scenario("no effect, worst chosen"),
    Scenario("no effect, worst chosen, bad spells", spell=2.0),
    Scenario("no effect, worst chosen, everything falls by a third", trend=0.67),
    Scenario("no effect, worst chosen, few incidents", mean_per_1000_h=0.8),
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
        return float(getattr(self, name)) / self.n if self.n else math.nan

    @property
    def coverage(self) -> float:
        return self.covered / self.n_intervals if self.n_intervals else math.nan


@dataclass
class Result:
    """What the methods said in one scenario."""

    scenario: Scenario
    n_plants: int
    tallies: dict[str, Tally] = field(default_factory=lambda: {name: Tally() for name in METHODS})


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
    return np.repeat(np.arange(counts.size), counts.astype(int))


def run_plant(scenario: Scenario, result: Result, rules: VerdictRules, rng: np.random.Generator) -> None:
    """Make one plant, judge its devices, add to the tallies."""
    rates = rng.gamma(scenario.shape, scenario.mean_per_1000_h / 1000 / scenario.shape, scenario.n_stretches)
    before = daily_counts(rates, DAYS, scenario.spell, rng)
    totals = before.sum(axis=1)
    order = rng.permutation(scenario.n_stretches)
    if scenario.is_selected:
        order = order[np.argsort(-totals[order], kind="stable")]
    treated = np.zeros(scenario.n_stretches, bool)
    treated[order[: scenario.n_treated]] = True
    factor = scenario.trend * np.where(treated, scenario.effect, 1.0)
    after = daily_counts(rates * factor, scenario.days_after, scenario.spell, rng)
    hours_before, hours_after = DAYS * HOURS_A_DAY, scenario.days_after * HOURS_A_DAY
    # As on the site: a stretch is reference for as long as no device reached it, so those of devices count before.
    reference = fit_reference(totals, np.full(totals.size, hours_before))
    others = ~treated
    if isinstance(reference, NoReference):
        untreated = [int(each[others].sum()) for each in (totals, after)]
        n_others = int(others.sum())
        trend = trend_of(untreated[0], hours_before * n_others, untreated[1], hours_after * n_others)
    else:
        trend = fit_trend(
            np.column_stack([totals, np.where(others, after.sum(axis=1), 0)]),
            np.column_stack([np.full(totals.size, hours_before), np.where(others, hours_after, 0.0)]),
            rate_per_h=np.full(totals.size, reference.rate_per_h({})),
            shape=reference.shape,
            is_untreated=others,
        )
    for each in np.flatnonzero(treated):
        n0, n1 = int(totals[each]), int(after[each].sum())
        daily = np.full(DAYS, HOURS_A_DAY), np.full(scenario.days_after, HOURS_A_DAY)
        spells = check_spells([(days_of(before[each]), daily[0]), (days_of(after[each]), daily[1])])
        ratio = compared_rates(n0, hours_before, n1, hours_after, level=rules.level)
        plain = judge(ratio, coverage_before=1, coverage_after=1, n_detectors=1, rules=rules)
        note(result.tallies["plain"], plain.verdict, ratio.low, ratio.high, scenario.effect)
        quarters = before[each, : 4 * QUARTER].reshape(4, QUARTER).sum(axis=1)
        sheet = compared_rates(int(quarters.max()), QUARTER * HOURS_A_DAY, n1, hours_after, level=rules.level)
        if sheet.low is not None and sheet.high is not None:
            note_interval(result.tallies["worst quarter"], sheet.low, sheet.high, scenario.effect)
        shrunk = None
        sides = (n0, hours_before, n1, hours_after)
        known: dict[str, Any] = {"dispersion": spells.widening, "level": rules.level}
        if trend is not None:
            told: dict[str, Any] = {"trend": trend.ratio, "log_error": trend.log_error, **known}
            compared = index_of_effect(*sides, rate_per_h=1.0, shape=0.0, **told)
            note_interval(result.tallies["compared"], compared.low, compared.high, scenario.effect)
        if not isinstance(reference, NoReference):
            shrunk = index_against(reference, {}, *sides, trend=trend, **known)
            note_interval(result.tallies["shrunk"], shrunk.low, shrunk.high, scenario.effect)
        said = judge(
            ratio, coverage_before=1, coverage_after=1, n_detectors=1, rules=rules, spells=spells, shrunk=shrunk
        )
        note(result.tallies["verdict"], said.verdict, None, None, scenario.effect)


def note(tally: Tally, verdict: Verdict, low: float | None, high: float | None, truth: float) -> None:
    tally.n += 1
    tally.fewer += verdict is Verdict.FEWER
    tally.more += verdict is Verdict.MORE
    tally.too_early += verdict is Verdict.TOO_EARLY
    if low is not None and high is not None:
        tally.n_intervals += 1
        tally.covered += low <= truth <= high


def note_interval(tally: Tally, low: float, high: float, truth: float) -> None:
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
    n_plants : int
        Plants of each scenario, at least 1.
    seed : int
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


def as_table(results: Sequence[Result]) -> str:
    """The results as a table in Markdown."""
    lines = [
        "| truth | method | fewer | more | too early | interval holds the truth |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for result in results:
        for method in METHODS:
            tally = result.tallies[method]
            if not tally.n:
                continue
            early = f"{100 * tally.share('too_early'):.1f} %" if method in {"plain", "verdict"} else "-"
            covered = "-" if math.isnan(tally.coverage) else f"{100 * tally.coverage:.1f} %"
            lines.append(
                f"| {result.scenario.name} | {method} | {100 * tally.share('fewer'):.1f} % | "
                f"{100 * tally.share('more'):.1f} % | {early} | {covered} |"
            )
    return "\n".join(lines)
