"""The smallest change that a comparison could show: what "no clear change" leaves open.

A comparison with few incidents or few hours misses moderate changes. Asked is for which true ratio the exact interval
would leave out 1 in eight of ten cases, once for a fall and once for a rise, given the incidents before and the hours
of both sides.

Up to `EXACT_UNTIL` incidents before, the chance is added up over both counts (`plant.calc.rate_power.power_to_detect`).
Beyond, the logarithm of the ratio is as good as normal with variance ``1/n0 + 1/(n0 R t1/t0)`` (own choice of the
limit; both ways agree within a few hundredths there, see the tests).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import scipy

from plant.calc.rate_power import power_to_detect
from plant.calc.rates import check_level

EXACT_UNTIL = 80.0
LARGEST_RATIO = 64.0
POWER = 0.8  # common practice, no source


@dataclass(frozen=True)
class SmallestChange:
    """Ratios at which a fall and a rise would be seen; None where even the largest one would not."""

    fall: float | None
    rise: float | None
    power: float
    level: float


def smallest_change(
    n_before: float,
    hours_before: float,
    hours_after: float,
    *,
    dispersion: float = 1.0,
    power: float = POWER,
    level: float = 0.95,
) -> SmallestChange:
    """Nearest ratios to 1, below and above, that would be called a change with the stated chance.

    Parameters
    ----------
    n_before : float
        Incidents before, 0 or more; taken for what is to be expected there.
    hours_before, hours_after : float
        Running hours of both sides, 0 or more [h].
    dispersion : float, optional
        Variance over mean where incidents come in bad spells, 1 or more: counts and hours are divided by it [-].
    power : float, optional
        Chance of being seen, 0 < power < 1 [-].
    level : float, optional
        Coverage of the two-sided interval, 0 < level < 1 [-].

    Returns
    -------
    SmallestChange
        To about 1 %. Both are None without incidents before or without hours on a side.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Examples
    --------
    >>> found = smallest_change(50, 5000, 5000)
    >>> round(found.fall, 1)
    0.5
    """
    check_level(level)
    if not 0 < power < 1:
        raise ValueError(f"power is {power}; give a probability between 0 and 1, such as 0.8")
    if not (n_before >= 0 and hours_before >= 0 and hours_after >= 0 and dispersion >= 1):
        raise ValueError(
            f"n_before is {n_before}, hours {hours_before} and {hours_after} h, dispersion {dispersion}; give counts "
            "and hours from 0 up and a dispersion from 1 up"
        )
    n, t0, t1 = n_before / dispersion, hours_before / dispersion, hours_after / dispersion
    if n == 0 or t0 == 0 or t1 == 0:
        return SmallestChange(None, None, power, level)
    if n > EXACT_UNTIL:
        return SmallestChange(*_by_normal(n, t1 / t0, power, level), power, level)

    def seen(ratio: float) -> float:
        return power_to_detect(n, t0, t1, ratio, level=level)

    return SmallestChange(_fall(seen, power), _rise(seen, power), power, level)


def tells_fewer_at_best(
    n_before: float, hours_before: float, hours_after: float, *, dispersion: float = 1.0, level: float = 0.95
) -> bool:
    """Whether the interval of the ratio would leave out 1 if not a single incident had come after.

    Where it would not, "fewer" was out of reach whatever the device did: too few incidents before, or too few hours.

    Parameters
    ----------
    n_before : float
        Incidents before, 0 or more.
    hours_before, hours_after : float
        Running hours of both sides, 0 or more [h].
    dispersion : float, optional
        Variance over mean where incidents come in bad spells, 1 or more: counts and hours are divided by it [-].
    level : float, optional
        Coverage of the two-sided interval, 0 < level < 1 [-].

    Returns
    -------
    bool

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    With none after, the upper Clopper-Pearson limit of the share p of incidents that fall after is ``1 - tail^(1/n)``,
    so the limit of the ratio is ``(tail^(-1/n) - 1) t0 / t1``.

    Examples
    --------
    With as many hours on both sides it takes six incidents before: 2 x 0.5^6 is below 0.05, 2 x 0.5^5 is not.

    >>> tells_fewer_at_best(6, 5000, 5000), tells_fewer_at_best(5, 5000, 5000)
    (True, False)
    """
    check_level(level)
    if not (n_before >= 0 and hours_before >= 0 and hours_after >= 0 and dispersion >= 1):
        raise ValueError(
            f"n_before is {n_before}, hours {hours_before} and {hours_after} h, dispersion {dispersion}; give counts "
            "and hours from 0 up and a dispersion from 1 up"
        )
    if n_before == 0 or hours_after == 0:
        return False
    tail = (1.0 - level) / 2.0
    return math.expm1(-math.log(tail) * dispersion / n_before) * hours_before < hours_after


def _fall(seen: Callable[[float], float], power: float) -> float | None:
    if seen(0.0) < power:
        return None
    low, high = 0.0, 1.0
    while high - low > 0.005:
        middle = (low + high) / 2.0
        low, high = (middle, high) if seen(middle) >= power else (low, middle)
    return low


def _rise(seen: Callable[[float], float], power: float) -> float | None:
    low, high = 1.0, 1.5
    while seen(high) < power:
        low, high = high, 2.0 * high
        if low >= LARGEST_RATIO:
            return None
    while high / low > 1.005:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if seen(middle) >= power else (middle, high)
    return high


def _by_normal(n: float, share: float, power: float, level: float) -> tuple[float | None, float | None]:
    reach = float(scipy.stats.norm.isf((1.0 - level) / 2.0) + scipy.stats.norm.isf(1.0 - power))

    def short(log_ratio: float) -> float:
        return abs(log_ratio) - reach * math.sqrt(1.0 / n + 1.0 / (n * share * math.exp(log_ratio)))

    found: list[float | None] = []
    for end in (-math.log(LARGEST_RATIO), math.log(LARGEST_RATIO)):
        # Of a fall so deep that hardly an incident is left the approximation says nothing: looked for is the nearest.
        steps = [end * k / 64.0 for k in range(1, 65)]
        first = next((k for k, each in enumerate(steps) if short(each) >= 0), None)
        if first is None:
            found.append(None)
            continue
        near = steps[first - 1] if first else 0.0
        found.append(math.exp(scipy.optimize.brentq(short, near, steps[first])))
    return found[0], found[1]
