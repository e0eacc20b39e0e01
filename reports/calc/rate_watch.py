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
import scipy
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

RISE = 3.0  # the climb that is looked for; own rule
# A single incident after a time without any makes S = 1 and must not be an alarm on its own; own rule.
LOWEST, HIGHEST = 1.0 + 1.0 / 24.0, 12.0
RUNS = 200  # draws for the chance of an alarm


@dataclass(frozen=True)
class Watch:
    """S after each step, where it first reached h, and since when it had been climbing.

    `standing` is the step of the alarm that still stands at the end, with `standing_since` where its climb began: once
    S has come back to 0 the rate is as good as it was, and an alarm before that is over.
    """

    s: tuple[float, ...]
    h: float
    signal: int | None
    climbing_since: int | None
    standing: int | None = None
    standing_since: int | None = None


@dataclass(frozen=True)
class WatchRules:
    """Numbers by which a device is watched.

    Parameters
    ----------
    learn_h : float
        Running hours in which the good rate is learnt, above 0 [h].
    least_rate_per_h : float
        The good rate is taken as no less than this, 0 or more [1/h].
    alarm_years : float
        Distance between false alarms of a device that stays at the learnt rate, at least, above 0 [a].
    rise : float, optional
        Climb that is looked for, above 1 [-].
    """

    learn_h: float
    least_rate_per_h: float
    alarm_years: float
    rise: float = RISE


@dataclass(frozen=True)
class Learnt:
    """What the first running hours taught: bad days and hours in them, the good rate, the threshold."""

    steps: int
    n: int
    hours: float
    rate_per_h: float
    h: float


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
        np.add.at(chain, (state[stays], target[stays]), scipy.stats.poisson.pmf(x, mean))
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
    h = float(scipy.optimize.brentq(short, LOWEST, HIGHEST, xtol=1e-9))
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
        before that (before the end, where there is no signal). standing, standing_since: the same of the alarm that
        stands at the end; None where S has come back to 0 since the last one.

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
    ends = np.flatnonzero(s <= 0)
    begin = int(ends[-1]) + 1 if ends.size else 0
    stands = reached[reached >= begin]
    return Watch(
        s=tuple(s.tolist()),
        h=float(h),
        signal=signal,
        climbing_since=since if s.size and since <= last else None,
        standing=int(stands[0]) if stands.size else None,
        standing_since=begin if stands.size else None,
    )


def learn(bad: ArrayLike, hours: ArrayLike, rules: WatchRules) -> Learnt | None:
    """The good rate from the first running hours, and the threshold that goes with it.

    Parameters
    ----------
    bad : array of int, shape (m,)
        Incidents of each day, or 1 for a day with any.
    hours : array of float, shape (m,)
        Running hours of each day [h].
    rules : WatchRules

    Returns
    -------
    Learnt or None
        None while the hours of learning are not over, or where none were run since.

    Raises
    ------
    ValueError
        If lengths differ.
    """
    x, t = np.asarray(bad, dtype=float), np.asarray(hours, dtype=float)
    if x.shape != t.shape or x.ndim != 1:
        raise ValueError(f"bad has shape {x.shape}, hours {t.shape}; give one of each for every day")
    steps = int(np.searchsorted(np.cumsum(t), rules.learn_h)) + 1
    if steps >= t.size or t[steps:].sum() <= 0:
        return None
    n, learnt_h = int(x[:steps].sum()), float(t[:steps].sum())
    return Learnt(steps, n, learnt_h, *_good_rate(n, learnt_h, _hours_a_year(t, steps), rules))


def _hours_a_year(hours: FloatArray, steps: int) -> float:
    return float(hours[steps:].mean()) * 365.25


def _good_rate(n: int, learnt_h: float, a_year: float, rules: WatchRules) -> tuple[float, float]:
    """Rate and threshold; a short good time at first may be luck, so the rate has a floor."""
    rate = max(max(1, n) / learnt_h, rules.least_rate_per_h)
    return rate, threshold_for(rate * a_year * rules.alarm_years, rise=rules.rise)


def chance_of_alarm(
    n_bad: int, hours: ArrayLike, rules: WatchRules, *, first: int = 0, runs: int = RUNS, seed: int = 1
) -> float:
    """How likely an alarm would stand at the end if the rate had been the same all along.

    Parameters
    ----------
    n_bad : int
        Bad days in all, 0 or more; no more than there are days with running hours.
    hours : array of float, shape (m,)
        Running hours of each day, those of learning first [h].
    rules : WatchRules
    first : int, optional
        The first day that is watched; never within the days of learning.
    runs : int, optional
        Futures that are drawn; the error is at most 0.5 / sqrt(runs).
    seed : int, optional
        Of the draws: the same seed gives the same answer.

    Returns
    -------
    float
        0 to 1; 0 where nothing is watched yet.

    Notes
    -----
    The bad days are laid anew at random, each day in proportion to its hours and no day twice. That needs no rate to be
    known, and it carries the error of the learnt rate: few bad days while it was learnt make alarms likely.
    """
    t = np.asarray(hours, dtype=float)
    return _chance_of_alarm(min(n_bad, int(np.count_nonzero(t))), t.tobytes(), rules, first, runs, seed)


@lru_cache(maxsize=4096)
def _chance_of_alarm(n_bad: int, hours: bytes, rules: WatchRules, first: int, runs: int, seed: int) -> float:
    t = np.frombuffer(hours)
    steps = int(np.searchsorted(np.cumsum(t), rules.learn_h)) + 1
    first = max(first, steps)
    if n_bad == 0 or first >= t.size or t[steps:].sum() <= 0:
        return 0.0
    rng = np.random.default_rng(seed)
    ran = np.flatnonzero(t > 0)
    # The n days whose clocks run out first, clocks at the speed of the hours: drawn one by one without putting back.
    clocks = rng.exponential(size=(runs, ran.size)) / t[ran]
    drawn = ran[np.argpartition(clocks, n_bad - 1, axis=1)[:, :n_bad]]
    learnt = np.count_nonzero(drawn < steps, axis=1)
    learnt_h, a_year = float(t[:steps].sum()), _hours_a_year(t, steps)
    found = {n: _good_rate(int(n), learnt_h, a_year, rules) for n in np.unique(learnt)}
    rate, threshold = np.array([found[n] for n in learnt]).T
    bad = np.zeros((runs, t.size))
    np.put_along_axis(bad, drawn, 1.0, axis=1)
    total = np.cumsum(bad[:, first:] - reference_value(rules.rise) * rate[:, None] * t[first:], axis=1)
    s = total - np.minimum(np.minimum.accumulate(total, axis=1), 0.0)
    # An alarm stands where S reached h after it was last 0: seen from the end, before the first 0.
    back = s[:, ::-1]
    is_open = np.cumprod(back > 0, axis=1, dtype=bool)
    return float(np.mean(np.where(is_open, back, 0.0).max(axis=1) >= threshold - 1e-12))
