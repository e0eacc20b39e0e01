"""Many devices at once: one ratio for all, how much devices differ, what to expect of the next one.

1. **Common ratio** (`common_ratio`): one ratio for all strata, each with its own rate before; conditional maximum
   likelihood, ``sum n1 = sum (n0 + n1) R t1 / (t0 + R t1)``. Right where all devices do the same.
2. **Random effects** (`random_effects`): ratios differ from device to device around a middle, normal on the log scale
   with spread tau (DerSimonian & Laird). The interval of the middle is Hartung & Knapp's, which allows for few devices;
   the prediction interval is for the ratio of the next device and carries the error of tau (`next_device`).
3. **Pooled against expectation** (`pool_expected`): the same from incidents after and those to be expected without the
   device, so that the trend and the choice of the worst places are taken out of each before they are pooled. What the
   devices' expectations share, the error of trend and model, does not shrink as more of them come in, and is carried.
4. **Many verdicts at once** (`discoveries`): Benjamini & Hochberg's step-up procedure.

Devices that were taken away again, and those that did harm, belong in: a pool of survivors flatters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from plant.calc.reasons import Reason

FloatArray = NDArray[np.float64]

# Quantiles of the chi-square law at which the spread between devices is worked out for the range of the next one.
SPREADS = 99
# The middle and the variances that it expects settle within two or three rounds.
POOL_ROUNDS = 8


class PoolRule(StrEnum):
    """What cannot be said of many devices, and why."""

    NOTHING_TO_COMPARE = "pool.nothing_to_compare"
    NONE_AFTER = "pool.none_after"
    NONE_BEFORE = "pool.none_before"
    TOO_FEW_COMPARED = "pool.too_few_compared"
    TOO_FEW_DEVICES = "pool.too_few_devices"
    NO_NEXT_DEVICE = "pool.no_next_device"


@dataclass(frozen=True)
class CommonRatio:
    """One ratio for all strata with its interval; None with reasons where there is none."""

    ratio: float | None
    low: float | None
    high: float | None
    n_strata: int
    n_before: int
    hours_before: float
    n_after: int
    hours_after: float
    level: float = 0.95
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class RandomEffects:
    """Middle of the devices' ratios, how much they differ, and what to expect of the next one."""

    ratio: float | None
    low: float | None
    high: float | None
    next_low: float | None
    next_high: float | None
    tau: float | None
    q: float | None
    p_heterogeneity: float | None
    i_squared: float | None
    n_strata: int
    level: float = 0.95
    reasons: tuple[Reason, ...] = ()
    shared_error: float = 0.0  # of the logarithm of the middle, in common to all devices


def common_ratio(
    n_before: ArrayLike, hours_before: ArrayLike, n_after: ArrayLike, hours_after: ArrayLike, *, level: float = 0.95
) -> CommonRatio:
    """One ratio of rates for all strata.

    Parameters
    ----------
    n_before, n_after : array of int, shape (k,)
        Incidents of each stratum.
    hours_before, hours_after : array of float, shape (k,)
        Running hours of each stratum; a stratum without hours on a side, or without any incident, tells nothing and is
        left out [h].
    level : float, optional
        Coverage of the Wald interval on the log scale, 0 < level < 1 [-].

    Returns
    -------
    CommonRatio
        Without interval where no incident is on one of the sides.

    Raises
    ------
    ValueError
        If lengths differ or a value is negative.

    References
    ----------
    Conditional likelihood of stratified Poisson counts; equals a Poisson regression with a constant for each stratum.

    Examples
    --------
    >>> found = common_ratio([29, 15, 24, 12], [4800, 5000, 4400, 4600], [6, 14, 8, 5], [4700, 4900, 4100, 4500])
    >>> round(found.ratio, 4), round(found.low, 4), round(found.high, 4)
    (0.4272, 0.2848, 0.6408)
    """
    n0, t0, n1, t1 = _strata(n_before, hours_before, n_after, hours_after)
    told = (int(n0.size), int(n0.sum()), float(t0.sum()), int(n1.sum()), float(t1.sum()), level)
    if n0.size == 0:
        return CommonRatio(None, None, None, *told, (Reason(PoolRule.NOTHING_TO_COMPARE),))
    if n1.sum() == 0:
        return CommonRatio(0.0, 0.0, None, *told, (Reason(PoolRule.NONE_AFTER),))
    if n0.sum() == 0:
        return CommonRatio(math.inf, None, None, *told, (Reason(PoolRule.NONE_BEFORE),))

    def surplus(log_ratio: float) -> float:
        odds = math.exp(log_ratio) * t1
        return float(n1.sum() - np.sum((n0 + n1) * odds / (t0 + odds)))

    log_ratio = float(scipy.optimize.brentq(surplus, -40.0, 40.0, xtol=1e-13))
    p = math.exp(log_ratio) * t1 / (t0 + math.exp(log_ratio) * t1)
    error = 1.0 / math.sqrt(float(np.sum((n0 + n1) * p * (1.0 - p))))
    z = float(scipy.stats.norm.isf((1.0 - level) / 2.0))
    return CommonRatio(math.exp(log_ratio), math.exp(log_ratio - z * error), math.exp(log_ratio + z * error), *told)


