"""Counts of incidents in running hours: rates, and ratios of two rates.

Given two counts together, the later one is binomial with ``p = R t1 / (t0 + R t1)``, where ``R`` is the true ratio of
the rates (after over before), ``t0`` the hours before and ``t1`` the hours after (Przyborowski & Wilenski 1940).
Everything about two counts in this module is that one sentence turned round:

1. **Exact interval**: the Clopper-Pearson limits of ``p`` by beta quantiles, as odds ``p / (1 - p)`` times ``t0 / t1``.
2. **Mid-P interval**: the same with the observed count weighted one half in each tail.
3. **Three p-values** for a ratio of one, which differ and are named: *central* (twice the smaller tail, agrees with the
   exact interval), *mid-P* (agrees with the mid-P interval), *minimum likelihood* (agrees with neither).

How long until a change would show stands in `plant.calc.rate_power`.

The counts are taken to be independent. Where incidents come in bad spells the intervals are too narrow; that is checked
elsewhere, not here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from plant.calc.reasons import Reason

FloatArray = NDArray[np.float64]


class RateRule(StrEnum):
    """Why there is no rate or ratio, or why one of its limits is missing."""

    ONE_INCIDENT = "rate.one_incident"
    INCIDENTS = "rate.incidents"
    NO_HOURS = "rate.no_hours"
    INCIDENTS_IN_NO_HOURS = "rate.incidents_in_no_hours"
    NO_HOURS_BEFORE = "rate.no_hours_before"
    NO_HOURS_AFTER = "rate.no_hours_after"
    INCIDENTS_BUT_NO_HOURS_BEFORE = "rate.incidents_but_no_hours_before"
    INCIDENTS_BUT_NO_HOURS_AFTER = "rate.incidents_but_no_hours_after"
    NO_INCIDENT = "rate.no_incident"
    NO_INCIDENT_BEFORE = "rate.no_incident_before"
    NO_INCIDENT_AFTER = "rate.no_incident_after"


@dataclass(frozen=True)
class Rate:
    """Incidents per 1000 running hours with an exact interval; None and a reason where there are no hours."""

    n: int
    hours: float
    per_1000_h: float | None
    low: float | None
    high: float | None
    level: float = 0.95
    reasons: tuple[Reason, ...] = ()


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
    reasons: tuple[Reason, ...] = ()


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
        why = Reason(RateRule.INCIDENTS_IN_NO_HOURS, {"counted": counted(int(n))}) if n else Reason(RateRule.NO_HOURS)
        return Rate(int(n), float(hours), None, None, None, level, (why,))
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
    count, time = np.broadcast_arrays(counts_given("n", n), hours_given("hours", hours))
    thousands = np.where(time > 0, time / 1000.0, np.nan)
    tail = (1.0 - level) / 2.0
    # The gamma quantile with shape 0 is the limit 0; SciPy answers NaN there.
    low = np.where(count > 0, scipy.special.gammaincinv(np.maximum(count, 1.0), tail), 0.0)
    high = scipy.special.gammainccinv(count + 1.0, tail)
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
    return compare_each([(n_before, hours_before, n_after, hours_after)], level=level)[0]


def compare_each(sides: Sequence[tuple[int, float, int, float]], *, level: float = 0.95) -> list[RateRatio]:
    """`compare_rates` of several comparisons: the limits of all are searched at once, in the time of one.

    Parameters
    ----------
    sides : sequence of (n_before, hours_before, n_after, hours_after)
        Counts [-] and covered running hours [h] of each.
    level : float, optional
        Coverage of the two-sided intervals, 0 < level < 1 [-].

    Returns
    -------
    list of RateRatio
        In the order of the comparisons.

    Raises
    ------
    ValueError
        As `compare_rates`.
    """
    if not sides:
        return []
    many = compare_rates_many(*(np.array(column) for column in zip(*sides, strict=True)), level=level)
    columns = (
        many.ratio,
        many.low,
        many.high,
        many.p_central,
        many.mid_p_low,
        many.mid_p_high,
        many.p_mid,
        many.p_minlike,
    )
    found = []
    for (n_before, h_before, n_after, h_after), *answers in zip(
        sides, *(column.tolist() for column in columns), strict=True
    ):
        reasons = _why_not(n_before, h_before, n_after, h_after)
        given = (int(n_before), float(h_before), int(n_after), float(h_after), level)
        known: list[float | None] = [None] * len(answers) if math.isnan(answers[0]) else answers
        ratio, low, high, p_central, mid_p_low, mid_p_high, p_mid, p_minlike = known
        found.append(RateRatio(ratio, low, high, p_central, mid_p_low, mid_p_high, p_mid, p_minlike, *given, reasons))
    return found


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
        counts_given("n_before", n_before),
        hours_given("hours_before", hours_before),
        counts_given("n_after", n_after),
        hours_given("hours_after", hours_after),
    )
    comparable = (t0 > 0) & (t1 > 0) & (n0 + n1 > 0)
    answers = [np.full(n0.shape, np.nan) for _ in range(8)]
    b0, h0, b1, h1 = n0[comparable], t0[comparable], n1[comparable], t1[comparable]
    with np.errstate(divide="ignore"):
        ratio = (b1 / h1) / (b0 / h0)
        scale = h0 / h1
        tail = (1.0 - level) / 2.0
        # The upper limit for a count is the reciprocal of the lower limit with the two sides changed over.
        low, high = lowest_odds(b1, b0, tail) * scale, scale / lowest_odds(b0, b1, tail)
        mid_low, mid_high = _lowest_odds_mid_p(b1, b0, tail) * scale, scale / _lowest_odds_mid_p(b0, b1, tail)
    central, mid, minlike = _p_values(b0, b1, h1 / (h0 + h1))
    for whole, part in zip(answers, (ratio, low, high, central, mid_low, mid_high, mid, minlike), strict=True):
        whole[comparable] = part
    return RateRatios(*answers)


def counted(n: int) -> Reason:
    """A number of incidents, to stand within a sentence: one or several of them.

    Parameters
    ----------
    n : int
        How many.
    """
    return Reason(RateRule.ONE_INCIDENT if n == 1 else RateRule.INCIDENTS, {"n": n})


def _why_not(n_before: int, hours_before: float, n_after: int, hours_after: float) -> tuple[Reason, ...]:
    """Reasons why there is no ratio, or why one of its limits is missing."""
    reasons = []
    for n, hours, none, without in (
        (n_before, hours_before, RateRule.NO_HOURS_BEFORE, RateRule.INCIDENTS_BUT_NO_HOURS_BEFORE),
        (n_after, hours_after, RateRule.NO_HOURS_AFTER, RateRule.INCIDENTS_BUT_NO_HOURS_AFTER),
    ):
        if hours == 0:
            reasons.append(Reason(without, {"counted": counted(int(n))}) if n else Reason(none))
    if n_before == 0 and n_after == 0:
        reasons.append(Reason(RateRule.NO_INCIDENT))
    elif not reasons and n_before == 0:
        reasons.append(Reason(RateRule.NO_INCIDENT_BEFORE))
    elif not reasons and n_after == 0:
        reasons.append(Reason(RateRule.NO_INCIDENT_AFTER))
    return tuple(reasons)


def lowest_odds(x: FloatArray, y: FloatArray, tail: float) -> FloatArray:
    """Lower Clopper-Pearson limit of p for x of x + y, as odds p / (1 - p); 0 where x is 0.

    Parameters
    ----------
    x, y : array of float
        Counts of the one kind and of the other [-].
    tail : float
        Chance left out below [-].
    """
    some = np.maximum(x, np.finfo(float).tiny)
    # Both p and 1 - p by their own quantile, so that odds near 0 and near infinity keep their digits.
    odds = scipy.special.betaincinv(some, y + 1.0, tail) / scipy.special.betainccinv(y + 1.0, some, tail)
    return np.asarray(np.where(x > 0, odds, 0.0), dtype=float)


def _lowest_odds_mid_p(x: FloatArray, y: FloatArray, tail: float) -> FloatArray:
    """Lower mid-P limit of p for x of x + y, as odds p / (1 - p); 0 where x is 0."""
    odds = np.zeros(x.shape)
    some = x > 0
    a, b = x[some], y[some]
    if a.size == 0:
        return odds
    # Half of P(X = x) left out moves the limit up from the exact one, but not as far as the exact one for x + 1.
    start = np.log(lowest_odds(a, b, tail))
    next_one = np.log(lowest_odds(a + 1.0, np.maximum(b - 1.0, 0.0), tail))
    # With all counts on one side the limit is known: p ** x / 2 = tail.
    end = np.where(b > 0, next_one, -np.log(np.expm1(-math.log(2.0 * tail) / a)) + 1e-6)

    def beyond(log_odds: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        p = scipy.special.expit(log_odds)
        at_least, more = scipy.special.betainc(a, b + 1.0, p), _more_than(a, b, p)
        return np.asarray(np.log((at_least + more) / 2.0) - math.log(tail), dtype=float)

    from scipy.optimize import elementwise  # scipy brings its parts when they are used, this one by its name only

    found = elementwise.find_root(beyond, (start, end), args=(a, b), tolerances={"xatol": 1e-12})
    odds[some] = np.exp(found.x)
    return odds


def _more_than(x: FloatArray, y: FloatArray, p: FloatArray | float) -> FloatArray:
    """P(X > x) for X binomial of x + y with chance p."""
    return np.asarray(np.where(y > 0, scipy.special.betainc(x + 1.0, np.maximum(y, 1.0), p), 0.0), dtype=float)


def tails_of(n0: FloatArray, n1: FloatArray, p: FloatArray | float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """P(X <= n1), P(X >= n1) and P(X = n1) for X binomial of n0 + n1 with chance p.

    Parameters
    ----------
    n0, n1 : array of float
        Counts before and after [-].
    p : array of float or float
        Chance of an incident to lie after [-].
    """
    more = _more_than(n1, n0, p)
    fewer = _more_than(n0, n1, 1.0 - np.asarray(p))
    exactly = scipy.stats.binom.pmf(n1, n0 + n1, p)
    return fewer + exactly, more + exactly, exactly


def _p_values(n0: FloatArray, n1: FloatArray, p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Central, mid-P and minimum-likelihood p-values for a ratio of one."""
    lower, upper, exactly = tails_of(n0, n1, p)
    central = np.minimum(1.0, 2.0 * np.minimum(lower, upper))
    mid = np.minimum(1.0, 2.0 * np.minimum(lower, upper) - exactly)
    return central, mid, _p_minimum_likelihood(n0, n1, p)


