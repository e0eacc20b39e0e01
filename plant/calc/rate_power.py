"""How long until a change of the rate would show.

Hours still needed at the present rate until the exact interval would leave out a ratio of one; and before anything is
fitted, the hours until a stated change would probably be seen. The arithmetic is that of `plant.calc.rates`.
"""

from __future__ import annotations

import math

import numpy as np
import scipy

from plant.calc.rates import FloatArray, check_above, check_level, counts_given, hours_given, lowest_odds, tails_of

# Beyond this multiple of the longer of the two periods nobody waits for an answer.
FARTHEST = 100.0


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
    check_above("n_before", n_before, "incidents")
    check_above("hours_before", hours_before, "h")
    check_above("hours_after", hours_after, "h")
    if not 0 <= true_ratio < math.inf:
        raise ValueError(f"true_ratio is {true_ratio}; give a ratio from 0 up, such as 0.5 for a halving")
    mean_after = n_before / hours_before * hours_after * true_ratio
    before, after = _likely_counts(n_before), _likely_counts(mean_after)
    grid_before, grid_after = np.meshgrid(before, after, indexing="ij")
    lower, upper, _ = tails_of(grid_before, grid_after, hours_after / (hours_before + hours_after))
    # The exact interval leaves out one exactly where a tail is below half of what the interval leaves over.
    found = np.minimum(lower, upper) < (1.0 - level) / 2.0
    return float(scipy.stats.poisson.pmf(before, n_before) @ found @ scipy.stats.poisson.pmf(after, mean_after))


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
    n0, t0 = float(counts_given("n_before", n_before)), float(hours_given("hours_before", hours_before))
    n1, t1 = float(counts_given("n_after", n_after)), float(hours_given("hours_after", hours_after))
    if t0 == 0 or n0 + n1 == 0 or (t1 == 0 and n1 > 0):
        return None
    rate_after = n1 / t1 if t1 > 0 else 0.0
    rising = rate_after > n0 / t0

    def room(hours: float) -> float:
        """Above 0 while the limit nearer to one has not yet passed it."""
        grown, scale = rate_after * hours, t0 / hours
        if rising:
            return -math.log(float(lowest_odds(np.array(grown), np.array(n0), (1.0 - level) / 2.0)) * scale)
        return -math.log(float(lowest_odds(np.array(n0), np.array(grown), (1.0 - level) / 2.0)) / scale)

    first, last = max(t1, t0 * 1e-6), FARTHEST * max(t0, t1)
    if room(first) < 0:
        return 0.0
    if room(last) >= 0:
        return None
    return float(scipy.optimize.brentq(room, first, last, rtol=1e-10)) - t1


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
    check_above("hours_before", hours_before, "h")
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


def _likely_counts(mean: float) -> FloatArray:
    """Counts that hold all but about 1e-9 of a Poisson distribution."""
    return np.arange(scipy.stats.poisson.ppf(5e-10, mean), scipy.stats.poisson.isf(5e-10, mean) + 1.0)