def random_effects(
    n_before: ArrayLike, hours_before: ArrayLike, n_after: ArrayLike, hours_after: ArrayLike, *, level: float = 0.95
) -> RandomEffects:
    """Middle ratio of devices that differ, and the range in which the next one is to be expected.

    Parameters
    ----------
    n_before, n_after, hours_before, hours_after, level
        As `common_ratio`. Half an incident is added to both counts of a stratum with none on one side.

    Returns
    -------
    RandomEffects
        None with a reason with fewer than two strata; no prediction interval with fewer than three.

    References
    ----------
    DerSimonian & Laird (1986), Controlled Clinical Trials 7; Hartung & Knapp (2001), Statistics in Medicine 20;
    for the next device see `next_device` (all from memory; the first two agree with statsmodels).
    """
    n0, t0, n1, t1 = _strata(n_before, hours_before, n_after, hours_after)
    if n0.size < 2:
        return _no_effects(int(n0.size), level, PoolRule.TOO_FEW_COMPARED)
    half = np.where((n0 == 0) | (n1 == 0), 0.5, 0.0)
    a, b = n0 + half, n1 + half
    return combine_logs(np.log(b / t1) - np.log(a / t0), 1.0 / a + 1.0 / b, level=level)


def pool_expected(
    n_after: ArrayLike,
    log_expected: ArrayLike,
    variance: ArrayLike,
    shared_error: ArrayLike,
    *,
    level: float = 0.95,
) -> RandomEffects:
    """Middle ratio of devices from what came and what was to be expected without them, and the range of the next one.

    Parameters
    ----------
    n_after : array of float, shape (k,)
        Incidents after, 0 or more; divided by the dispersion where they come in bad spells.
    log_expected : array of float, shape (k,)
        Logarithm of those to be expected without the device, divided likewise.
    variance : array of float, shape (k,)
        Of that logarithm, by the device's own counts, 0 or more [-].
    shared_error : array of float, shape (k,)
        Error of that logarithm that devices have in common, 0 or more [-]. It is taken as the same for all: devices
        with other windows share less of it, so that limits are rather too wide.
    level : float, optional
        Coverage, 0 < level < 1 [-].

    Returns
    -------
    RandomEffects
        None with a reason with fewer than two devices.

    Raises
    ------
    ValueError
        If lengths differ or a value is outside its range.

    Notes
    -----
    The logarithm of half an incident more than came is as good as unbiased from one or two expected incidents on. Its
    variance is taken from the incidents that the middle expects and not from those that came: with the latter a device
    that happened to have many would weigh more, and the middle would lean upwards (own choice; the simulation of the
    site measures it).
    """
    n, expected, own, shared = (
        np.asarray(each, dtype=float) for each in (n_after, log_expected, variance, shared_error)
    )
    if n.ndim != 1 or not n.shape == expected.shape == own.shape == shared.shape:
        raise ValueError(
            f"shapes are {n.shape}, {expected.shape}, {own.shape} and {shared.shape}; give one of each for every device"
        )
    if not (np.all(n >= 0) and np.all(own >= 0) and np.all(shared >= 0) and np.all(np.isfinite(expected))):
        raise ValueError("counts, variances and errors must be 0 or more and expectations finite")
    if n.size < 2:
        return _no_effects(int(n.size), level, PoolRule.TOO_FEW_DEVICES)
    log_ratio = np.log(n + 0.5) - expected
    ratio = (n.sum() + 0.5) / np.exp(expected).sum()
    for _round in range(POOL_ROUNDS):
        after = ratio * np.exp(expected)
        found = combine_logs(log_ratio, own + 1.0 / (after + 0.5), shared_error=shared, level=level)
        if found.ratio is None or math.isclose(found.ratio, ratio, rel_tol=1e-6):
            break
        ratio = found.ratio
    return found


