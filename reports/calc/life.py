"""Life of sensor rollers and pivots: Weibull with parts still in service, spares to expect, age at which to replace.

A part that was changed while still sound, or that is still in service, is censored: it lived at least so long. Too few
failures are an answer with a reason, not an error. Hours are running hours.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from plant.calc.reasons import Reason

FloatArray = NDArray[np.float64]

# Below so many failures no shape is estimated; own rule.
ENOUGH_FAILURES = 3
# Failures within this share of their age of each other are one age: belts are looked at in rounds; own rule.
SAME_AGE = 0.01
# Runs of the simulation behind a demand for spares.
DEMAND_RUNS = 4000
# A position that would need more spares than that is counted so often; a life so short is a fit that does not hold.
MOST_RENEWALS = 1000


class LifeRule(StrEnum):
    """What ages at failure say of a part, and when it is to be changed."""

    TOO_FEW_FAILURES = "life.too_few_failures"
    WEAR_OUT = "life.wear_out"
    EARLY_FAILURE = "life.early_failure"
    NEITHER = "life.neither"
    BEYOND_THE_OLDEST = "life.beyond_the_oldest"
    NO_WEAR_OUT = "life.no_wear_out"
    FAILURE_COSTS_NO_MORE = "life.failure_costs_no_more"
    WEAR_OUT_TOO_WEAK = "life.wear_out_too_weak"
    CHANGE_IS_CHEAPER = "life.change_is_cheaper"


@dataclass(frozen=True)
class PlotPoint:
    """A failure on the probability plot.

    Attributes
    ----------
    hours : float
        Age at failure [h].
    share : float
        Share failed by then, by median ranks adjusted for parts still in service [-].
    """

    hours: float
    share: float


@dataclass(frozen=True)
class WeibullLife:
    """Share failed by age t: 1 - exp(-(t / scale)^shape).

    Attributes
    ----------
    n, n_failed : int
        Parts, and those of them that failed.
    hours : float
        Sum of all ages [h].
    shape, scale_h : float or None
        None where the failures are too few; `reasons` says so.
    shape_low, shape_high, scale_low_h, scale_high_h : float or None
        Limits by the likelihood ratio.
    log_likelihood : float or None
    points : tuple of PlotPoint
    reasons : tuple of Reason
    """

    n: int
    n_failed: int
    hours: float
    shape: float | None
    scale_h: float | None
    shape_low: float | None
    shape_high: float | None
    scale_low_h: float | None
    scale_high_h: float | None
    log_likelihood: float | None
    points: tuple[PlotPoint, ...]
    reasons: tuple[Reason, ...]
    level: float
    # Covariance of (log shape, log scale): the spread that demand for spares carries on.
    covariance: tuple[tuple[float, float], tuple[float, float]] | None = None

    @property
    def mean_h(self) -> float | None:
        """Mean life [h]."""
        if self.shape is None or self.scale_h is None:
            return None
        return self.scale_h * math.gamma(1 + 1 / self.shape)

    def share_failed(self, hours: float) -> float | None:
        """Share failed by an age [-]."""
        if self.shape is None or self.scale_h is None:
            return None
        return float(-math.expm1(-((hours / self.scale_h) ** self.shape)))

    def life_h(self, share: float) -> float | None:
        """Age by which a share has failed [h]; life_h(0.1) is the B10 life."""
        if self.shape is None or self.scale_h is None:
            return None
        return float(self.scale_h * (-math.log1p(-share)) ** (1 / self.shape))

    @property
    def wears_out(self) -> bool:
        """Older parts fail more often, beyond chance."""
        return self.shape_low is not None and self.shape_low > 1


def fit_weibull(hours: ArrayLike, failed: ArrayLike, *, level: float = 0.95) -> WeibullLife:
    """Weibull life by maximum likelihood, with parts that have not failed.

    Parameters
    ----------
    hours : array of float, shape (n,)
        Age at failure, or age so far of a part that has not failed [h], above 0.
    failed : array of bool, shape (n,)
    level : float, optional
        Coverage of the intervals [-].

    Raises
    ------
    ValueError
        If lengths differ, an age is not above 0, or the level is not between 0 and 1.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.2 (worked example, right-censored). Limits: profile of the
    likelihood ratio, Meeker & Escobar, Statistical Methods for Reliability Data, 1998, ch. 8 (memory).
    """
    t, is_failed = np.asarray(hours, float), np.asarray(failed, bool)
    _check_ages(t, is_failed, level)
    n_failed = int(is_failed.sum())
    points = plot_points(t, is_failed)
    # The failures lie so close together that they say nothing of how lives differ.
    is_one_age = n_failed > 0 and float(np.ptp(t[is_failed])) < SAME_AGE * float(t[is_failed].max())
    if n_failed < ENOUGH_FAILURES or is_one_age:
        return _no_life(t.size, n_failed, float(t.sum()), points, level)
    unit = float(t.max())
    scaled, log_t = t / unit, np.log(t / unit)

    def excess(shape: float) -> float:
        """The likelihood equation of the shape; its root is the estimate."""
        powers = scaled**shape
        return float((powers * log_t).sum() / powers.sum() - 1 / shape - log_t[is_failed].mean())

    shape = float(scipy.optimize.brentq(excess, 1e-4, upper_end(excess)))
    scale = float(((scaled**shape).sum() / n_failed) ** (1 / shape))

    def log_likelihood(log_shape: float, log_scale: float) -> float:
        beta, z = math.exp(log_shape), log_t - log_scale
        with np.errstate(over="ignore"):
            return float(
                (log_shape - log_scale + (beta - 1) * z[is_failed] - np.log(unit)).sum() - np.exp(beta * z).sum()
            )

    a, b = math.log(shape), math.log(scale)
    top = log_likelihood(a, b)
    cut = float(scipy.stats.chi2.ppf(level, 1)) / 2

    def of_shape(log_shape: float) -> float:
        beta = math.exp(log_shape)
        best = math.log((scaled**beta).sum() / n_failed) / beta
        return log_likelihood(log_shape, best) - top + cut

    def of_scale(log_scale: float) -> float:
        found = scipy.optimize.minimize_scalar(
            lambda each: -log_likelihood(each, log_scale), bounds=(a - 3, a + 3), method="bounded"
        )
        return -float(found.fun) - top + cut

    shape_low, shape_high = (math.exp(falls(of_shape, a, sign)) for sign in (-1, 1))
    scale_low, scale_high = (unit * math.exp(falls(of_scale, b, sign)) for sign in (-1, 1))
    return WeibullLife(
        n=t.size,
        n_failed=n_failed,
        hours=float(t.sum()),
        shape=shape,
        scale_h=scale * unit,
        shape_low=shape_low,
        shape_high=shape_high,
        scale_low_h=scale_low,
        scale_high_h=scale_high,
        log_likelihood=top,
        points=points,
        reasons=_shown(shape_low, shape_high, None if scale <= 1.0 else unit),
        level=level,
        covariance=covariance_of(log_likelihood, a, b, step=1e-4 / max(1.0, shape)),
    )


def _check_ages(t: FloatArray, is_failed: NDArray[np.bool_], level: float) -> None:
    if t.shape != is_failed.shape or t.ndim != 1:
        raise ValueError(f"hours has shape {t.shape} and failed {is_failed.shape}; give one of each for every part")
    if not 0 < level < 1:
        raise ValueError(f"level is {level:g}; give a share between 0 and 1")
    wrong = t[~((t > 0) & np.isfinite(t))]
    if wrong.size:
        raise ValueError(f"hours has {wrong[0]:g}; give ages above 0 h")


def _no_life(n: int, n_failed: int, hours: float, points: tuple[PlotPoint, ...], level: float) -> WeibullLife:
    counts = {"n_failed": n_failed, "n_parts": n, "all_h": hours, "n_enough": ENOUGH_FAILURES}
    why = (Reason(LifeRule.TOO_FEW_FAILURES, counts),)
    return WeibullLife(n, n_failed, hours, None, None, None, None, None, None, None, points, why, level)


def _shown(shape_low: float, shape_high: float, oldest_h: float | None) -> tuple[Reason, ...]:
    """What the interval of the shape says, and the oldest part where the life lies beyond it."""
    if shape_low > 1:
        shown = LifeRule.WEAR_OUT
    else:
        shown = LifeRule.EARLY_FAILURE if shape_high < 1 else LifeRule.NEITHER
    beyond = () if oldest_h is None else (Reason(LifeRule.BEYOND_THE_OLDEST, {"oldest_h": oldest_h}),)
    return (Reason(shown), *beyond)


def upper_end(excess: Callable[[float], float]) -> float:
    """A shape beyond the root of the likelihood equation."""
    end = 2.0
    while excess(end) < 0 and end < 1e7:
        end *= 2
    return end


def falls(below: Callable[[float], float], centre: float, sign: int) -> float:
    """Where a log-likelihood that is positive at its top has fallen to 0 on one side."""
    step = 0.1
    while below(centre + sign * step) > 0 and step < 30:
        step *= 1.5
    low, high = sorted((centre, centre + sign * step))
    return float(scipy.optimize.brentq(below, low, high)) if below(centre + sign * step) <= 0 else centre + sign * step


def covariance_of(
    log_likelihood: Callable[[float, float], float], a: float, b: float, step: float = 1e-4
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Inverse of the observed information of (log shape, log scale), by central differences."""
    top = log_likelihood(a, b)
    aa = (log_likelihood(a + step, b) - 2 * top + log_likelihood(a - step, b)) / step**2
    bb = (log_likelihood(a, b + step) - 2 * top + log_likelihood(a, b - step)) / step**2
    ab = (
        log_likelihood(a + step, b + step)
        - log_likelihood(a + step, b - step)
        - log_likelihood(a - step, b + step)
        + log_likelihood(a - step, b - step)
    ) / (4 * step**2)
    inverse = np.linalg.inv(-np.array([[aa, ab], [ab, bb]]))
    (c_aa, c_ab), (c_ba, c_bb) = inverse.tolist()
    return (c_aa, c_ab), (c_ba, c_bb)


