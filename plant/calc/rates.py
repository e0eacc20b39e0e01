"""Counts of incidents in running hours: rates, ratios of two rates, and how long until a change would show.

Given two counts together, the later one is binomial with ``p = R t1 / (t0 + R t1)``, where ``R`` is the true ratio of
the rates (after over before), ``t0`` the hours before and ``t1`` the hours after (Przyborowski & Wilenski 1940).
Everything about two counts in this module is that one sentence turned round:

1. **Exact interval**: the Clopper-Pearson limits of ``p`` by beta quantiles, as odds ``p / (1 - p)`` times ``t0 / t1``.
2. **Mid-P interval**: the same with the observed count weighted one half in each tail.
3. **Three p-values** for a ratio of one, which differ and are named: *central* (twice the smaller tail, agrees with the
   exact interval), *mid-P* (agrees with the mid-P interval), *minimum likelihood* (agrees with neither).
4. **Hours still needed** at the present rate until the exact interval would leave out a ratio of one, and before
   anything is fitted the hours until a stated change would probably be seen.

The counts are taken to be independent. Where incidents come in bad spells the intervals are too narrow; that is checked
elsewhere, not here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special, stats
from scipy.optimize import elementwise

FloatArray = NDArray[np.float64]

# Beyond this multiple of the longer of the two periods nobody waits for an answer.
FARTHEST = 100.0


@dataclass(frozen=True)
class Rate:
    """Incidents per 1000 running hours with an exact interval; None and a reason where there are no hours."""

    n: int
    hours: float
    per_1000_h: float | None
    low: float | None
    high: float | None
    level: float = 0.95
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rates:
    """`Rate` for many counts at once; NaN where there are no hours."""

    per_1000_h: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True)
class RateRatio:
    """Rate after divided by rate before, with its intervals; None and a reason where nothing can be compared."""

    ratio: float | None
    low: float | None
    high: float | None
    p_central: float | None
    mid_p_low: float | None
    mid_p_high: float | None
    p_mid: float | None
    p_minlike: float | None
    n_before: int
    hours_before: float
    n_after: int
    hours_after: float
    level: float = 0.95
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class RateRatios:
    """`RateRatio` for many pairs at once; NaN where nothing can be compared."""

    ratio: FloatArray
    low: FloatArray
    high: FloatArray
    p_central: FloatArray
    mid_p_low: FloatArray
    mid_p_high: FloatArray
    p_mid: FloatArray
    p_minlike: FloatArray


def rate_with_interval(n: int, hours: float, *, level: float = 0.95) -> Rate:
    """Incidents per 1000 running hours with the exact interval for a Poisson count.

    Parameters
    ----------
    n : int
        Incidents in the covered hours, 0 or more.
    hours : float
        Covered running hours, 0 or more [h].
    level : float, optional
        Coverage of the two-sided interval, 0 < level < 1 [-].

    Returns
    -------
    Rate
        per_1000_h, low, high [1/1000 h]; None with a reason where hours are 0.

    Raises
    ------
    ValueError
        If n is no whole number from 0 up, hours are negative or not finite, or level is outside 0 to 1.

    References
    ----------
    Garwood, F. (1936), Fiducial limits for the Poisson distribution, Biometrika 28, 437-442 (formula from memory).

    Examples
    --------
    >>> rate = rate_with_interval(0, 1000)
    >>> rate.per_1000_h, round(rate.high, 3)
    (0.0, 3.689)
    """
    rates = rate_with_interval_many(n, hours, level=level)
    if hours == 0:
        said = (
            "no running hours: no rate" if n == 0 else f"{count_words(n)} in 0 running hours: check the running hours"
        )
        return Rate(int(n), float(hours), None, None, None, level, (said,))
    return Rate(int(n), float(hours), float(rates.per_1000_h), float(rates.low), float(rates.high), level)


def rate_with_interval_many(n: ArrayLike, hours: ArrayLike, *, level: float = 0.95) -> Rates:
    """`rate_with_interval` for arrays that broadcast against each other.

    Parameters
    ----------
    n : array of int
        Incidents, 0 or more.
    hours : array of float
        Covered running hours, 0 or more [h].
    level : float, optional
        Coverage of the two-sided intervals, 0 < level < 1 [-].

    Returns
    -------
    Rates
        per_1000_h, low, high [1/1000 h]; NaN where hours are 0.

    Raises
    ------
    ValueError
        As `rate_with_interval`.
    """
    check_level(level)
    count, time = np.broadcast_arrays(_counts("n", n), _hours("hours", hours))
    thousands = np.where(time > 0, time / 1000.0, np.nan)
    tail = (1.0 - level) / 2.0
    # The gamma quantile with shape 0 is the limit 0; SciPy answers NaN there.
    low = np.where(count > 0, special.gammaincinv(np.maximum(count, 1.0), tail), 0.0)
    high = special.gammainccinv(count + 1.0, tail)
    return Rates(count / thousands, low / thousands, high / thousands)


def compare_rates(
    n_before: int, hours_before: float, n_after: int, hours_after: float, *, level: float = 0.95
) -> RateRatio:
    """How many times as often incidents happen per running hour after as before, with exact limits.

    Parameters
    ----------
    n_before, n_after : int
        Incidents on each side, 0 or more.
    hours_before, hours_after : float
        Covered running hours on each side, 0 or more [h].
    level : float, optional
        Coverage of the two-sided intervals, 0 < level < 1 [-].

    Returns
    -------
    RateRatio
        ratio, exact limits low and high with p_central, mid-P limits with p_mid, and p_minlike (shown beside neither
        interval). An infinite ratio or high limit says that no incident happened before. All are None, with a reason,
        where a side has no hours or neither side has an incident.

    Raises
    ------
    ValueError
        If a count is no whole number from 0 up, hours are negative or not finite, or level is outside 0 to 1.

    References
    ----------
    Przyborowski, J. & Wilenski, H. (1940), Homogeneity of results in testing samples from Poisson series,
    Biometrika 31, 313-323. Clopper, C. J. & Pearson, E. S. (1934), Biometrika 26, 404-413. Lancaster, H. O. (1961),
    Significance tests in discrete distributions, JASA 56, 223-234 (mid-P). All three from memory.

    Examples
    --------
    One incident in equal hours on both sides: the mid-P limit solves p = 0.025 + p * p / 2, so p / (1 - p) = 1 / 39.

    >>> ratio = compare_rates(1, 500, 1, 500)
    >>> ratio.ratio, round(ratio.mid_p_high, 6)
    (1.0, 39.0)
    """
    many = compare_rates_many(n_before, hours_before, n_after, hours_after, level=level)
    sides = (int(n_before), float(hours_before), int(n_after), float(hours_after), level)
    reasons = _why_not(n_before, hours_before, n_after, hours_after)
    if math.isnan(float(many.ratio)):
        return RateRatio(None, None, None, None, None, None, None, None, *sides, reasons)
    return RateRatio(
        float(many.ratio),
        float(many.low),
        float(many.high),
        float(many.p_central),
        float(many.mid_p_low),
        float(many.mid_p_high),
        float(many.p_mid),
        float(many.p_minlike),
        *sides,
        reasons,
    )


def compare_rates_many(
    n_before: ArrayLike, hours_before: ArrayLike, n_after: ArrayLike, hours_after: ArrayLike, *, level: float = 0.95
) -> RateRatios:
    """`compare_rates` for arrays that broadcast against each other.

    Parameters
    ----------
    n_before, n_after : array of int
        Incidents on each side, 0 or more.
    hours_before, hours_after : array of float
        Covered running hours on each side, 0 or more [h].
    level : float, optional
        Coverage of the two-sided intervals, 0 < level < 1 [-].

    Returns
    -------
    RateRatios
        Arrays of the common shape; NaN where a side has no hours or neither side has an incident.

    Raises
    ------
    ValueError
        As `compare_rates`.
    """
    check_level(level)
    n0, t0, n1, t1 = np.broadcast_arrays(
        _counts("n_before", n_before),
        _hours("hours_before", hours_before),
        _counts("n_after", n_after),
        _hours("hours_after", hours_after),
    )
    comparable = (t0 > 0) & (t1 > 0) & (n0 + n1 > 0)
    answers = [np.full(n0.shape, np.nan) for _ in range(8)]
    b0, h0, b1, h1 = n0[comparable], t0[comparable], n1[comparable], t1[comparable]
    with np.errstate(divide="ignore"):
        ratio = (b1 / h1) / (b0 / h0)
        scale = h0 / h1
        tail = (1.0 - level) / 2.0
        # The upper limit for a count is the reciprocal of the lower limit with the two sides changed over.
        low, high = _lowest_odds(b1, b0, tail) * scale, scale / _lowest_odds(b0, b1, tail)
        mid_low, mid_high = _lowest_odds_mid_p(b1, b0, tail) * scale, scale / _lowest_odds_mid_p(b0, b1, tail)
    central, mid, minlike = _p_values(b0, b1, h1 / (h0 + h1))
    for whole, part in zip(answers, (ratio, low, high, central, mid_low, mid_high, mid, minlike), strict=True):
        whole[comparable] = part
    return RateRatios(*answers)


def power_to_detect(
    n_before: float, hours_before: float, hours_after: float, true_ratio: float, *, level: float = 0.95
) -> float:
    """Chance that the exact interval will leave out a ratio of one, if the true ratio is as stated.

    Both counts are left to chance: the one before is Poisson with mean ``n_before``, the one after with the mean that
    the rate before, the hours after and the true ratio give.

    Parameters
    ----------
    n_before : float
        Expected incidents before, above 0.
    hours_before, hours_after : float
        Running hours on each side, above 0 [h].
    true_ratio : float
        Rate after over rate before that is to be found, 0 or more [-].
    level : float, optional
        Coverage of the two-sided interval, 0 < level < 1 [-].

    Returns
    -------
    float
        Probability, 0 to 1 [-].

    Raises
    ------
    ValueError
        If an input is outside its range.

    Examples
    --------
    >>> round(power_to_detect(50, 5000, 5000, 0.5), 2)
    0.8
    """
    check_level(level)
    _check_above("n_before", n_before, "incidents")
    _check_above("hours_before", hours_before, "h")
    _check_above("hours_after", hours_after, "h")
    if not 0 <= true_ratio < math.inf:
        raise ValueError(f"true_ratio is {true_ratio}; give a ratio from 0 up, such as 0.5 for a halving")
    mean_after = n_before / hours_before * hours_after * true_ratio
    before, after = _likely_counts(n_before), _likely_counts(mean_after)
    grid_before, grid_after = np.meshgrid(before, after, indexing="ij")
    lower, upper, _ = _tails(grid_before, grid_after, hours_after / (hours_before + hours_after))
    # The exact interval leaves out one exactly where a tail is below half of what the interval leaves over.
    found = np.minimum(lower, upper) < (1.0 - level) / 2.0
    return float(stats.poisson.pmf(before, n_before) @ found @ stats.poisson.pmf(after, mean_after))


def hours_needed(
    n_before: int, hours_before: float, n_after: int, hours_after: float, *, level: float = 0.95
) -> float | None:
    """Further running hours after, at the present rate, until the exact interval would leave out a ratio of one.

    The count after is let grow evenly with the hours, fractions of an incident included; so with no incident yet the
    answer is the hours free of incidents that are still needed.

    Parameters
    ----------
    n_before, n_after : int
        Incidents so far, 0 or more.
    hours_before, hours_after : float
        Covered running hours so far, 0 or more [h].
    level : float, optional
        Coverage of the two-sided interval, 0 < level < 1 [-].

    Returns
    -------
    float or None
        Hours still to run [h], 0 where the interval leaves out one already. None where it would not do so within 100
        times the longer of the two periods, or where nothing can be compared.

    Raises
    ------
    ValueError
        If a count is no whole number from 0 up, hours are negative or not finite, or level is outside 0 to 1.

    Examples
    --------
    Three weeks in, none yet against 14 in 4900 h:

    >>> round(95 + hours_needed(14, 4900, 0, 95), -1)
    1480.0
    """
    check_level(level)
    n0, t0 = float(_counts("n_before", n_before)), float(_hours("hours_before", hours_before))
    n1, t1 = float(_counts("n_after", n_after)), float(_hours("hours_after", hours_after))
    if t0 == 0 or n0 + n1 == 0 or (t1 == 0 and n1 > 0):
        return None
    rate_after = n1 / t1 if t1 > 0 else 0.0
    rising = rate_after > n0 / t0

    def room(hours: float) -> float:
        """Above 0 while the limit nearer to one has not yet passed it."""
        grown, scale = rate_after * hours, t0 / hours
        if rising:
            return -math.log(float(_lowest_odds(np.array(grown), np.array(n0), (1.0 - level) / 2.0)) * scale)
        return -math.log(float(_lowest_odds(np.array(n0), np.array(grown), (1.0 - level) / 2.0)) / scale)

    first, last = max(t1, t0 * 1e-6), FARTHEST * max(t0, t1)
    if room(first) < 0:
        return 0.0
    if room(last) >= 0:
        return None
    return float(optimize.brentq(room, first, last, rtol=1e-10)) - t1


def hours_to_power(
    rate_before_per_h: float,
    hours_before: float,
    *,
    true_ratio: float = 0.5,
    power: float = 0.8,
    level: float = 0.95,
) -> float | None:
    """Running hours after an installation until a change of the stated size would probably be seen.

    Asked before a device is fitted: can its worth be shown at all, and how long will that take?

    Parameters
    ----------
    rate_before_per_h : float
        Incidents per running hour in the zone before, 0 or more [1/h].
    hours_before : float
        Running hours before that will be compared with, above 0 [h].
    true_ratio : float, optional
        Rate after over rate before that is to be found, 0 or more and not 1 [-].
    power : float, optional
        Wanted probability of finding it, 0 < power < 1 [-].
    level : float, optional
        Coverage of the two-sided interval, 0 < level < 1 [-].

    Returns
    -------
    float or None
        Running hours after [h], to about 0.1 %. None where even 100 times the hours before would not do, because
        too few incidents happened before.

    Raises
    ------
    ValueError
        If an input is outside its range.
    """
    check_level(level)
    _check_above("hours_before", hours_before, "h")
    if not 0 <= rate_before_per_h < math.inf:
        raise ValueError(f"rate_before_per_h is {rate_before_per_h}; give incidents per running hour from 0 up")
    if not 0 < power < 1:
        raise ValueError(f"power is {power}; give a probability between 0 and 1, such as 0.8")
    if true_ratio == 1:
        raise ValueError("true_ratio is 1, which is no change; give a ratio to find, such as 0.5 for a halving")
    if rate_before_per_h == 0:
        return None
    n_before = rate_before_per_h * hours_before

    def enough(hours: float) -> bool:
        return power_to_detect(n_before, hours_before, hours, true_ratio, level=level) >= power

    short, long = 0.0, hours_before / 32.0
    while not enough(long):
        short, long = long, 2.0 * long
        if long > FARTHEST * hours_before:
            return None
    while long - short > 1e-3 * long:
        middle = (short + long) / 2.0
        short, long = (short, middle) if enough(middle) else (middle, long)
    return long


def _why_not(n_before: int, hours_before: float, n_after: int, hours_after: float) -> tuple[str, ...]:
    """Reasons why there is no ratio, or why one of its limits is missing."""
    reasons = []
    for side, n, hours in (("before", n_before, hours_before), ("after", n_after, hours_after)):
        if hours == 0:
            known = f"{count_words(n)} but no running hours {side}: check the running hours"
            reasons.append(known if n else f"no running hours {side}")
    if n_before == 0 and n_after == 0:
        reasons.append("no incident on either side: nothing to compare")
    elif not reasons and n_before == 0:
        reasons.append("no incident before: the ratio has no upper limit")
    elif not reasons and n_after == 0:
        reasons.append("no incident after: the ratio has no lower limit above 0")
    return tuple(reasons)


def _lowest_odds(x: FloatArray, y: FloatArray, tail: float) -> FloatArray:
    """Lower Clopper-Pearson limit of p for x of x + y, as odds p / (1 - p); 0 where x is 0."""
    some = np.maximum(x, np.finfo(float).tiny)
    # Both p and 1 - p by their own quantile, so that odds near 0 and near infinity keep their digits.
    odds = special.betaincinv(some, y + 1.0, tail) / special.betainccinv(y + 1.0, some, tail)
    return np.asarray(np.where(x > 0, odds, 0.0), dtype=float)


def _lowest_odds_mid_p(x: FloatArray, y: FloatArray, tail: float) -> FloatArray:
    """Lower mid-P limit of p for x of x + y, as odds p / (1 - p); 0 where x is 0."""
    odds = np.zeros(x.shape)
    some = x > 0
    a, b = x[some], y[some]
    if a.size == 0:
        return odds
    # Half of P(X = x) left out moves the limit up from the exact one, but not as far as the exact one for x + 1.
    start = np.log(_lowest_odds(a, b, tail))
    next_one = np.log(_lowest_odds(a + 1.0, np.maximum(b - 1.0, 0.0), tail))
    # With all counts on one side the limit is known: p ** x / 2 = tail.
    end = np.where(b > 0, next_one, -np.log(np.expm1(-math.log(2.0 * tail) / a)) + 1e-6)

    def beyond(log_odds: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        p = special.expit(log_odds)
        at_least, more = special.betainc(a, b + 1.0, p), _more_than(a, b, p)
        return np.asarray(np.log((at_least + more) / 2.0) - math.log(tail), dtype=float)

    found = elementwise.find_root(beyond, (start, end), args=(a, b), tolerances={"xatol": 1e-12})
    odds[some] = np.exp(found.x)
    return odds


def _more_than(x: FloatArray, y: FloatArray, p: FloatArray | float) -> FloatArray:
    """P(X > x) for X binomial of x + y with chance p."""
    return np.asarray(np.where(y > 0, special.betainc(x + 1.0, np.maximum(y, 1.0), p), 0.0), dtype=float)


def _tails(n0: FloatArray, n1: FloatArray, p: FloatArray | float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """P(X <= n1), P(X >= n1) and P(X = n1) for X binomial of n0 + n1 with chance p."""
    more = _more_than(n1, n0, p)
    fewer = _more_than(n0, n1, 1.0 - np.asarray(p))
    exactly = stats.binom.pmf(n1, n0 + n1, p)
    return fewer + exactly, more + exactly, exactly


def _p_values(n0: FloatArray, n1: FloatArray, p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Central, mid-P and minimum-likelihood p-values for a ratio of one."""
    lower, upper, exactly = _tails(n0, n1, p)
    central = np.minimum(1.0, 2.0 * np.minimum(lower, upper))
    mid = np.minimum(1.0, 2.0 * np.minimum(lower, upper) - exactly)
    return central, mid, _p_minimum_likelihood(n0, n1, p)


