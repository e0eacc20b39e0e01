"""The verdict that counts before and after an installation allow.

The arithmetic of the counts is in `plant.calc.rates`. The verdict is reached in a fixed order of rules, which
`reports.words.study_rules` tells: it cannot be judged; fewer or more; shown to change little; too early to tell; too
few incidents to tell; no clear change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from plant.calc.rate_power import hours_needed
from plant.calc.rates import RateRatio, check_level, counted
from plant.calc.reasons import Reason
from reports.calc.bad_spells import SpellCheck, widened_limits
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.smallest_change import tells_fewer_at_best


class EffectVerdict(StrEnum):
    """What the counts allow to be said; the value is kept, the words are shown."""

    FEWER = "fewer"
    MORE = "more"
    NO_CLEAR_CHANGE = "no_clear_change"
    CHANGES_LITTLE = "changes_little"
    TOO_FEW = "too_few"
    TOO_EARLY = "too_early"
    CANNOT_BE_JUDGED = "cannot_be_judged"


class VerdictRule(StrEnum):
    """What carries a verdict, or stands in its way."""

    NO_DETECTOR = "verdict.no_detector"
    HOURS_UNKNOWN_BEFORE = "verdict.hours_unknown_before"
    HOURS_UNKNOWN_AFTER = "verdict.hours_unknown_after"
    NO_HOURS_BEFORE = "verdict.no_hours_before"
    COUNTED = "verdict.counted"
    RATIO = "verdict.ratio"
    RATIO_WITHOUT_LIMIT = "verdict.ratio_without_limit"
    BAD_SPELLS = "verdict.bad_spells"
    SHRUNK = "verdict.shrunk"
    COMPARED = "verdict.compared"
    ALONE = "verdict.alone"
    ALL_BELOW_1 = "verdict.all_below_1"
    ALL_ABOVE_1 = "verdict.all_above_1"
    INCLUDES_1 = "verdict.includes_1"
    WITHIN_MARGIN = "verdict.within_margin"
    LIMIT_BELOW_1 = "verdict.limit_below_1"
    LIMIT_NOT_BELOW_1 = "verdict.limit_not_below_1"
    LIMIT_ABOVE_1 = "verdict.limit_above_1"
    LIMIT_NOT_ABOVE_1 = "verdict.limit_not_above_1"
    EXPLAINED_OTHERWISE = "verdict.explained_otherwise"
    EXPLAINED_BY_SPELLS = "verdict.explained_by_spells"
    TOO_FEW_HOURS_AFTER = "verdict.too_few_hours_after"
    NONE_BEFORE = "verdict.none_before"
    TOO_FEW_BEFORE = "verdict.too_few_before"
    NO_TIME_CAN_BE_STATED = "verdict.no_time_can_be_stated"
    MORE_HOURS_HARDLY_TELL = "verdict.more_hours_hardly_tell"
    HOURS_WITHOUT_INCIDENT_NEEDED = "verdict.hours_without_incident_needed"
    HOURS_NEEDED = "verdict.hours_needed"


@dataclass(frozen=True)
class VerdictRules:
    """Numbers that a plant fixes before it looks at the counts.

    Parameters
    ----------
    level : float, optional
        Coverage of the exact interval, 0 < level < 1 [-].
    least_coverage : float, optional
        Share of the period whose running hours are known, on each side, 0 to 1 [-]. Common practice, no source.
    margin : tuple of float, optional
        Ratios between which a change is called little, one below 1 and one above [-]. Common practice, no source.
    least_after_share : float, optional
        Hours after as a share of the hours before from which on "no clear change" may be said, above 0 [-]. Own rule.

    Raises
    ------
    ValueError
        If a number is outside its range.
    """

    level: float = 0.95
    least_coverage: float = 0.8
    margin: tuple[float, float] = (0.8, 1.25)
    least_after_share: float = 0.5

    def __post_init__(self) -> None:
        check_level(self.level)
        if not 0 <= self.least_coverage <= 1:
            raise ValueError(f"least_coverage is {self.least_coverage}; give a share from 0 to 1, such as 0.8")
        if len(self.margin) != 2 or not 0 < self.margin[0] < 1 < self.margin[1] < math.inf:
            raise ValueError(f"margin is {self.margin}; give a ratio below 1 and one above 1, such as (0.8, 1.25)")
        if not 0 < self.least_after_share < math.inf:
            raise ValueError(f"least_after_share is {self.least_after_share}; give a share above 0, such as 0.5")


@dataclass(frozen=True)
class Judgement:
    """Verdict with the reasons that carry it and, where more running would help, the hours still needed."""

    verdict: EffectVerdict
    reasons: tuple[Reason, ...]
    hours_needed: float | None = None


def judge(
    ratio: RateRatio,
    *,
    coverage_before: float,
    coverage_after: float,
    n_detectors: int,
    rules: VerdictRules | None = None,
    spells: SpellCheck | None = None,
    shrunk: EffectIndex | None = None,
    compared: EffectIndex | None = None,
) -> Judgement:
    """The verdict that the counts allow, with its reasons, in the order of the rules.

    Parameters
    ----------
    ratio : RateRatio
        Result of `compare_rates` at the level of the rules.
    coverage_before, coverage_after : float
        Share of each period whose running hours are known, 0 to 1 [-].
    n_detectors : int
        Drift switches, and stations that people log, inside the effect zone.
    rules : VerdictRules, optional
        The plant's numbers; start values where left out.
    spells : SpellCheck, optional
        Whether incidents come in bad spells; where they do, the interval is widened.
    shrunk : EffectIndex, optional
        The answer after allowing for regression to the mean; it must agree before fewer or more is said.
    compared : EffectIndex, optional
        The answer against untreated stretches alone; it must agree where there is no `shrunk`.

    Returns
    -------
    Judgement
        verdict; reasons; hours_needed [h] for "too early" and "no clear change", where they exist.

    Raises
    ------
    ValueError
        If a coverage is outside 0 to 1, n_detectors is negative, or the levels differ.
    """
    rules = rules or VerdictRules()
    _check_told(ratio, coverage_before, coverage_after, n_detectors, rules)
    obstacles = _obstacles(ratio, coverage_before, coverage_after, n_detectors, rules)
    if obstacles:
        return Judgement(EffectVerdict.CANNOT_BE_JUDGED, obstacles)
    counts = (*_counts(ratio), *_spells(ratio, spells), *_allowed(shrunk, compared))
    clear, contradiction = _by_limits(ratio, rules, limits_with_spells(ratio, spells), shrunk or compared)
    if clear is not None:
        return Judgement(clear.verdict, (*counts, *clear.reasons))
    least_h = rules.least_after_share * ratio.hours_before
    too_soon = Reason(VerdictRule.TOO_FEW_HOURS_AFTER, {"after_h": ratio.hours_after, "least_h": least_h})
    if contradiction and ratio.hours_after >= least_h:
        return Judgement(EffectVerdict.NO_CLEAR_CHANGE, (*counts, *contradiction))
    if contradiction:
        return Judgement(EffectVerdict.TOO_EARLY, (*counts, *contradiction, too_soon))
    needed = hours_needed(ratio.n_before, ratio.hours_before, ratio.n_after, ratio.hours_after, level=rules.level)
    unclear = () if ratio.ratio is None else (Reason(VerdictRule.INCLUDES_1, _level(rules.level)),)
    waiting = (*counts, *unclear, _needed(ratio, needed))
    if ratio.hours_after < least_h:
        return Judgement(EffectVerdict.TOO_EARLY, (*waiting, too_soon), needed)
    if not could_tell(ratio, rules=rules, spells=spells):
        return Judgement(EffectVerdict.TOO_FEW, (*waiting, _too_few(ratio)), needed)
    return Judgement(EffectVerdict.NO_CLEAR_CHANGE, waiting, needed)


def could_tell(ratio: RateRatio, *, rules: VerdictRules, spells: SpellCheck | None = None) -> bool:
    """Whether the counts could have told fewer, more or little change, or on their own do.

    Where they could not, and enough hours have passed, the verdict is "too few incidents to tell". Where they could,
    it is fewer, more, shown to change little or no clear change, also where the counts alone tell a rise from too few
    before and what else happened explains it; or it is still too early.

    Parameters
    ----------
    ratio : RateRatio
        Result of `compare_rates` at the level of the rules.
    rules : VerdictRules
        The plant's numbers.
    spells : SpellCheck, optional
        Whether incidents come in bad spells.

    Returns
    -------
    bool
        True where the interval would leave out 1 if none had come after, where it leaves out 1, or where it lies within
        the margin.
    """
    sides = (ratio.n_before, ratio.hours_before, ratio.hours_after)
    dispersion = spells.widening if spells is not None else 1.0
    if tells_fewer_at_best(*sides, dispersion=dispersion, level=rules.level):
        return True
    if ratio.low is None or ratio.high is None:
        return False
    within = rules.margin[0] <= ratio.low and ratio.high <= rules.margin[1]
    return within or ratio.high < 1 or ratio.low > 1


def _check_told(
    ratio: RateRatio, coverage_before: float, coverage_after: float, n_detectors: int, rules: VerdictRules
) -> None:
    for name, share in (("coverage_before", coverage_before), ("coverage_after", coverage_after)):
        if not 0 <= share <= 1:
            raise ValueError(f"{name} is {share}; give the covered share of the period from 0 to 1")
    if n_detectors < 0:
        raise ValueError(f"n_detectors is {n_detectors}; give the number of switches and logged stations from 0 up")
    if ratio.level != rules.level:
        raise ValueError(
            f"ratio was worked out at level {ratio.level}, the rules ask for {rules.level}; compare at the same level"
        )


def _by_limits(
    ratio: RateRatio, rules: VerdictRules, limits: tuple[float, float] | None, allowed: EffectIndex | None
) -> tuple[Judgement | None, tuple[Reason, ...]]:
    """The verdict where the limits are clear; else why the counts alone would have been, where they would."""
    if limits is None or ratio.low is None or ratio.high is None:
        return None, ()
    low, high = limits
    allowed_low, allowed_high = (allowed.low, allowed.high) if allowed is not None else limits
    level = _level(rules.level)
    if high < 1 and (allowed is None or allowed.high_one_sided < 1):
        decides = _deciding(allowed, level, is_fewer=True)
        return Judgement(EffectVerdict.FEWER, (Reason(VerdictRule.ALL_BELOW_1, level), decides)), ()
    if low > 1 and (allowed is None or allowed.low_one_sided > 1):
        decides = _deciding(allowed, level, is_fewer=False)
        return Judgement(EffectVerdict.MORE, (Reason(VerdictRule.ALL_ABOVE_1, level), decides)), ()
    if rules.margin[0] <= min(low, allowed_low) and max(high, allowed_high) <= rules.margin[1]:
        margin = {"margin_low": rules.margin[0], "margin_high": rules.margin[1]}
        return Judgement(EffectVerdict.CHANGES_LITTLE, (Reason(VerdictRule.WITHIN_MARGIN, level | margin),)), ()
    if allowed is not None and (high < 1 or low > 1):
        return None, (Reason(VerdictRule.EXPLAINED_OTHERWISE), _deciding(allowed, level, is_fewer=high < 1))
    if ratio.high < 1 or ratio.low > 1:
        return None, (Reason(VerdictRule.EXPLAINED_BY_SPELLS),)
    return None, ()


def _obstacles(
    ratio: RateRatio, coverage_before: float, coverage_after: float, n_detectors: int, rules: VerdictRules
) -> tuple[Reason, ...]:
    """Every reason why the counts must not be judged at all."""
    found = []
    if n_detectors == 0:
        found.append(Reason(VerdictRule.NO_DETECTOR))
    for rule, share in (
        (VerdictRule.HOURS_UNKNOWN_BEFORE, coverage_before),
        (VerdictRule.HOURS_UNKNOWN_AFTER, coverage_after),
    ):
        if share < rules.least_coverage:
            found.append(Reason(rule, {"known_pct": 100.0 * share, "least_pct": 100.0 * rules.least_coverage}))
    if ratio.hours_before == 0:
        found.append(Reason(VerdictRule.NO_HOURS_BEFORE))
    return tuple(found)


def _counts(ratio: RateRatio) -> tuple[Reason, ...]:
    """What was counted, then what it comes to."""
    told = Reason(
        VerdictRule.COUNTED,
        {
            "before": counted(ratio.n_before),
            "before_h": ratio.hours_before,
            "n_after": ratio.n_after,
            "after_h": ratio.hours_after,
        },
    )
    if ratio.ratio is None or ratio.low is None or ratio.high is None:
        return (told, *ratio.reasons)
    if math.isinf(ratio.high):
        return (told, Reason(VerdictRule.RATIO_WITHOUT_LIMIT, {"low": ratio.low}))
    return (told, Reason(VerdictRule.RATIO, {"ratio": ratio.ratio, "low": ratio.low, "high": ratio.high}))


def limits_with_spells(ratio: RateRatio, spells: SpellCheck | None) -> tuple[float, float] | None:
    """Limits of a ratio: exact, and widened where its incidents come in bad spells.

    Parameters
    ----------
    ratio : RateRatio
        Result of `compare_rates`.
    spells : SpellCheck or None
        Of the same incidents; None takes them as they are.

    Returns
    -------
    tuple of float or None
        Low and high at the level of the ratio [-]; None where nothing can be compared.
    """
    if ratio.low is None or ratio.high is None:
        return None
    if spells is None or not spells.is_clustered:
        return ratio.low, ratio.high
    wide = widened_limits(
        ratio.n_before, ratio.hours_before, ratio.n_after, ratio.hours_after, spells.dispersion, level=ratio.level
    )
    return (ratio.low, ratio.high) if wide is None else (wide.low, wide.high)


def direction(ratio: RateRatio, spells: SpellCheck | None) -> str:
    """What two counts say on their own, nothing allowed for but bad spells.

    Parameters
    ----------
    ratio, spells
        As `limits_with_spells`.

    Returns
    -------
    str
        "fewer", "more", "flat", or "unjudged" where nothing can be compared: the names of the marks.
    """
    limits = limits_with_spells(ratio, spells)
    if limits is None:
        return "unjudged"
    if limits[1] < 1:
        return "fewer"
    return "more" if limits[0] > 1 else "flat"


def _spells(ratio: RateRatio, spells: SpellCheck | None) -> tuple[Reason, ...]:
    """That incidents came in bad spells, and what that makes of the interval."""
    limits = limits_with_spells(ratio, spells)
    if spells is None or not spells.is_clustered or limits is None:
        return ()
    return (
        Reason(
            VerdictRule.BAD_SPELLS,
            {
                "pairs": spells.pairs,
                "expected_pairs": spells.expected_pairs,
                "bad_days_before": spells.bad_days[0],
                "bad_days_after": spells.bad_days[-1],
                "dispersion": spells.dispersion,
                "low": limits[0],
                "high": limits[1],
            },
        ),
    )


def _allowed(shrunk: EffectIndex | None, compared: EffectIndex | None) -> tuple[Reason, ...]:
    """The answer that has to agree with the counts, by what it allows for."""
    for rule, index in ((VerdictRule.SHRUNK, shrunk), (VerdictRule.COMPARED, compared)):
        if index is not None:
            return (Reason(rule, {"ratio": index.ratio, "low": index.low, "high": index.high}),)
    return ()


def _deciding(allowed: EffectIndex | None, level: dict[str, float], *, is_fewer: bool) -> Reason:
    """The limit that decides beside the counts, with the level all on one side; or that nothing does."""
    if allowed is None:
        return Reason(VerdictRule.ALONE)
    if is_fewer:
        limit = allowed.high_one_sided
        rule = VerdictRule.LIMIT_BELOW_1 if limit < 1 else VerdictRule.LIMIT_NOT_BELOW_1
    else:
        limit = allowed.low_one_sided
        rule = VerdictRule.LIMIT_ABOVE_1 if limit > 1 else VerdictRule.LIMIT_NOT_ABOVE_1
    return Reason(rule, level | {"limit": limit})


def digits_beside_one(value: float) -> int:
    """How many digits show on which side of 1 a ratio lies: two, and as many more as it takes.

    Parameters
    ----------
    value : float
        A ratio.

    Returns
    -------
    int
        2 to 6.
    """
    digits = 2
    while digits < 6 and value != 1 and round(value, digits) == 1:
        digits += 1
    return digits


def _too_few(ratio: RateRatio) -> Reason:
    """Why no verdict of fewer was within reach."""
    if ratio.n_before == 0:
        return Reason(VerdictRule.NONE_BEFORE)
    return Reason(VerdictRule.TOO_FEW_BEFORE, {"after_h": ratio.hours_after, "before": counted(ratio.n_before)})


def _needed(ratio: RateRatio, needed: float | None) -> Reason:
    """How long to wait, or that waiting will not help."""
    if needed is None:
        nothing = ratio.n_before + ratio.n_after == 0
        return Reason(VerdictRule.NO_TIME_CAN_BE_STATED if nothing else VerdictRule.MORE_HOURS_HARDLY_TELL)
    rule = VerdictRule.HOURS_NEEDED if ratio.n_after else VerdictRule.HOURS_WITHOUT_INCIDENT_NEEDED
    return Reason(rule, {"needed_h": needed})


def _level(level: float) -> dict[str, float]:
    return {"level_pct": 100.0 * level}
