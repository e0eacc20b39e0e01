"""Advice on how often to check: from what checks found, and from rules for hidden failures and for warning times.

All of it is advice. An engineer decides, knowing what a failure would do.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike

from plant.calc.reasons import Reason

# Below so many findings of act the shape is not estimated; own rule.
ENOUGH_TO_SHAPE = 8
# Fewer checks than this say nothing about an interval; own rule.
ENOUGH_CHECKS = 5


class CurveRule(StrEnum):
    """How a curve of findings is to be taken."""

    TOO_FEW_CHECKS = "curve.too_few_checks"
    GROWS = "curve.grows"
    SAME_CHANCE = "curve.same_chance"
    NO_ACT = "curve.no_act"
    ALL_ACT = "curve.all_act"
    NONE_LATER = "curve.none_later"


@dataclass(frozen=True)
class FindingCurve:
    """Chance that a check finds *act*, by days since the check before: 1 - exp(-(t / scale)^shape).

    Attributes
    ----------
    n_checks, n_act : int
        Checks behind it, and how many found act.
    days : float
        Sum of the days between checks [d].
    scale_d : float or None
        Days after which 63 % would be found at act; None where no check found act.
    shape : float
        1 where the chance in a further day does not depend on the age; larger where it grows.
    shape_is_fitted : bool
        False: too few findings, 1 is taken.
    level : float
    reasons : tuple of Reason
    """

    n_checks: int
    n_act: int
    days: float
    scale_d: float | None
    scale_low_d: float | None
    scale_high_d: float | None
    shape: float
    shape_is_fitted: bool
    level: float
    reasons: tuple[Reason, ...]

    def chance(self, days: float) -> tuple[float, float, float]:
        """Chance of act at an interval, with its interval: estimate, low, high, each 0 to 1."""
        return (
            chance_at(days, self.scale_d, self.shape),
            chance_at(days, self.scale_high_d, self.shape),
            chance_at(days, self.scale_low_d, self.shape),
        )

    def longest_days(self, risk: float) -> tuple[float | None, float | None]:
        """Longest interval that keeps the chance of act at or below the risk: by the estimate, and to be sure of it.

        Raises
        ------
        ValueError
            If the risk is not between 0 and 1.
        """
        if not 0 < risk < 1:
            raise ValueError(f"risk is {risk:g}; give a share between 0 and 1")
        stretch = (-math.log1p(-risk)) ** (1 / self.shape)
        estimate, sure = (None if scale is None else scale * stretch for scale in (self.scale_d, self.scale_low_d))
        return estimate, sure


def chance_at(days: float, scale_d: float | None, shape: float) -> float:
    """Chance that a device is found at *act* after so many days, by a Weibull law; 0 without a scale."""
    if scale_d is None or math.isinf(scale_d):
        return 0.0
    if scale_d == 0:
        return 1.0
    return float(-np.expm1(-((days / scale_d) ** shape)))


def finding_curve(days: ArrayLike, is_act: ArrayLike, *, level: float = 0.95) -> FindingCurve | None:
    """How the chance of finding act grows with the days since the check before.

    Each check tells only whether the state had become act by then, not when (current status). The scale is found by
    maximum likelihood with the interval of the likelihood ratio; the shape too, once enough checks found act and it
    describes them better than 1 does.

    Parameters
    ----------
    days : array of float, shape (n,)
        Days from the check before (which left it sound, or with a new part) to this one [d], above 0.
    is_act : array of bool, shape (n,)
        Whether this check found act.
    level : float, optional

    Returns
    -------
    FindingCurve or None
        None for fewer than five checks.

    Raises
    ------
    ValueError
        If lengths differ or days are not above 0.

    References
    ----------
    Binomial model with complementary log-log link: McCullagh & Nelder, Generalized Linear Models, 2nd ed. 1989, ch. 4
    (memory; checked against statsmodels). No finding at all: the limit is the exposure that would have shown one.
    """
    t, act = np.asarray(days, float), np.asarray(is_act, bool)
    if t.shape != act.shape:
        raise ValueError(f"days has {t.size} values and is_act {act.size}; give pairs")
    if t.size and t.min() <= 0:
        raise ValueError(f"days has {t.min():g}; give days since the check before, above 0")
    if t.size < ENOUGH_CHECKS:
        return None
    n_act = int(act.sum())
    reasons: list[Reason] = []
    shape, fitted = 1.0, False
    if n_act >= ENOUGH_TO_SHAPE and n_act < t.size and np.unique(t).size > 2:
        best = scipy.optimize.minimize_scalar(
            lambda each: -log_likelihood(best_scale(t, act, math.exp(each)), math.exp(each), t, act),
            bounds=(math.log(0.2), math.log(8.0)),
            method="bounded",
        )
        gain = 2 * (-float(best.fun) - log_likelihood(best_scale(t, act, 1.0), 1.0, t, act))
        if gain > scipy.stats.chi2.ppf(level, 1):
            shape, fitted = math.exp(float(best.x)), True
            reasons.append(Reason(CurveRule.GROWS, {"shape": round(shape, 1)}))
    if not fitted:
        reasons.append(Reason(CurveRule.SAME_CHANCE))
    cut = float(scipy.stats.chi2.ppf(level, 1)) / 2
    if n_act == 0:
        # Exposure in transformed time; the one-sided limit at the same tail as a two-sided interval has.
        low = float((t**shape).sum() / -math.log((1 - level) / 2)) ** (1 / shape)
        reasons.append(Reason(CurveRule.NO_ACT))
        return FindingCurve(t.size, 0, float(t.sum()), None, low, math.inf, shape, fitted, level, tuple(reasons))
    scale = best_scale(t, act, shape)
    top = log_likelihood(scale, shape, t, act)

    def below(log_scale: float) -> float:
        return log_likelihood(math.exp(log_scale), shape, t, act) - top + cut

    centre = math.log(scale) if math.isfinite(scale) and scale > 0 else math.log(float(t.min()))
    high = bracket(below, centre, +1)
    if n_act == t.size:
        reasons.append(Reason(CurveRule.ALL_ACT))
        return FindingCurve(t.size, n_act, float(t.sum()), scale, 0.0, high, shape, fitted, level, tuple(reasons))
    low = bracket(below, centre, -1)
    return FindingCurve(t.size, n_act, float(t.sum()), scale, low, high, shape, fitted, level, tuple(reasons))


AdviceRule = Literal["no_interval", "too_few", "no_reason_to_shorten", "too_long", "may_be_longer", "holds"]


@dataclass(frozen=True)
class IntervalAdvice:
    """What the findings allow to be said about an interval.

    Attributes
    ----------
    rule : str
        "too_few": the findings do not tell on which side of the risk the chance lies. "no_reason_to_shorten": no check
        found act, and the chance is surely not above the risk. "too_long": surely above it. "may_be_longer": surely
        below it at a longer interval that was seen too. "holds": surely below it, and nothing longer was seen.
        "no_interval": there is none in days to be judged.
    days : int or None
        The interval to take instead [d]; only for "too_long" and "may_be_longer".
    n_needed : int or None
        Where no check found act and that is too few: checks without act at the present interval that would tell.
    """

    rule: AdviceRule
    days: int | None = None
    n_needed: int | None = None


def interval_advice(
    curve: FindingCurve, present_d: float | None, risk: float, *, longest_seen_d: float
) -> IntervalAdvice:
    """Whether the findings speak for a shorter or a longer interval, or are too few to tell.

    An interval is called too long only where the whole interval of the chance lies above the risk, and may be longer
    only where it lies below. Checks that found nothing bound the chance from above alone: they are at most no reason to
    shorten, and never a reason to.

    Parameters
    ----------
    curve : FindingCurve
    present_d : float or None
        The interval as it is, above 0 [d].
    risk : float
        Chance of act that is accepted, between 0 and 1 [-].
    longest_seen_d : float
        The longest time between two checks behind the curve [d]; nothing is offered beyond it.

    Returns
    -------
    IntervalAdvice

    Raises
    ------
    ValueError
        If the risk is not between 0 and 1.

    References
    ----------
    Exact limit of a share: Clopper and Pearson, Biometrika 26 (1934) 404. Nothing found in n: Hanley and
    Lippman-Hand, JAMA 249 (1983) 1743, "rule of three" (both from memory). That the whole interval decides: own rule.

    Examples
    --------
    >>> curve = finding_curve([90] * 22, [False] * 22)
    >>> interval_advice(curve, 90, 0.05, longest_seen_d=90)
    IntervalAdvice(rule='too_few', days=None, n_needed=72)
    """
    if not 0 < risk < 1:
        raise ValueError(f"risk is {risk:g}; give a share between 0 and 1")
    if present_d is None:
        return IntervalAdvice("no_interval")
    _chance, low, high = curve.chance(present_d)
    if curve.n_act == 0:
        if high <= risk:
            return IntervalAdvice("no_reason_to_shorten")
        needed = math.ceil(math.log((1 - curve.level) / 2) / math.log1p(-risk))
        return IntervalAdvice("too_few", n_needed=needed)
    _estimate, sure = curve.longest_days(risk)
    assert sure is not None  # some check found act, so there is a scale
    if low > risk:
        return IntervalAdvice("too_long", days=math.floor(sure) or None)
    if high > risk:
        return IntervalAdvice("too_few")
    longer = math.floor(min(sure, longest_seen_d))
    return IntervalAdvice("may_be_longer", days=longer) if longer > present_d else IntervalAdvice("holds")


def log_likelihood(scale: float, shape: float, t: np.ndarray, act: np.ndarray) -> float:
    """How well a Weibull law fits checks that found the wear before their day (act) or only after it (not act)."""
    hazard = (t / scale) ** shape
    return float(np.log(-np.expm1(-hazard[act])).sum() - hazard[~act].sum())


def best_scale(t: np.ndarray, act: np.ndarray, shape: float) -> float:
    """Scale of greatest likelihood for a shape; at the shortest interval's tenth where every check found act."""
    found = scipy.optimize.minimize_scalar(
        lambda each: -log_likelihood(math.exp(each), shape, t, act),
        bounds=(math.log(float(t.min()) / 10), math.log(float(t.max()) * 10 * t.size)),
        method="bounded",
        options={"xatol": 1e-10},
    )
    return math.exp(float(found.x))


