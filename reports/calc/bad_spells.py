"""Do incidents come in bad spells, so that counts vary more than chance alone would have it?

Exact intervals take incidents to be independent. A belt that wandered today is likelier to wander tomorrow, and then
the intervals are too narrow. What is looked at is how many pairs of incidents lie close together in time:

1. A *close pair* are two incidents of one side on the same day or with at most ``reach_days`` between their days.
2. With independent incidents the place of each is drawn in proportion to the day's running hours, so that the mean and
   the variance of the number of close pairs follow from the hours alone (`expected_pairs`).
3. Check: the chance of so many close pairs or more, by a negative binomial with that mean and variance (Poisson where
   the variance is no larger).
4. Dispersion: ``1 + 2 (pairs - expected) / n``, never below 1. With pairs of the same day only, it is the variance of
   the daily counts divided by their mean; with a longer reach the same for spells that go on to the next days.
5. Where the check fails the interval is widened: both counts and both exposures divided by the dispersion, which leaves
   the ratio and makes the interval that of so much less independent experience (McCullagh & Nelder's dispersion
   factor, carried to exact limits; own rule). Bad days, days with one incident or more, are told beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from plant.calc.reasons import Reason

FloatArray = NDArray[np.float64]

# Spells of the demo plant and of the trade's stories last one to three days; common practice, no source.
REACH_DAYS = 2
CHECK_LEVEL = 0.05
FEWEST = 4  # below so many incidents no check could fail for a good reason


class SpellRule(StrEnum):
    """Why it cannot be seen whether incidents come in spells."""

    TOO_FEW = "spells.too_few"
    NO_HOURS = "spells.no_hours"


@dataclass(frozen=True)
class SpellCheck:
    """Whether incidents come in spells: close pairs against those expected, and what it makes of the interval."""

    n: int
    pairs: int
    expected_pairs: float
    p: float | None
    dispersion: float
    bad_days: tuple[int, ...]
    reach_days: int = REACH_DAYS
    reasons: tuple[Reason, ...] = ()

    @property
    def is_clustered(self) -> bool:
        """The check fails: chance alone would seldom bring so many close pairs."""
        return self.p is not None and self.p < CHECK_LEVEL

    @property
    def widening(self) -> float:
        """By what counts and hours are divided before the interval is worked out; 1 where the check holds."""
        return self.dispersion if self.is_clustered else 1.0


def close_pairs(days: ArrayLike, reach_days: int) -> int:
    """How many pairs lie at most so many days apart.

    Parameters
    ----------
    days : array of int, shape (n,)
        Number of the day of each incident, in any order.
    reach_days : int
        0 or more [d].

    Returns
    -------
    int

    Examples
    --------
    >>> close_pairs([3, 3, 4, 9], 1)
    3
    """
    ordered = np.sort(np.asarray(days))
    upto = np.searchsorted(ordered, ordered + reach_days, side="right")
    return int(np.sum(upto - np.arange(1, ordered.size + 1)))


def expected_pairs(n: int, hours: ArrayLike, reach_days: int) -> tuple[float, float]:
    """Mean and variance of the number of close pairs if incidents are independent.

    Parameters
    ----------
    n : int
        Incidents, 0 or more.
    hours : array of float, shape (d,)
        Running hours of each day of the window, in order [h].
    reach_days : int
        0 or more [d].

    Returns
    -------
    tuple of float
        Mean and variance.

    Notes
    -----
    With p the shares of the days and r the share within reach of a day, a pair is close with chance q = sum p r, and
    two pairs that share an incident are both close with chance sum p r^2 (own derivation, held by a simulation in the
    tests).
    """
    share = np.asarray(hours, dtype=float)
    if n < 2 or share.sum() <= 0:
        return 0.0, 0.0
    share = share / share.sum()
    padded = np.concatenate([[0.0], np.cumsum(share)])
    at = np.arange(share.size)
    near = padded[np.minimum(at + reach_days + 1, share.size)] - padded[np.maximum(at - reach_days, 0)]
    q, both = float(share @ near), float(share @ near**2)
    pairs = n * (n - 1) / 2.0
    return pairs * q, pairs * q * (1.0 - q) + n * (n - 1) * (n - 2) * max(both - q * q, 0.0)


def check_spells(sides: Sequence[tuple[ArrayLike, ArrayLike]], *, reach_days: int = REACH_DAYS) -> SpellCheck:
    """Close pairs on both sides of a comparison together, each side with its own rate.

    Parameters
    ----------
    sides : sequence of (days, hours)
        For each side the day number of every incident (0 is the first day of the window), and the running hours of
        every day of the window [h].
    reach_days : int, optional
        How far a spell may go on [d].

    Returns
    -------
    SpellCheck
        p is None with a reason where there are too few incidents to check.

    Raises
    ------
    ValueError
        If an incident lies outside its window.
    """
    n, pairs, mean, variance, bad = 0, 0, 0.0, 0.0, []
    for days, hours in sides:
        found = np.asarray(days, dtype=int)
        span = np.asarray(hours, dtype=float).size
        if found.size and (found.min() < 0 or found.max() >= span):
            raise ValueError(f"an incident lies on day {found.max()}, the window has {span} days; give days from 0")
        n += found.size
        pairs += close_pairs(found, reach_days)
        side_mean, side_variance = expected_pairs(found.size, hours, reach_days)
        mean, variance = mean + side_mean, variance + side_variance
        bad.append(int(np.unique(found).size))
    if n < FEWEST or mean <= 0:
        why = Reason(SpellRule.TOO_FEW if n < FEWEST else SpellRule.NO_HOURS, {"n": n})
        return SpellCheck(n, pairs, mean, None, 1.0, tuple(bad), reach_days, (why,))
    dispersion = max(1.0, 1.0 + 2.0 * (pairs - mean) / n)
    return SpellCheck(n, pairs, mean, _chance_of(pairs, mean, variance), dispersion, tuple(bad), reach_days)


def _chance_of(pairs: int, mean: float, variance: float) -> float:
    """P(as many close pairs or more)."""
    if variance <= mean * (1.0 + 1e-9):
        return float(scipy.stats.poisson.sf(pairs - 1, mean))
    size = mean * mean / (variance - mean)
    return float(scipy.stats.nbinom.sf(pairs - 1, size, size / (size + mean)))


@dataclass(frozen=True)
class WidenedLimits:
    """Limits of a rate ratio with the dispersion taken in."""

    low: float
    high: float
    dispersion: float


def widened_limits(
    n_before: int, hours_before: float, n_after: int, hours_after: float, dispersion: float, *, level: float = 0.95
) -> WidenedLimits | None:
    """Exact limits of the ratio as if there were so many times less independent experience.

    Parameters
    ----------
    n_before, n_after : int
        Incidents on each side, 0 or more.
    hours_before, hours_after : float
        Running hours on each side [h].
    dispersion : float
        Variance over mean of the counts, 1 or more [-].
    level : float, optional
        Coverage, 0 < level < 1 [-].

    Returns
    -------
    WidenedLimits or None
        None where nothing can be compared. With a dispersion of 1 the exact limits.

    Raises
    ------
    ValueError
        If dispersion is below 1.

    Examples
    --------
    >>> limits = widened_limits(29, 4800, 6, 4700, 1.0)
    >>> round(limits.low, 2), round(limits.high, 2)
    (0.07, 0.52)
    """
    if dispersion < 1:
        raise ValueError(f"dispersion is {dispersion}; give 1 or more")
    if hours_before <= 0 or hours_after <= 0 or n_before + n_after == 0:
        return None
    low, high = widened_limits_many(n_before, hours_before, n_after, hours_after, dispersion, level=level)
    return WidenedLimits(float(low), float(high), dispersion)


def widened_limits_many(
    n_before: ArrayLike,
    hours_before: ArrayLike,
    n_after: ArrayLike,
    hours_after: ArrayLike,
    dispersion: ArrayLike,
    *,
    level: float = 0.95,
) -> tuple[FloatArray, FloatArray]:
    """`widened_limits` for arrays that broadcast against each other; hours above 0."""
    n0, t0, n1, t1, phi = np.broadcast_arrays(
        *(np.asarray(each, dtype=float) for each in (n_before, hours_before, n_after, hours_after, dispersion))
    )
    tail = (1.0 - level) / 2.0
    x, y, scale = n1 / phi, n0 / phi, t0 / t1
    with np.errstate(divide="ignore"):
        return _lowest_odds(x, y, tail) * scale, scale / _lowest_odds(y, x, tail)


def _lowest_odds(x: FloatArray, y: FloatArray, tail: float) -> FloatArray:
    """Lower Clopper-Pearson limit of x of x + y as odds; counts need not be whole."""
    some = np.maximum(x, np.finfo(float).tiny)
    odds = scipy.special.betaincinv(some, y + 1.0, tail) / scipy.special.betainccinv(y + 1.0, some, tail)
    return np.asarray(np.where(x > 0, odds, 0.0), dtype=float)
