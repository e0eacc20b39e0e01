"""The words that counts before and after an installation allow.

The arithmetic of the counts is in `plant.calc.rates`. The verdict is reached in a fixed order of rules, see
`rule_text`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from plant.calc.rates import RateRatio, check_level, count_words, hours_needed
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

    @property
    def words(self) -> str:
        """The verdict as people read it."""
        return _WORDS[self]


_WORDS = {
    EffectVerdict.FEWER: "fewer incidents",
    EffectVerdict.MORE: "more incidents",
    EffectVerdict.NO_CLEAR_CHANGE: "no clear change",
    EffectVerdict.CHANGES_LITTLE: "shown to change little",
    EffectVerdict.TOO_FEW: "too few incidents to tell",
    EffectVerdict.TOO_EARLY: "too early to tell",
    EffectVerdict.CANNOT_BE_JUDGED: "cannot be judged",
}

ALONE = (
    "These are counts alone: neither devices being put where it was worst nor what happened elsewhere meanwhile is "
    "allowed for."
)


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
    """Verdict with the sentences that carry it and, where more running would help, the hours still needed."""

    verdict: EffectVerdict
    reasons: tuple[str, ...]
    hours_needed: float | None = None


def rule_text(rules: VerdictRules) -> tuple[str, ...]:
    """The rules of the verdict in the order in which they are tried, for the page.

    Parameters
    ----------
    rules : VerdictRules
        The plant's numbers.

    Returns
    -------
    tuple of str
        One sentence for each rule; the first that holds decides.
    """
    low, high = rules.margin
    return (
        "Cannot be judged: no switch or logged station stands in the zone, or running hours are known for less than "
        f"{_percent(rules.least_coverage)} of either period, or there are no running hours before.",
        f"Fewer or more incidents: the exact {_percent(rules.level)} interval of the ratio leaves out 1 (widened where "
        f"incidents come in bad spells), and so does, on the same side, the one-sided {_percent(rules.level)} limit "
        "after allowing for devices being put where it was worst and for what untreated stretches did. Where too few "
        "stretches are untreated for that, the answer compared with them takes its place; where that is missing too, "
        "the counts decide alone and the verdict says so. The promise: looked at once, a device that does nothing is "
        f"called fewer or more in at most {_wrong(rules.level)} of cases, both together, as far as the model of "
        "untreated "
        "stretches fits and their rates do not drift apart. Without that model nothing of the kind is promised, and "
        "who "
        "looks again and again sees a wrong verdict more often.",
        f"Shown to change little: all of these intervals lie between {low:g} and {high:g}, a margin fixed beforehand.",
        f"Too early to tell: fewer than {rules.least_after_share:g} times the hours before have been run after.",
        "Too few incidents to tell: none of these, and with no incident at all after the interval would not have left "
        "out 1 either: there were too few before. Such a comparison is counted neither where chance is reckoned with "
        "nor "
        "among those that have to stand together.",
        "No clear change: none of these; it does not say that the device does nothing.",
    )


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
    """The verdict that the counts allow, with its reasons, in the order of `rule_text`.

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
        verdict; reasons (whole sentences); hours_needed [h] for "too early" and "no clear change", where they exist.

    Raises
    ------
    ValueError
        If a coverage is outside 0 to 1, n_detectors is negative, or the levels differ.
    """
    rules = rules or VerdictRules()
    for name, share in (("coverage_before", coverage_before), ("coverage_after", coverage_after)):
        if not 0 <= share <= 1:
            raise ValueError(f"{name} is {share}; give the covered share of the period from 0 to 1")
    if n_detectors < 0:
        raise ValueError(f"n_detectors is {n_detectors}; give the number of switches and logged stations from 0 up")
    if ratio.level != rules.level:
        raise ValueError(
            f"ratio was worked out at level {ratio.level}, the rules ask for {rules.level}; compare at the same level"
        )
    obstacles = _obstacles(ratio, coverage_before, coverage_after, n_detectors, rules)
    if obstacles:
        return Judgement(EffectVerdict.CANNOT_BE_JUDGED, obstacles)
    allowed = shrunk or compared
    counts = (
        *_counts_sentences(ratio),
        *_spell_sentences(ratio, spells),
        *_allowed_sentences(shrunk, compared),
    )
    percent = _percent(rules.level)
    contradiction: tuple[str, ...] = ()
    limits = limits_with_spells(ratio, spells)
    if limits is not None and ratio.low is not None and ratio.high is not None:
        low, high = limits
        allowed_low, allowed_high = (allowed.low, allowed.high) if allowed is not None else (low, high)
        alone = () if allowed else (ALONE,)
        if high < 1 and (allowed is None or allowed.high_one_sided < 1):
            decides = (_deciding_sentence(allowed, percent, is_fewer=True),) if allowed else alone
            return Judgement(EffectVerdict.FEWER, (*counts, f"The whole {percent} interval lies below 1.", *decides))
        if low > 1 and (allowed is None or allowed.low_one_sided > 1):
            decides = (_deciding_sentence(allowed, percent, is_fewer=False),) if allowed else alone
            return Judgement(EffectVerdict.MORE, (*counts, f"The whole {percent} interval lies above 1.", *decides))
        if rules.margin[0] <= min(low, allowed_low) and max(high, allowed_high) <= rules.margin[1]:
            said = f"The whole {percent} interval lies between {rules.margin[0]:g} and {rules.margin[1]:g}."
            return Judgement(EffectVerdict.CHANGES_LITTLE, (*counts, said))
        if allowed is not None and (high < 1 or low > 1):
            contradiction = (
                "The counts alone leave out 1; what chance and the untreated stretches explain does not.",
                _deciding_sentence(allowed, percent, is_fewer=high < 1),
            )
        elif ratio.high < 1 or ratio.low > 1:
            contradiction = ("The exact interval leaves out 1, the one widened for bad spells does not.",)
    if contradiction and ratio.hours_after >= rules.least_after_share * ratio.hours_before:
        return Judgement(EffectVerdict.NO_CLEAR_CHANGE, (*counts, *contradiction))
    if contradiction:
        least = rules.least_after_share * ratio.hours_before
        said = f"{ratio.hours_after:.0f} h after are fewer than the {least:.0f} h that the rule asks for."
        return Judgement(EffectVerdict.TOO_EARLY, (*counts, *contradiction, said))
    needed = hours_needed(ratio.n_before, ratio.hours_before, ratio.n_after, ratio.hours_after, level=rules.level)
    waiting = (*counts, *_unclear(ratio, percent), _needed_sentence(ratio, needed))
    if ratio.hours_after < rules.least_after_share * ratio.hours_before:
        least = rules.least_after_share * ratio.hours_before
        said = f"{ratio.hours_after:.0f} h after are fewer than the {least:.0f} h that the rule asks for."
        return Judgement(EffectVerdict.TOO_EARLY, (*waiting, said), needed)
    sides = (ratio.n_before, ratio.hours_before, ratio.hours_after)
    dispersion = spells.widening if spells is not None else 1.0
    if not tells_fewer_at_best(*sides, dispersion=dispersion, level=rules.level):
        return Judgement(EffectVerdict.TOO_FEW, (*waiting, _too_few_sentence(ratio)), needed)
    return Judgement(EffectVerdict.NO_CLEAR_CHANGE, waiting, needed)


def _obstacles(
    ratio: RateRatio, coverage_before: float, coverage_after: float, n_detectors: int, rules: VerdictRules
) -> tuple[str, ...]:
    """Every reason why the counts must not be judged at all."""
    found = []
    if n_detectors == 0:
        found.append("No switch and no logged station stands in the effect zone: incidents there may go unseen.")
    for side, share in (("before", coverage_before), ("after", coverage_after)):
        if share < rules.least_coverage:
            known, least = _percent(share), _percent(rules.least_coverage)
            found.append(f"Running hours are known for {known} of the period {side}; {least} are needed.")
    if ratio.hours_before == 0:
        found.append("There are no running hours before to compare with.")
    return tuple(found)


def _counts_sentences(ratio: RateRatio) -> tuple[str, ...]:
    """What was counted, then what it comes to."""
    counted = (
        f"{count_words(ratio.n_before)} in {ratio.hours_before:.0f} h before, "
        f"{ratio.n_after} in {ratio.hours_after:.0f} h after."
    )
    if ratio.ratio is None or ratio.low is None or ratio.high is None:
        return (counted, *(f"{reason[0].upper()}{reason[1:]}." for reason in ratio.reasons))
    if math.isinf(ratio.high):
        return (counted, f"Ratio at least {ratio.low:.2f}; none before, so it has no upper limit.")
    return (counted, f"Ratio {ratio.ratio:.2f} ({ratio.low:.2f} to {ratio.high:.2f}).")


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


def _spell_sentences(ratio: RateRatio, spells: SpellCheck | None) -> tuple[str, ...]:
    """That incidents came in bad spells, and what that makes of the interval."""
    limits = limits_with_spells(ratio, spells)
    if spells is None or not spells.is_clustered or limits is None:
        return ()
    low, high = limits
    return (
        f"Incidents come in bad spells ({spells.pairs} close pairs where chance brings {spells.expected_pairs:.1f}; "
        f"{' and '.join(str(each) for each in spells.bad_days)} bad days before and after), so the interval is widened "
        f"by a dispersion of {spells.dispersion:.1f}: {low:.2f} to {high:.2f}.",
    )


def _allowed_sentences(shrunk: EffectIndex | None, compared: EffectIndex | None) -> tuple[str, ...]:
    """The answer that has to agree with the counts, by what it allows for."""
    if shrunk is not None:
        return (
            "After allowing for devices being put where it was worst, and for what untreated stretches did: "
            f"{shrunk.ratio:.2f} ({shrunk.low:.2f} to {shrunk.high:.2f}).",
        )
    if compared is not None:
        return (
            f"After allowing for what untreated stretches did: {compared.ratio:.2f} ({compared.low:.2f} to "
            f"{compared.high:.2f}); not for devices being put where it was worst.",
        )
    return ()


def _deciding_sentence(allowed: EffectIndex, percent: str, *, is_fewer: bool) -> str:
    """The limit that decides beside the counts: with the level all on one side."""
    limit = allowed.high_one_sided if is_fewer else allowed.low_one_sided
    where = ("below 1" if limit < 1 else "not below 1") if is_fewer else ("above 1" if limit > 1 else "not above 1")
    told = f"{limit:.{digits_beside_one(limit)}f}"
    return f"With these allowances the one-sided {percent} limit, which decides beside it, is {told}: {where}."


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


def _too_few_sentence(ratio: RateRatio) -> str:
    """Why no verdict of fewer was within reach."""
    if ratio.n_before == 0:
        return "Without an incident before none can have become fewer."
    return (
        f"Even with none in the {ratio.hours_after:.0f} h after, {count_words(ratio.n_before)} before would have "
        "been too "
        "few to say that they became fewer."
    )


def _unclear(ratio: RateRatio, percent: str) -> tuple[str, ...]:
    return () if ratio.ratio is None else (f"The {percent} interval includes 1.",)


def _needed_sentence(ratio: RateRatio, needed: float | None) -> str:
    """How long to wait, or that waiting will not help."""
    if needed is None:
        if ratio.n_before + ratio.n_after == 0:
            return "Without an incident on either side no running time can be stated."
        return "At the present rates more running would hardly ever tell."
    if ratio.n_after == 0:
        return f"About {needed:.0f} h more, free of incidents, are needed before that means fewer."
    return f"At the present rate about {needed:.0f} h more are needed."


def _percent(share: float) -> str:
    return f"{100 * share:g} %"


def _wrong(level: float) -> str:
    return _percent(round(1.0 - level, 9))


RULE_TEXT = rule_text(VerdictRules())
