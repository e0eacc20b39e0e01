"""What would have happened without the device: counts drawn towards stretches that are like it.

Devices go where it was worst. A count that led to an installation is high partly by chance, and the next one is lower
by itself (regression to the mean). Against that (1 and 4 in `reports.calc.reference_model`):

1. **Reference model** (`fit_reference`): rate of stretches while no device reached them, negative binomial with
   variance ``mu + mu^2 / phi`` and the logarithm of running hours as offset. Candidates (such as belt length, width,
   speed, strand, duty) are taken in one at a time, each time the one that lowers Schwarz's criterion (BIC) most, as
   long as it falls and ten stretches stand behind each coefficient; else they stay out.
   How uneven stretches are (phi) is known with an error of its own: it is carried as weights of many phi by their
   likelihood, with every share of shrinkage held equally likely beforehand (Christiansen & Morris 1997).
2. **Without the device** (`expected_without_device`): weight ``w = phi / (phi + mu)`` for the model, the rest for the
   count; ``E = w mu + (1 - w) n0`` with variance ``(1 - w) E``.
3. **Index of effect** (`index_of_effect`): Hauer's ``theta`` with its variance, and an interval from the gamma
   posteriors of both rates, which exists with no incident after as well. The two differ a little: theta divides by the
   mean of the expectation, the interval's middle is the ratio of two random rates. Pages show the posterior's.
4. **Comparison** is taken in as `trend` (`fit_trend`): what stretches did while without a device, season included.
   Those that got no device are those that happened to look good before, so their plain ratio of rates leans upwards
   by itself; the regression to the mean that flatters a device flatters it a second time through its comparison.
   Therefore each stretch has its own rate, drawn from the reference model, and those that were to get a device are in
   the fit for as long as they had none: then nobody's choice by counts biases the trend.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from plant.calc.reasons import Reason
from reports.calc.reference_model import LARGEST_SHAPE, ReferenceModel, Trend

FloatArray = NDArray[np.float64]


class IndexRule(StrEnum):
    """What an index of effect lacks, and why."""

    NO_ERROR = "index.no_error"


@dataclass(frozen=True)
class Expected:
    """Incidents to be expected without the device in the hours before: E with its variance, and the model's weight."""

    weight: float
    expected: float
    variance: float


@dataclass(frozen=True)
class EffectIndex:
    """Index of effect: 1 is no effect. theta and error are Hauer's; ratio, low and high come from the posteriors.

    The one-sided limits hold at the level each on its own; they tell whether a direction that the counts show survives.
    """

    theta: float
    error: float | None
    ratio: float
    low: float
    high: float
    weight: float
    expected_before: float
    expected_after: float
    variance_after: float
    low_one_sided: float
    high_one_sided: float
    level: float = 0.95
    reasons: tuple[Reason, ...] = ()
    # For pooling: incidents after, and the logarithm of those to be expected without the device, both with bad spells
    # taken in; its variance by the device's own counts, and the error that it shares with others: trend and model.
    n_weighed: float = 0.0
    log_expected: float = 0.0
    own_variance: float = 0.0
    shared_error: float = 0.0


def expected_without_device(n_before: float, mean_before: float, shape: float) -> Expected:
    """Count before drawn towards the mean of stretches that are like it.

    Parameters
    ----------
    n_before : float
        Incidents before, 0 or more.
    mean_before : float
        What the reference model expects in the same hours, above 0.
    shape : float
        phi of the model, 0 or more; infinite where stretches do not differ [-].

    Returns
    -------
    Expected

    Raises
    ------
    ValueError
        If a value is outside its range.

    Examples
    --------
    >>> found = expected_without_device(29, 12, 2)
    >>> round(found.weight, 6), round(found.expected, 6)
    (0.142857, 26.571429)
    """
    if not (n_before >= 0 and mean_before > 0 and shape >= 0):
        raise ValueError(
            f"n_before is {n_before}, mean_before {mean_before}, shape {shape}; give 0 or more, above 0, 0 or more"
        )
    weight = 1.0 if math.isinf(shape) else shape / (shape + mean_before)
    expected = weight * mean_before + (1.0 - weight) * n_before
    return Expected(weight, expected, (1.0 - weight) * expected)


