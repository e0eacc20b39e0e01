"""Density of incidents: nothing lost, the same at any stretch length, intervals those of the exact method."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from plant.calc.density import density


@pytest.mark.parametrize("length_m", [20.0, 74.0, 76.0, 140.0, 900.0])
def test_every_incident_is_in_one_stretch_and_stretches_fill_the_belt(length_m):
    rng = np.random.default_rng(7)
    places = {"carry": rng.uniform(0, length_m, 40), "return": [0.0, length_m, length_m / 2]}
    told = density(places, length_m, 5000)
    for strand, count in (("carry", 40), ("return", 3)):
        here = [each for each in told.bins if each.strand == strand]
        assert sum(each.n for each in here) == count
        assert (here[0].low_m, here[-1].high_m) == (0, length_m)
        assert all(a.high_m == b.low_m for a, b in itertools.pairwise(here))
        assert 33 < length_m / len(here) < 75 or len(here) == 1


def test_the_mean_over_a_strand_is_its_rate_whatever_the_stretch():
    """30 incidents in 4000 h on 340 m are 7.5 per 1000 h, so 7.5 x 50 / 340 per 50 m on average."""
    places = {"return": np.linspace(1, 339, 30)}
    for per_m in (10.0, 50.0, 120.0):
        told = density(places, 340, 4000, per_m=per_m)
        mean = np.mean([each.rate.per_1000_h for each in told.bins])
        assert mean == pytest.approx(7.5 * per_m / 340)


def test_the_interval_is_the_exact_one_of_the_count():
    """Chi-square form of Garwood's limits, by SciPy: 6 in 2000 h on a stretch of just 50 m."""
    told = density({"return": [60, 61, 62, 63, 64, 65]}, 100, 2000)
    low, high = stats.chi2.ppf(0.025, 12) / 2 / 2, stats.chi2.ppf(0.975, 14) / 2 / 2
    top = told.highest
    assert (top.low_m, top.rate.per_1000_h) == (50, 3)
    assert (top.rate.low, top.rate.high) == (pytest.approx(low), pytest.approx(high))
    assert [told.share(each) for each in told.bins] == [0, 1]


def test_without_hours_there_is_no_rate_and_nothing_highest():
    told = density({"return": [10.0]}, 100, 0)
    assert told.highest is None
    assert [each.n for each in told.bins] == [1, 0]
    assert told.share(told.bins[0]) == 0


def test_lengths_and_places_that_cannot_be():
    with pytest.raises(ValueError, match="length_m is 0 m; give a length above 0 m"):
        density({}, 0, 1)
    with pytest.raises(ValueError, match="a place is not finite"):
        density({"return": [float("nan")]}, 100, 1)
