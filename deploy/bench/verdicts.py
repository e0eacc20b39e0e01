"""Judging a large fleet at once with arrays, and a sample of it one by one."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plant.calc.rates import compare_rates_many
from reports.calc.empirical_bayes import posterior_ratio_many

FloatArray = NDArray[np.float64]
RATE_PER_H, SHAPE = 0.003, 2.0


@dataclass(frozen=True)
class Timing:
    """Seconds of both ways and the largest difference between their answers where both gave one."""

    n: int
    n_sample: int
    seconds_many: float
    seconds_sample: float
    largest_difference: float

    @property
    def ratio(self) -> float:
        """How many times as long the loop takes for each installation."""
        return (self.seconds_sample / self.n_sample) / (self.seconds_many / self.n)


def made_up_counts(n: int, seed: int) -> tuple[NDArray[np.int64], FloatArray, NDArray[np.int64], FloatArray]:
    """Counts and hours of installations that halve a rate which differs from place to place."""
    rng = np.random.default_rng(seed)
    hours = rng.uniform(2000.0, 6000.0, (2, n))
    rate = rng.gamma(SHAPE, RATE_PER_H / SHAPE, n)
    return rng.poisson(rate * hours[0]), hours[0], rng.poisson(0.5 * rate * hours[1]), hours[1]


def one_by_one(n0: int, t0: float, n1: int, t1: float) -> list[float]:
    """Limits, p-value and posterior of one pair of counts with the reference libraries."""
    from scipy import stats
    from statsmodels.stats.proportion import proportion_confint
    from statsmodels.stats.rates import test_poisson_2indep as two_rates

    limits = [np.nan, np.nan]
    p_value = np.nan
    if n0 + n1 > 0:
        with np.errstate(divide="ignore"):
            share = np.asarray(proportion_confint(n1, n0 + n1, alpha=0.05, method="beta"), dtype=float)
            limits = list(share / (1.0 - share) * t0 / t1)
            p_value = two_rates(n1, t1, n0, t0, method="exact-cond").pvalue
    before, after = SHAPE + n0, n1 + 0.5
    scale = (t0 + SHAPE / RATE_PER_H) / t1
    return [*limits, p_value, *(stats.betaprime.ppf([0.5, 0.025, 0.975], after, before) * scale)]


def measure(n: int, n_sample: int, seed: int) -> Timing:
    """Judge n installations at once, and a sample of them one by one, in the same process."""
    counts = made_up_counts(n, seed)
    one_by_one(3, 1000.0, 2, 1000.0)  # loads the libraries, which must not be counted
    begun = time.perf_counter()
    many = compare_rates_many(*counts)
    posterior = posterior_ratio_many(*counts, rate_per_h=RATE_PER_H, shape=SHAPE)
    seconds_many = time.perf_counter() - begun
    begun = time.perf_counter()
    sample = np.array([one_by_one(*(each[i].item() for each in counts)) for i in range(n_sample)])
    seconds_sample = time.perf_counter() - begun
    ours = np.column_stack([many.low, many.high, many.p_minlike, *posterior])[:n_sample]
    both = np.isfinite(ours) & np.isfinite(sample)
    # Where one way has no answer or no limit, so must the other.
    if not np.array_equal(np.isfinite(ours), np.isfinite(sample)):
        raise ValueError("the two ways differ in where there is an answer at all; do not use the timing")
    apart = np.abs(ours[both] - sample[both]) / np.maximum(1.0, np.abs(sample[both]))
    return Timing(n, n_sample, seconds_many, seconds_sample, float(apart.max()))