def index_of_effect(
    n_before: int,
    hours_before: float,
    n_after: int,
    hours_after: float,
    *,
    rate_per_h: float,
    shape: float | Sequence[float],
    shape_weights: Sequence[float] | None = None,
    trend: float = 1.0,
    log_error: float = 0.0,
    rate_log_error: float = 0.0,
    dispersion: float = 1.0,
    level: float = 0.95,
) -> EffectIndex:
    """Incidents after against those to be expected without the device.

    Parameters
    ----------
    n_before, n_after : int
        Incidents on each side, 0 or more.
    hours_before, hours_after : float
        Running hours on each side, above 0 [h].
    rate_per_h : float
        Reference rate of such a stretch, above 0 [1/h].
    shape : float or sequence of float
        phi of the reference model, 0 or more [-]; several where it is not known well.
    shape_weights : sequence of float, optional
        How much each of several shapes is to be believed; they sum to 1.
    trend : float, optional
        Rate after over rate before of untreated stretches, above 0 [-].
    log_error : float, optional
        Standard error of the logarithm of the trend, 0 or more [-]. It widens the interval.
    rate_log_error : float, optional
        Standard error of the logarithm of the reference rate [-]. It widens the interval as far as the model weighs.
    dispersion : float, optional
        Variance over mean of the counts where incidents come in spells, 1 or more [-]. It widens the interval.
    level : float, optional
        Coverage of the interval, 0 < level < 1 [-].

    Returns
    -------
    EffectIndex
        error is None with no incident after, where Hauer's formula has none; ratio, low and high exist there too.

    Raises
    ------
    ValueError
        If a value is outside its range.

    References
    ----------
    Hauer, E. (1997), Observational Before-After Studies in Road Safety; Gross, Persaud & Lyon (2010), FHWA-SA-10-032;
    FHWA-HRT-17-075 chapter 3 (formulae from memory, agree with the last as read). The interval: gamma posteriors of
    both rates, Jeffreys' half incident after; own combination, whose coverage is measured by simulation.
    """
    if not (hours_before > 0 and hours_after > 0 and rate_per_h > 0 and trend > 0):
        raise ValueError(
            f"hours are {hours_before} and {hours_after} h, rate_per_h {rate_per_h}, trend {trend}; give all above 0"
        )
    shapes, believed = _believed(shape, shape_weights)
    found = _expected_of_many(n_before, rate_per_h * hours_before, shapes, believed)
    r = hours_after / hours_before * trend
    pi, variance = r * found.expected, r * r * found.variance
    spread = 1.0 + (variance / pi**2 if pi > 0 else 0.0)
    theta = n_after / pi / spread if pi > 0 else math.inf
    error = theta * math.sqrt(1.0 / n_after + variance / pi**2) / spread if n_after > 0 and pi > 0 else None
    known = {"rate_per_h": rate_per_h, "trend": trend, "log_error": log_error, "rate_log_error": rate_log_error}
    sides = (n_before, hours_before, n_after, hours_after)

    def limits(level: float) -> tuple[float, ...]:
        told = posterior_ratio_many(
            *sides, **known, shape=shapes, shape_weights=believed, dispersion=dispersion, level=level
        )
        return tuple(float(each) for each in told)

    ratio, low, high = limits(level)
    # At a level of 0.5 or less the one-sided limits would change places; nobody asks for that.
    _middle, low_one, high_one = limits(max(2.0 * level - 1.0, 1e-9))
    reasons = () if n_after else (Reason(IndexRule.NO_ERROR),)
    n0, t0, rate, over = (np.asarray(each, dtype=float) for each in (n_before, hours_before, rate_per_h, dispersion))
    before = _rate_before(n0, t0, rate, over, np.minimum(shapes, LARGEST_SHAPE), believed)
    return EffectIndex(
        theta=theta,
        error=error,
        ratio=ratio,
        low=low,
        high=high,
        weight=found.weight,
        expected_before=found.expected,
        expected_after=pi,
        variance_after=variance,
        low_one_sided=low_one,
        high_one_sided=high_one,
        level=level,
        reasons=reasons,
        n_weighed=n_after / dispersion,
        log_expected=float(before.mean) + math.log(trend * hours_after / dispersion),
        own_variance=float(before.own),
        shared_error=math.hypot(log_error, float(before.reach) * rate_log_error),
    )


def index_against(
    model: ReferenceModel,
    traits: Mapping[str, float],
    n_before: int,
    hours_before: float,
    n_after: int,
    hours_after: float,
    *,
    trend: Trend | None,
    dispersion: float = 1.0,
    level: float = 0.95,
) -> EffectIndex:
    """`index_of_effect` of a stretch with these traits against a fitted model, with the errors of model and trend.

    Parameters
    ----------
    model : ReferenceModel
    traits : mapping of str to float
        At least those that the model took in.
    n_before, hours_before, n_after, hours_after, dispersion, level
        As `index_of_effect`.
    trend : Trend or None
        None where untreated stretches cannot tell: none is taken out.

    Returns
    -------
    EffectIndex
    """
    return index_of_effect(
        n_before,
        hours_before,
        n_after,
        hours_after,
        rate_per_h=model.rate_per_h(traits) * (trend.level_before if trend else 1.0),
        shape=model.shapes or model.shape,
        shape_weights=model.shape_weights or None,
        trend=trend.ratio if trend else 1.0,
        log_error=trend.log_error if trend else 0.0,
        rate_log_error=model.log_error(traits),
        dispersion=dispersion,
        level=level,
    )


def _expected_of_many(n_before: float, mean_before: float, shapes: FloatArray, believed: FloatArray) -> Expected:
    """`expected_without_device` of several shapes, each believed in part; how they differ adds to the variance."""
    each = [expected_without_device(n_before, mean_before, float(phi)) for phi in shapes]
    weight, expected = (float(believed @ [getattr(one, name) for one in each]) for name in ("weight", "expected"))
    within = float(believed @ [one.variance for one in each])
    between = float(believed @ [one.expected**2 for one in each]) - expected**2
    return Expected(weight, expected, within + max(0.0, between))


