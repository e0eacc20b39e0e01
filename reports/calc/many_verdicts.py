"""p-values for verdicts that are reached many at a time: widened where incidents come in bad spells, and q-values.

1. `widened_p_many`: the central p-value of a ratio of 1 with counts and hours divided by the dispersion. It lies below
   0.05 exactly where the widened 95 % interval leaves out 1; with a dispersion of 1 it is the exact central p-value.
2. `q_values`: for each verdict the smallest share of wrong ones, on average, among those named if all up to it are
   named (Benjamini & Hochberg's adjusted p-values).
3. `p_of_limits`: p-value that goes with a pooled ratio and its limits on the log scale.
"""

from __future__ import annotations

import math

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from plant.calc.rates import check_level

FloatArray = NDArray[np.float64]


def widened_p_many(
    n_before: ArrayLike, hours_before: ArrayLike, n_after: ArrayLike, hours_after: ArrayLike, dispersion: ArrayLike
) -> FloatArray:
    """Central p-values of a ratio of 1, as if there were so many times less independent experience.

    Parameters
    ----------
    n_before, n_after : array of int
        Incidents on each side, 0 or more.
    hours_before, hours_after : array of float
        Running hours on each side, 0 or more [h].
    dispersion : array of float
        Variance over mean of the counts, 1 or more [-].

    Returns
    -------
    array of float
        0 to 1; NaN where a side has no hours or neither side an incident.

    Raises
    ------
    ValueError
        If a dispersion is below 1.

    Examples
    --------
    >>> float(widened_p_many(29, 4800, 6, 4700, 1.0).round(5))
    0.00015
    """
    n0, t0, n1, t1, phi = np.broadcast_arrays(
        *(np.asarray(each, dtype=float) for each in (n_before, hours_before, n_after, hours_after, dispersion))
    )
    if np.any(phi < 1):
        raise ValueError(f"dispersion is {phi.min()}; give 1 or more")
    known = (t0 > 0) & (t1 > 0) & (n0 + n1 > 0)
    x, y = n1 / phi, n0 / phi
    share = np.where(known, t1 / np.where(known, t0 + t1, 1.0), 0.5)
    tiny = np.finfo(float).tiny
    at_least = np.where(x > 0, scipy.special.betainc(np.maximum(x, tiny), y + 1.0, share), 1.0)
    at_most = np.where(y > 0, scipy.special.betaincc(x + 1.0, np.maximum(y, tiny), share), 1.0)
    p = np.minimum(1.0, 2.0 * np.minimum(at_least, at_most))
    return np.asarray(np.where(known, p, np.nan), dtype=float)


def q_values(p: ArrayLike) -> FloatArray:
    """Share of wrong verdicts to be expected among all those at least as clear.

    Parameters
    ----------
    p : array of float, shape (m,)
        p-values of all comparisons that were judged at once, 0 to 1.

    Returns
    -------
    array of float, shape (m,)
        In the same order; a verdict holds at a share of 5 % where its q is at most 0.05.

    References
    ----------
    Benjamini, Y. & Hochberg, Y. (1995), JRSS B 57, 289-300.

    Examples
    --------
    >>> q_values([0.01, 0.04]).tolist()
    [0.02, 0.04]
    """
    values = np.asarray(p, dtype=float)
    if values.size == 0:
        return np.zeros(0)
    return np.asarray(scipy.stats.false_discovery_control(values), dtype=float)


def p_of_limits(ratio: float, low: float, high: float, *, df: float | None = None, level: float = 0.95) -> float:
    """Two-sided p-value of a ratio of 1 from a ratio and its limits, which are even on the log scale.

    Parameters
    ----------
    ratio, low, high : float
        Above 0, low below high [-].
    df : float, optional
        Degrees of freedom of Student's interval; left out for a normal one.
    level : float, optional
        Coverage of the limits, 0 < level < 1 [-].

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If the limits are not above 0 and in order.

    Examples
    --------
    >>> round(p_of_limits(0.5, 0.25, 1.0), 3)
    0.05
    """
    check_level(level)
    if not 0 < low < high < math.inf or ratio <= 0:
        raise ValueError(f"ratio is {ratio} with limits {low} and {high}; give limits above 0, the lower one first")
    spread = scipy.stats.norm if df is None else scipy.stats.t(df)
    tail = (1.0 - level) / 2.0
    error = (math.log(high) - math.log(low)) / (2.0 * float(spread.isf(tail)))
    return float(2.0 * spread.sf(abs(math.log(ratio)) / error))