def plot_points(hours: FloatArray, failed: NDArray[np.bool_]) -> tuple[PlotPoint, ...]:
    """Failures with the share failed by their age: adjusted ranks, median rank (i - 0.3) / (n + 0.4).

    References
    ----------
    L. G. Johnson's rank adjustment and Benard's median ranks, as in the NIST/SEMATECH e-Handbook, 8.2.2.1 (memory).
    """
    order = np.lexsort((~failed, hours))
    n, rank, points = hours.size, 0.0, []
    for i, each in enumerate(order):
        if failed[each]:
            rank += (n + 1 - rank) / (n - i + 1)
            points.append(PlotPoint(float(hours[each]), (rank - 0.3) / (n + 0.4)))
    return tuple(points)


@dataclass(frozen=True)
class Demand:
    """Spares to expect in one month, and from now to its end.

    Attributes
    ----------
    month : int
        1 for the first month ahead.
    expected : float
    low, high : float
        Interval of the number that will be needed in that month.
    until_expected, until_low, until_high : float
        The same for all months up to the end of this one; its limits are no sum of theirs.
    """

    month: int
    expected: float
    low: float
    high: float
    until_expected: float
    until_low: float
    until_high: float


def demand_for_spares(
    life: WeibullLife,
    ages_h: ArrayLike,
    hours_per_month: ArrayLike,
    *,
    months: int,
    rng: np.random.Generator,
    runs: int = DEMAND_RUNS,
) -> tuple[Demand, ...]:
    """Failures to expect in each month ahead, every failed part replaced by a new one at once.

    Parameters
    ----------
    life : WeibullLife
        With a shape and a scale.
    ages_h : array of float, shape (n,)
        Ages of the parts in service, 0 or more [h].
    hours_per_month : array of float, shape (n,)
        Running hours that each will see in a month, 0 or more [h].
    months : int
        How far ahead, at least 1.
    rng : numpy Generator
        Source of chance; the same seed gives the same answer.
    runs : int, optional
        Futures that are drawn.

    Returns
    -------
    tuple of Demand
        Empty where the life cannot be told. The interval carries the error of shape and scale and the chance of the
        failures themselves.

    Raises
    ------
    ValueError
        If lengths differ, an age or a month's hours are negative, or months is below 1.

    Notes
    -----
    A renewal process: the life of a part of age a, given that it lives, ends at ``scale ((a / scale)^shape + E)^(1 /
    shape)`` with E exponential; the part put in its place is new, and may fail within the same month as well.
    """
    ages, speed = np.asarray(ages_h, float), np.asarray(hours_per_month, float)
    if ages.shape != speed.shape:
        raise ValueError(f"ages_h has {ages.size} values and hours_per_month {speed.size}; give pairs")
    for name, values in (("ages_h", ages), ("hours_per_month", speed)):
        if np.any(~((values >= 0) & np.isfinite(values))):
            raise ValueError(f"{name} has {values[~((values >= 0) & np.isfinite(values))][0]:g} h; give 0 h or more")
    if months < 1:
        raise ValueError(f"months is {months}; give 1 or more")
    if life.shape is None or life.scale_h is None or life.covariance is None:
        return ()
    draws = rng.multivariate_normal([math.log(life.shape), math.log(life.scale_h)], life.covariance, size=runs)
    shape, scale = np.exp(draws[:, :1]), np.exp(draws[:, 1:])
    used = np.broadcast_to(ages, (runs, ages.size))
    # Hours until the next failure of each position, from now on; the first with the age of the part that is there.
    due = rest_of_life(used, shape, scale, rng.exponential(size=used.shape))
    counts = np.zeros((months, runs))
    row, column = np.nonzero(due < months * speed)
    for _renewal in range(MOST_RENEWALS):
        if not row.size:
            break
        month = np.minimum((due[row, column] / speed[column]).astype(int), months - 1)
        np.add.at(counts, (month, row), 1.0)
        due[row, column] += scale[row, 0] * rng.exponential(size=row.size) ** (1.0 / shape[row, 0])
        again = due[row, column] < months * speed[column]
        row, column = row[again], column[again]
    tail = (1 - life.level) / 2

    def told(number: FloatArray) -> tuple[float, float, float]:
        # Whole parts: a limit is a number that was drawn.
        low, high = np.quantile(number, [tail, 1 - tail], method="inverted_cdf")
        return float(number.mean()), float(low), float(high)

    until = np.cumsum(counts, axis=0)
    return tuple(Demand(month, *told(counts[month - 1]), *told(until[month - 1])) for month in range(1, months + 1))