def _p_minimum_likelihood(n0: FloatArray, n1: FloatArray, p: FloatArray) -> FloatArray:
    """Probability of all counts that are no likelier than the one seen.

    The probabilities fall away from the mean on both sides, so the first such count on the far side is found by
    halving. A relative slack of 1e-7 keeps equal probabilities equal in spite of rounding, as R and SciPy do.
    """
    n, mean = n0 + n1, (n0 + n1) * p
    seen = stats.binom.pmf(n1, n, p) * (1.0 + 1e-7)
    below = n1 < mean
    near = np.where(below, np.ceil(mean), np.floor(mean))
    # Steps away from the near end: `inside` is likelier than the count seen (or -1), `outside` is not (or past it).
    sign = np.where(below, 1.0, -1.0)
    inside, outside = np.full(n.shape, -1.0), np.where(below, n - near, near) + 1.0
    while np.any(outside - inside > 1):
        middle = np.floor((inside + outside) / 2.0)
        likelier = stats.binom.pmf(near + sign * middle, n, p) > seen
        inside, outside = np.where(likelier, middle, inside), np.where(likelier, outside, middle)
    far = near + sign * outside
    at_most, at_least = (
        stats.binom.cdf(np.where(below, n1, far), n, p),
        stats.binom.sf(np.where(below, far, n1) - 1, n, p),
    )
    return np.where(n1 == mean, 1.0, np.minimum(1.0, at_most + at_least))