def _no_effects(n: int, level: float, why: PoolRule) -> RandomEffects:
    """Of too few devices."""
    return RandomEffects(None, None, None, None, None, None, None, None, None, n, level, (Reason(why),))


def combine_logs(
    log_ratio: ArrayLike, variance: ArrayLike, *, shared_error: ArrayLike = 0.0, level: float = 0.95
) -> RandomEffects:
    """Random-effects summary of logarithms with known variances.

    Parameters
    ----------
    log_ratio, variance : array of float, shape (k,)
        Two or more; variances above 0 [-].
    shared_error : float or array of float, shape (k,), optional
        Standard error that all of them have in common, 0 or more [-].
    level : float, optional
        Coverage, 0 < level < 1 [-].

    Returns
    -------
    RandomEffects
        Back on the scale of ratios.

    Raises
    ------
    ValueError
        If there are fewer than two pairs or a variance is not above 0.
    """
    y, v = np.asarray(log_ratio, dtype=float), np.asarray(variance, dtype=float)
    k = y.size
    if y.shape != v.shape or y.ndim != 1 or k < 2:
        raise ValueError(f"log_ratio has shape {y.shape}, variance {v.shape}; give two or more pairs")
    if not np.all(np.isfinite(y)) or not np.all((v > 0) & np.isfinite(v)):
        raise ValueError("logarithms must be finite and variances above 0; look for strata without an incident")
    fixed = 1.0 / v
    q = float(np.sum(fixed * (y - np.sum(fixed * y) / fixed.sum()) ** 2))
    tau2 = max(0.0, (q - (k - 1)) / float(fixed.sum() - np.sum(fixed**2) / fixed.sum()))
    weight = 1.0 / (v + tau2)
    middle = float(np.sum(weight * y) / weight.sum())
    # Hartung & Knapp's variance, never smaller than the usual one (else few alike devices would look too sure).
    scale = max(1.0, float(np.sum(weight * (y - middle) ** 2)) / (k - 1))
    error = math.sqrt(scale / float(weight.sum()))
    t = float(scipy.stats.t.isf((1.0 - level) / 2.0, k - 1))
    # What all share moves the middle as a whole; how many devices there are does not matter to it.
    shared = float(np.sum(weight * np.broadcast_to(np.asarray(shared_error, dtype=float), y.shape)) / weight.sum())
    reach = math.hypot(t * error, float(scipy.stats.norm.isf((1.0 - level) / 2.0)) * shared)
    next_low = next_high = None
    reasons: tuple[Reason, ...] = (Reason(PoolRule.NO_NEXT_DEVICE),)
    if k >= 3:
        next_low, next_high = (math.exp(each) for each in next_device(y, v, shared_error=shared, level=level))
        reasons = ()
    return RandomEffects(
        ratio=math.exp(middle),
        low=math.exp(middle - reach),
        high=math.exp(middle + reach),
        next_low=next_low,
        next_high=next_high,
        tau=math.sqrt(tau2),
        q=q,
        p_heterogeneity=float(scipy.stats.chi2.sf(q, k - 1)),
        i_squared=max(0.0, 1.0 - (k - 1) / q) if q > 0 else 0.0,
        n_strata=k,
        level=level,
        reasons=reasons,
        shared_error=shared,
    )


