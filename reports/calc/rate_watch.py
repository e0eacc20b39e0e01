"""A watch on each device in service: does its rate of incidents climb away from what it had reached?

Poisson CUSUM (Lucas 1985): ``S = max(0, S + incidents - k expected)``, a signal when ``S >= h``. *Expected* are the
incidents that the rate in good order would bring in the running hours since the step before, so unequal hours need no
further care. For a rate that climbs to ``rise`` times itself the best reference value is
``k = (rise - 1) / ln(rise)`` per expected incident.

The threshold h comes from a chosen false-alarm distance: the running hours, on average, between two alarms of a device
that stays as good as it was. It is that of a belt watched at every moment (`expected_between_alarms`, exact). Whoever
looks once a day sees no more than that, so that the distance between false alarms is at least the chosen one.

The rate in good order is learnt: the count of the first running hours after settling-in (how many the plant sets), one
incident at least, and no less than a share of the rate before the device (set likewise). That learnt rate has its own
error, so distances hold for the rate as learnt, not for the true one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, stats

FloatArray = NDArray[np.float64]

RISE = 3.0  # the climb that is looked for; own rule
# A single incident after a time without any makes S = 1 and must not be an alarm on its own; own rule.
LOWEST, HIGHEST = 1.0 + 1.0 / 24.0, 12.0


@dataclass(frozen=True)
class Watch:
    """S after each step, where it first reached h, and since when it had been climbing."""

    s: tuple[float, ...]
    h: float
    signal: int | None
    climbing_since: int | None


def reference_value(rise: float) -> float:
    """k per expected incident, for a rate that climbs to so many times itself [-].

    Parameters
    ----------
    rise : float
        Above 1 [-].

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If rise is not above 1.

    Examples
    --------
    >>> round(reference_value(3.0), 4)
    1.8205
    """
    if not 1 < rise < math.inf:
        raise ValueError(f"rise is {rise}; give how many times as often incidents would come, above 1, such as 3")
    return (rise - 1.0) / math.log(rise)


def average_run_length(mean: float, k: float, h: float) -> float:
    """Steps until a signal, on average, starting at 0; a signal when S >= h.

    Parameters
    ----------
    mean : float
        Incidents to be expected in a step, above 0.
    k : float
        Reference value of a step, above 0; taken to the nearest fraction with a denominator up to 1000.
    h : float
        Threshold, above 0.

    Returns
    -------
    float
        Average run length [steps].

    Raises
    ------
    ValueError
        If a value is not above 0.

    References
    ----------
    Brook, D. & Evans, D. A. (1972), Biometrika 59, 539-549; Lucas, J. M. (1985), Technometrics 27, 129-144.

    Examples
    --------
    >>> round(average_run_length(2, 3, 7), 3)
    894.004
    """
    for name, value in (("mean", mean), ("k", k), ("h", h)):
        if not 0 < value < math.inf:
            raise ValueError(f"{name} is {value}; give a number above 0")
    parts = Fraction(k).limit_denominator(1000)
    unit, down = parts.denominator, parts.numerator
    n_states = math.ceil(h * unit - 1e-9)
    state = np.arange(n_states)
    chain = np.zeros((n_states, n_states))
    for x in range(math.ceil(h + k) + 1):
        target = np.maximum(0, state + x * unit - down)
        stays = target < n_states
        np.add.at(chain, (state[stays], target[stays]), stats.poisson.pmf(x, mean))
    return float(np.linalg.solve(np.eye(n_states) - chain, np.ones(n_states))[0])


def expected_between_alarms(h: float, *, rise: float = RISE, actual: float = 1.0) -> float:
    """Incidents to be expected at the good rate until S first reaches h, watched at every moment.

    Parameters
    ----------
    h : float
        Threshold, above 0.
    rise : float, optional
        Climb that the watch is set for, above 1 [-].
    actual : float, optional
        How many times the good rate incidents really come; 1 for the distance between false alarms [-].

    Returns
    -------
    float
        In incidents expected at the good rate; divided by that rate it is running hours. Steps of a day make it a
        little longer: S is then held against h at the end of each day only.

    Raises
    ------
    ValueError
        If h or actual is not above 0.

    Notes
    -----
    Between incidents S falls by k per expected incident until it is 0; each incident lifts it by 1. It is the work
    that waits before a server with customers of one size (M/D/1), or a Poisson process reflected at its running least.
    The mean time to reach h from 0 is ``W(h)^2 / W'(h) - integral of W from 0 to h``, with the scale function of the
    process, here ``W(x) = 1/k sum over n <= x of (-y_n)^n / n! exp(y_n)``, ``y_n = actual (x - n) / k``. Both pieces
    follow from ``k W'(x) = actual (W(x) - W(x - 1))``.

    References
    ----------
    Avram, F., Kyprianou, A. E. & Pistorius, M. R. (2004), Annals of Applied Probability 14, 215-238, exit of a
    reflected process; Erlang's formula for W (both from memory; the tests hold the result against the limit of
    Brook & Evans's chain with ever shorter steps, and against a simulation).

    Examples
    --------
    >>> round(expected_between_alarms(3.0), 3)
    38.389
    """
    for name, value in (("h", h), ("actual", actual)):
        if not 0 < value < math.inf:
            raise ValueError(f"{name} is {value}; give a number above 0")
    k = reference_value(rise)

    def scale(x: float) -> float:
        # Just below a whole number the jump has not come yet: a signal is S >= h.
        y = [actual * (x - n) / k for n in range(math.ceil(x))]
        return sum((-each) ** n / math.factorial(n) * math.exp(each) for n, each in enumerate(y)) / k

    below = [scale(h - n) for n in range(math.ceil(h))]
    slope = actual / k * (below[0] - (below[1] if len(below) > 1 else 0.0))
    return below[0] ** 2 / slope - sum((k * each - 1.0) / actual for each in below)


def threshold_for(expected_incidents: float, *, rise: float = RISE) -> float:
    """Threshold whose false alarms lie so far apart, on average.

    Parameters
    ----------
    expected_incidents : float
        Wanted distance as incidents expected at the good rate (good rate times running hours), above 0.
    rise : float, optional
        Climb that is looked for, above 1 [-].

    Returns
    -------
    float
        h, above 1: a single incident never raises an alarm on its own. At most 12. The distance is at least the wanted
        one, exactly that one where the belt is watched at every moment.

    Raises
    ------
    ValueError
        If expected_incidents is not above 0.
    """
    if not 0 < expected_incidents < math.inf:
        raise ValueError(f"expected_incidents is {expected_incidents}; give a number above 0")
    # To two figures, upwards, so that a fleet asks for few different thresholds.
    digit = 10.0 ** (math.floor(math.log10(expected_incidents)) - 1)
    return _threshold(math.ceil(expected_incidents / digit - 1e-9) * digit, rise)


@lru_cache(maxsize=512)
def _threshold(expected_incidents: float, rise: float) -> float:
    wanted = math.log(expected_incidents)

    def short(h: float) -> float:
        return math.log(expected_between_alarms(h, rise=rise)) - wanted

    if short(LOWEST) >= 0:
        return LOWEST
    if short(HIGHEST) <= 0:
        return HIGHEST
    h = float(optimize.brentq(short, LOWEST, HIGHEST, xtol=1e-9))
    return h if short(h) >= 0 else h + 1e-8


def watch_rate(incidents: ArrayLike, expected: ArrayLike, h: float, *, rise: float = RISE) -> Watch:
    """Follow a device step by step.

    Parameters
    ----------
    incidents : array of int, shape (m,)
        Incidents of each step, such as a day.
    expected : array of float, shape (m,)
        Incidents that the good rate brings in the hours of each step.
    h : float
        Threshold, above 0.
    rise : float, optional
        Climb that is looked for, above 1 [-].

    Returns
    -------
    Watch
        signal: first step at which S reached h; climbing_since: the step of the first incident after S was last 0
        before that (before the end, where there is no signal).

    Raises
    ------
    ValueError
        If lengths differ or a value is negative.
    """
    x, m = np.asarray(incidents, dtype=float), np.asarray(expected, dtype=float)
    if x.shape != m.shape or x.ndim != 1:
        raise ValueError(f"incidents have shape {x.shape}, expected {m.shape}; give one of each for every step")
    if not (np.all(x >= 0) and np.all(m >= 0)):
        raise ValueError("incidents and expected must be 0 or more; look for negative ones")
    steps = x - reference_value(rise) * m
    # S is the running sum less its lowest value so far, which needs no loop.
    total = np.concatenate([[0.0], np.cumsum(steps)])
    s = (total - np.minimum.accumulate(total))[1:]
    reached = np.flatnonzero(s >= h - 1e-12)
    signal = int(reached[0]) if reached.size else None
    last = s.size - 1 if signal is None else signal
    zeros = np.flatnonzero(s[: last + 1] <= 0)
    since = int(zeros[-1]) + 1 if zeros.size else 0
    return Watch(tuple(s.tolist()), float(h), signal, since if s.size and since <= last else None)