def _likely_counts(mean: float) -> FloatArray:
    """Counts that hold all but about 1e-9 of a Poisson distribution."""
    return np.arange(stats.poisson.ppf(5e-10, mean), stats.poisson.isf(5e-10, mean) + 1.0)


def _counts(name: str, given: ArrayLike) -> FloatArray:
    values = np.asarray(given, dtype=float)
    bad = ~((values >= 0) & (values == np.floor(values)) & np.isfinite(values))
    if np.any(bad):
        raise ValueError(f"{name} is {np.extract(bad, values)[0]:g} incidents; give a whole number from 0 up")
    return values


def _hours(name: str, given: ArrayLike) -> FloatArray:
    values = np.asarray(given, dtype=float)
    bad = ~((values >= 0) & np.isfinite(values))
    if np.any(bad):
        raise ValueError(f"{name} is {np.extract(bad, values)[0]:g} h; give running hours from 0 up")
    return values


def check_level(level: float) -> None:
    """Refuse what is no coverage of an interval.

    Parameters
    ----------
    level : float
        Coverage [-].

    Raises
    ------
    ValueError
        If it does not lie between 0 and 1.
    """

    if not 0 < level < 1:
        raise ValueError(f"level is {level}; give a coverage between 0 and 1, such as 0.95")


def _check_above(name: str, value: float, unit: str) -> None:
    if not 0 < value < math.inf:
        raise ValueError(f"{name} is {value} {unit}; give a number above 0")


def count_words(n: int) -> str:
    """A number of incidents in words: "1 incident", "2 incidents".

    Parameters
    ----------
    n : int
        How many.
    """
    return f"{n} incident" if n == 1 else f"{n} incidents"