def rest_of_life(age_h: FloatArray, shape: FloatArray, scale_h: FloatArray, chance: FloatArray) -> FloatArray:
    """Hours that a part of this age still lives, for a draw from the exponential law [h]."""
    with np.errstate(over="ignore", divide="ignore"):
        used = shape * np.log(age_h / scale_h)  # logarithm of the hazard that it has lived through
        fresh = scale_h * (np.exp(np.minimum(used, 50.0)) + chance) ** (1.0 / shape) - age_h
        # An old part by a hair's breadth: the difference above would lose all digits.
        old = age_h * np.expm1(np.log1p(chance * np.exp(-np.maximum(used, -50.0))) / shape)
    return np.asarray(np.where(used > 0, old, np.maximum(fresh, 0.0)))


@dataclass(frozen=True)
class NeedAtRate:
    """Parts to expect if they go on being changed as often per running hour as so far.

    Attributes
    ----------
    n, hours : int, float
        Changes so far, and the running hours of all parts in which they came [h].
    expected, low, high : float or None
        None where none was changed so far: of a rate that nobody has seen only `most` can be said.
    most : float
        No more than so many, at the level with all of it on one side.
    """

    n: int
    hours: float
    expected: float | None
    low: float | None
    high: float | None
    most: float


def need_at_rate(n: int, hours: float, hours_ahead: float, *, level: float = 0.95) -> NeedAtRate | None:
    """Parts that will be changed in so many running hours, from how many were changed in those so far.

    Parameters
    ----------
    n : int
        Parts changed, for whatever reason, 0 or more.
    hours : float
        Running hours of all parts, those in service among them, 0 or more [h].
    hours_ahead : float
        Running hours of all parts in the time ahead, 0 or more [h].
    level : float, optional
        Coverage of the interval, 0 < level < 1 [-].

    Returns
    -------
    NeedAtRate or None
        None without hours so far.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    The interval is that of the number that will come: with a rate drawn from its gamma posterior (Jeffreys' half) the
    number is negative binomial with size ``n + 1/2`` and chance ``hours / (hours + hours_ahead)``.

    References
    ----------
    Gelman et al., Bayesian Data Analysis, section 2.6: a Poisson rate with exposure and its predictive law (memory).

    Examples
    --------
    >>> found = need_at_rate(6, 30_000, 20_000)
    >>> found.expected, found.low, found.high
    (4.0, 1.0, 10.0)
    """
    if n < 0 or not (0 <= hours < math.inf and 0 <= hours_ahead < math.inf):
        raise ValueError(f"n is {n}, hours {hours} and {hours_ahead} h ahead; give 0 or more")
    if not 0 < level < 1:
        raise ValueError(f"level is {level:g}; give a share between 0 and 1")
    if hours == 0:
        return None
    tail = (1 - level) / 2
    low, high, most = (
        float(scipy.stats.nbinom.ppf(p, n + 0.5, hours / (hours + hours_ahead))) for p in (tail, 1 - tail, level)
    )
    if n == 0:
        return NeedAtRate(n, hours, None, None, None, most)
    return NeedAtRate(n, hours, n * hours_ahead / hours, low, high, most)