def _believed(shape: float | Sequence[float], weights: Sequence[float] | None) -> tuple[FloatArray, FloatArray]:
    """Shapes and their weights as arrays."""
    shapes = np.atleast_1d(np.asarray(shape, dtype=float))
    believed = np.ones(1) if weights is None else np.asarray(weights, dtype=float)
    if shapes.shape != believed.shape or not math.isclose(float(believed.sum()), 1.0, rel_tol=1e-6):
        raise ValueError(f"{shapes.size} shapes have {believed.size} weights; give one weight each, summing to 1")
    return shapes, believed


def posterior_ratio_many(
    n_before: ArrayLike,
    hours_before: ArrayLike,
    n_after: ArrayLike,
    hours_after: ArrayLike,
    *,
    rate_per_h: ArrayLike,
    shape: ArrayLike,
    shape_weights: ArrayLike | None = None,
    trend: ArrayLike = 1.0,
    log_error: ArrayLike = 0.0,
    rate_log_error: ArrayLike = 0.0,
    dispersion: ArrayLike = 1.0,
    level: float = 0.95,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Median and limits of rate after over rate without the device, for arrays that broadcast against each other.

    Parameters
    ----------
    n_before, hours_before, n_after, hours_after, rate_per_h, shape, trend, log_error, rate_log_error, dispersion, level
        As `index_of_effect`. A shape of 0 takes everything from the count.
    shape_weights : array of float, shape (k,), optional
        With it, shape has shape (k,) and holds for all of the others.

    Returns
    -------
    tuple of array of float
        Median, low, high [-].

    Notes
    -----
    Both rates are gamma, so their ratio is a beta prime variable with closed quantiles. Where the shape is uncertain,
    or the reference rate or the trend have errors, the rate before is no gamma any more; one is put in its place whose
    logarithm has the same mean and variance (digamma, trigamma), to which the errors of the logarithms simply add.
    """
    n0, t0, n1, t1, rate, drift, extra, off, over, phi = np.broadcast_arrays(
        *(
            np.asarray(each, dtype=float)
            for each in (
                n_before, hours_before, n_after, hours_after, rate_per_h, trend, log_error, rate_log_error, dispersion,
                shape if shape_weights is None else 0.0,
            )
        )
    )  # fmt: skip
    # Several shapes stand along an axis of their own, which the weights close again.
    believed, phi = np.ones(1), phi[None]
    if shape_weights is not None:
        believed = np.asarray(shape_weights, dtype=float)
        phi = np.asarray(shape, dtype=float).reshape(-1, *[1] * n0.ndim)
    before = _rate_before(n0, t0, rate, over, np.minimum(phi, LARGEST_SHAPE), believed)
    mean = before.mean
    spread = before.own + before.reach_squared * off**2 + extra**2
    widened = _inverse_trigamma(spread)
    scale = np.exp(scipy.special.digamma(widened) - mean) / drift
    after_shape, after_hours = n1 / over + 0.5, t1 / over
    tail = (1.0 - level) / 2.0

    def quantile(p: float) -> FloatArray:
        odds = scipy.special.betaincinv(after_shape, widened, p) / scipy.special.betainccinv(widened, after_shape, p)
        return np.asarray(odds * scale / after_hours, dtype=float)

    return quantile(0.5), quantile(tail), quantile(1.0 - tail)


@dataclass(frozen=True)
class _RateBefore:
    """Logarithm of the rate without the device: mean, variance by its own counts, how far the model's error reaches."""

    mean: FloatArray
    own: FloatArray
    reach: FloatArray
    reach_squared: FloatArray


def _rate_before(
    n0: FloatArray, t0: FloatArray, rate: FloatArray, over: FloatArray, prior: FloatArray, believed: FloatArray
) -> _RateBefore:
    """Gamma rates of several shapes, which stand along the first axis, as one."""
    # The half incident keeps the posterior proper where neither model nor count say anything (shape 0).
    before_shape = n0 / over + np.where(prior > 0, prior, 0.5)
    before_hours = t0 / over + prior / rate
    # The model's share in the rate before is its share in those hours: so far does its error reach.
    reach = prior / rate / before_hours
    middle = scipy.special.digamma(before_shape) - np.log(before_hours)
    mean = np.tensordot(believed, middle, axes=1)
    own = np.tensordot(believed, scipy.special.polygamma(1, before_shape) + (middle - mean) ** 2, axes=1)
    return _RateBefore(
        mean=np.asarray(mean),
        own=np.asarray(own),
        reach=np.asarray(np.tensordot(believed, reach, axes=1)),
        reach_squared=np.asarray(np.tensordot(believed, reach**2, axes=1)),
    )


def _inverse_trigamma(value: FloatArray) -> FloatArray:
    """Shape whose log-gamma variable has this variance; Newton's steps on the reciprocal, which is nearly straight."""
    y = np.asarray(value, dtype=float)
    x = 0.5 + 1.0 / y
    for _step in range(12):
        trigamma = scipy.special.polygamma(1, x)
        x = x + trigamma * (1.0 - trigamma / y) / scipy.special.polygamma(2, x)
    return x