def next_device(y: FloatArray, v: FloatArray, *, shared_error: float = 0.0, level: float) -> tuple[float, float]:
    """Range of the logarithm of the next device's ratio, with the error of the spread taken in.

    The usual range takes the estimated tau for the true one and is too narrow with few devices, most of all where the
    estimate is 0. Here every tau is believed as far as the devices allow it: ``sum w (y - middle)^2`` with the weights
    of the true tau is chi-square with k - 1 degrees of freedom, so that each quantile of that law gives a tau and with
    it a middle with its error; the next ratio is Student's about it, and the laws are averaged.

    References
    ----------
    Nagashima, K., Noma, H. & Furukawa, T. A. (2019), Prediction intervals for random-effects meta-analysis: a
    confidence distribution approach, Statistical Methods in Medical Research 28 (idea from memory; Student's law and
    the average in place of a bootstrap are our own).
    """
    k = y.size
    wanted = scipy.stats.chi2.ppf((np.arange(SPREADS) + 0.5) / SPREADS, k - 1)
    # The sum falls as tau grows; beyond the last of these it is below the smallest that is wanted.
    farthest = k * float(np.ptp(y)) ** 2 / float(wanted[0]) + float(v.max())
    tau2 = np.concatenate([[0.0], np.geomspace(1e-6 * float(v.min()), farthest, 600)])
    sums = _spread_sums(y, v, tau2)[1]
    believed = np.interp(wanted, sums[::-1], tau2[::-1], right=0.0)
    at, spread, total = _spread_sums(y, v, believed)
    scale = np.sqrt(believed + np.maximum(1.0, spread / (k - 1)) / total + shared_error**2)

    def quantile(p: float) -> float:
        reach = float(scipy.stats.t.isf(min(p, 1.0 - p) / 2.0, k - 1)) * float(scale.max()) + float(np.ptp(at))
        ends = float(at.min()) - reach, float(at.max()) + reach
        # Student's law as the bare function: scipy.stats looks its arguments over each time, which takes longer.
        return float(
            scipy.optimize.brentq(lambda x: float(scipy.special.stdtr(k - 1, (x - at) / scale).mean()) - p, *ends)
        )

    tail = (1.0 - level) / 2.0
    return quantile(tail), quantile(1.0 - tail)


def _spread_sums(y: FloatArray, v: FloatArray, tau2: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle, weighted sum of squares about it, and sum of weights for each of many tau^2."""
    weight = 1.0 / (v + tau2[:, None])
    total = weight.sum(axis=1)
    middle = weight @ y / total
    return middle, (weight * (y - middle[:, None]) ** 2).sum(axis=1), total


def discoveries(p: ArrayLike, *, share: float = 0.05) -> NDArray[np.bool_]:
    """Which of many verdicts hold if at most so large a share of those that are named may be wrong, on average.

    Parameters
    ----------
    p : array of float, shape (m,)
        p-values, 0 to 1.
    share : float, optional
        False-discovery rate, 0 < share < 1 [-].

    Returns
    -------
    array of bool, shape (m,)

    References
    ----------
    Benjamini, Y. & Hochberg, Y. (1995), JRSS B 57, 289-300.
    """
    values = np.asarray(p, dtype=float)
    if values.size == 0:
        return np.zeros(0, dtype=bool)
    return np.asarray(scipy.stats.false_discovery_control(values) <= share)


def _strata(
    n_before: ArrayLike, hours_before: ArrayLike, n_after: ArrayLike, hours_after: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    arrays = [np.asarray(each, dtype=float) for each in (n_before, hours_before, n_after, hours_after)]
    if len({each.shape for each in arrays}) != 1 or arrays[0].ndim != 1:
        raise ValueError(f"shapes are {[each.shape for each in arrays]}; give one count and hours a side for each")
    if any(np.any(~(each >= 0)) for each in arrays):
        raise ValueError("counts and hours of the strata must be 0 or more; look for negative ones")
    n0, t0, n1, t1 = arrays
    kept = (t0 > 0) & (t1 > 0) & (n0 + n1 > 0)
    return n0[kept], t0[kept], n1[kept], t1[kept]