def bracket(below: Callable[[float], float], centre: float, sign: int) -> float:
    """Where a log-likelihood has fallen to its limit on one side; 0 or infinity where it never does."""
    step = 0.5
    while step < 40:
        if below(centre + sign * step) < 0:
            return math.exp(scipy.optimize.brentq(below, *sorted((centre, centre + sign * step))))
        step *= 1.4
    return 0.0 if sign < 0 else math.inf


def failure_finding_interval(unavailability: float, mean_time_to_failure: float) -> float:
    """Interval at which a hidden failure is looked for so that it is present only for a chosen share of the time.

    Parameters
    ----------
    unavailability : float
        Share of the time in the failed state that is accepted, 0 to 0.5 [-].
    mean_time_to_failure : float
        In any unit of time, above 0.

    Returns
    -------
    float
        In the same unit; exact: U = 1 - (M / T)(1 - exp(-T / M)). The usual rule 2 U M is a little shorter.

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    if not 0 < unavailability <= 0.5:
        raise ValueError(f"unavailability is {unavailability:g}; give a share above 0, up to 0.5")
    if not mean_time_to_failure > 0:
        raise ValueError(f"mean_time_to_failure is {mean_time_to_failure:g}; give a time above 0")

    def excess(ratio: float) -> float:
        return 1 + math.expm1(-ratio) / ratio - unavailability

    return mean_time_to_failure * float(scipy.optimize.brentq(excess, 1e-9, 50.0))


@dataclass(frozen=True)
class WarningTime:
    """What an interval leaves of the time between a first sign and the failure (P-F interval).

    Attributes
    ----------
    left_d : float
        Least time to act after the sign was seen [d].
    n_inside : int
        Checks that surely fall between sign and failure.
    chance_seen : float
        Chance that at least one of them sees the sign [-].
    """

    left_d: float
    n_inside: int
    chance_seen: float


def warning_time(pf_days: float, interval_days: float, *, detect_each: float = 1.0) -> WarningTime:
    """Time left to act, and checks that surely fall inside, for an interval.

    References
    ----------
    Half of the P-F interval as start rule: Moubray; SAE JA1012 (memory).
    """
    if pf_days <= 0 or interval_days <= 0:
        raise ValueError(f"pf_days is {pf_days:g} and interval_days {interval_days:g}; give days above 0")
    if not 0 < detect_each <= 1:
        raise ValueError(f"detect_each is {detect_each:g}; give a share above 0, up to 1")
    n = math.floor(pf_days / interval_days)
    return WarningTime(max(pf_days - interval_days, 0.0), n, 1 - (1 - detect_each) ** n)


def longest_interval_d(pf_days: float, response_days: float) -> float:
    """Longest interval that leaves the days that a response takes; 0 where even that is too long."""
    return max(pf_days - response_days, 0.0)