def _p_minimum_likelihood(n0: FloatArray, n1: FloatArray, p: FloatArray) -> FloatArray:
    """Probability of all counts that are no likelier than the one seen.

    The probabilities fall away from the mean on both sides, so the first such count on the far side is found by
    halving. A relative slack of 1e-7 keeps equal probabilities equal in spite of rounding, as R and SciPy do.
    """
    n, mean = n0 + n1, (n0 + n1) * p
    seen = scipy.stats.binom.pmf(n1, n, p) * (1.0 + 1e-7)
    below = n1 < mean
    near = np.where(below, np.ceil(mean), np.floor(mean))
    # Steps away from the near end: `inside` is likelier than the count seen (or -1), `outside` is not (or past it).
    sign = np.where(below, 1.0, -1.0)
    inside, outside = np.full(n.shape, -1.0), np.where(below, n - near, near) + 1.0
    while np.any(outside - inside > 1):
        middle = np.floor((inside + outside) / 2.0)
        likelier = scipy.stats.binom.pmf(near + sign * middle, n, p) > seen
        inside, outside = np.where(likelier, middle, inside), np.where(likelier, outside, middle)
    far = near + sign * outside
    at_most, at_least = (
        scipy.stats.binom.cdf(np.where(below, n1, far), n, p),
        scipy.stats.binom.sf(np.where(below, far, n1) - 1, n, p),
    )
    return np.where(n1 == mean, 1.0, np.minimum(1.0, at_most + at_least))


def counts_given(name: str, given: ArrayLike) -> FloatArray:
    """Counts as floats; raises ValueError where one is negative or no whole number.

    Parameters
    ----------
    name : str
        Of the argument.
    given : array_like
        Counts [-].
    """
    values = np.asarray(given, dtype=float)
    bad = ~((values >= 0) & (values == np.floor(values)) & np.isfinite(values))
    if np.any(bad):
        raise ValueError(f"{name} is {np.extract(bad, values)[0]:g} incidents; give a whole number from 0 up")
    return values


def hours_given(name: str, given: ArrayLike) -> FloatArray:
    """Hours as floats; raises ValueError where one is negative or not finite.

    Parameters
    ----------
    name : str
        Of the argument.
    given : array_like
        Hours [h].
    """
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


def check_above(name: str, value: float, unit: str) -> None:
    """Raises ValueError where a number is not above zero.

    Parameters
    ----------
    name : str
        Of the argument.
    value : float
        In its unit.
    unit : str
        Its name.
    """
    if not 0 < value < math.inf:
        raise ValueError(f"{name} is {value} {unit}; give a number above 0")