@dataclass(frozen=True)
class AgeReplacement:
    """Age at which replacing a sound part costs least in the long run.

    Attributes
    ----------
    optimum_h : float or None
        None where replacing by age never pays; `reason` says why.
    cost_rate_per_h, run_to_failure_rate_per_h : float
        Long-run cost per running hour at the optimum, and of waiting for failures, in the unit of the costs.
    """

    optimum_h: float | None
    cost_rate_per_h: float
    run_to_failure_rate_per_h: float
    reason: Reason


def age_replacement(shape: float, scale_h: float, cost_planned: float, cost_failure: float) -> AgeReplacement:
    """Age that makes (cp R(t) + cf F(t)) / integral of R from 0 to t least.

    Parameters
    ----------
    shape, scale_h : float
        Of the Weibull life; scale in [h].
    cost_planned, cost_failure : float
        Cost of a replacement in time, and of one after a failure; any unit, above 0.

    Raises
    ------
    ValueError
        If an argument is not above 0.

    References
    ----------
    Barlow & Proschan, Mathematical Theory of Reliability, 1965, ch. 4 (memory; two independent ways agree).
    """
    given = {"shape": shape, "scale_h": scale_h, "cost_planned": cost_planned, "cost_failure": cost_failure}
    for name, value in given.items():
        if not 0 < value < math.inf:
            raise ValueError(f"{name} is {value:g}; give a number above 0")
    waiting = cost_failure / (scale_h * math.gamma(1 + 1 / shape))
    if shape <= 1:
        return AgeReplacement(None, waiting, waiting, Reason(LifeRule.NO_WEAR_OUT))
    if cost_failure <= cost_planned:
        return AgeReplacement(None, waiting, waiting, Reason(LifeRule.FAILURE_COSTS_NO_MORE))

    def excess(x: float) -> float:
        """Barlow & Proschan's condition h(t) * integral of R - F(t) = cp / (cf - cp), in units of the scale."""
        # Large shapes at late ages would overflow; the sign is all that counts there.
        used, hazard = (min(700.0, power * math.log(x)) for power in (shape, shape - 1))
        mean = scipy.special.gammainc(1 / shape, math.exp(used)) * scipy.special.gamma(1 / shape) / shape
        ratio = cost_planned / (cost_failure - cost_planned)
        return float(min(shape * math.exp(hazard) * mean, 1e250) + math.expm1(-math.exp(used)) - ratio)

    end = 1.0
    while excess(end) < 0:
        end *= 2
        if end > 64:
            return AgeReplacement(None, waiting, waiting, Reason(LifeRule.WEAR_OUT_TOO_WEAK))
    x = float(scipy.optimize.brentq(excess, 1e-9, end, xtol=1e-12))
    served, _error = scipy.integrate.quad(lambda u: math.exp(-(u**shape)), 0, x)
    share = -math.expm1(-(x**shape))
    rate = (cost_planned * (1 - share) + cost_failure * share) / (scale_h * served)
    return AgeReplacement(x * scale_h, rate, waiting, Reason(LifeRule.CHANGE_IS_CHEAPER))
