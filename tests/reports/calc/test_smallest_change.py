"""Smallest change that could be seen, against simulation with scipy's own exact test and against the normal limit."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from reports.calc import smallest_change as module
from reports.calc.smallest_change import smallest_change, tells_fewer_at_best


def found_by_scipy(n0, t0, t1, ratio, rng, runs=1500):
    """Share of simulated comparisons in which scipy's two one-sided binomial tests leave out 1 at 2.5 % each."""
    share = t1 / (t0 + t1)
    before, after = rng.poisson(n0, runs), rng.poisson(n0 * t1 / t0 * ratio, runs)
    lower = stats.binom.cdf(after, before + after, share)
    upper = stats.binom.sf(after - 1, before + after, share)
    return float(np.mean(np.minimum(lower, upper) < 0.025))


@pytest.mark.parametrize(("n0", "t0", "t1"), [(29, 4800.0, 4700.0), (60, 5000.0, 2500.0), (12, 1000.0, 6000.0)])
def test_at_the_limit_eight_of_ten_are_found(n0, t0, t1):
    rng = np.random.default_rng(7)
    found = smallest_change(n0, t0, t1)
    for ratio in (found.fall, found.rise):
        assert found_by_scipy(n0, t0, t1, ratio, rng) == pytest.approx(0.8, abs=0.04)


def test_both_ways_agree_where_they_meet(monkeypatch):
    exact = smallest_change(80, 5000, 5000)
    monkeypatch.setattr(module, "EXACT_UNTIL", 10.0)
    near = smallest_change(80, 5000, 5000)
    assert near.fall == pytest.approx(exact.fall, rel=0.05)
    assert near.rise == pytest.approx(exact.rise, rel=0.05)
    many = smallest_change(2000, 50_000, 50_000)
    for ratio in (many.fall, many.rise):
        # By hand: (1.959964 + 0.841621) times the standard error of the logarithm.
        assert abs(math.log(ratio)) == pytest.approx(2.801585 * math.sqrt((1 + 1 / ratio) / 2000), rel=1e-5)


def test_too_few_hours_show_no_fall():
    found = smallest_change(16, 5000, 100)
    assert found.fall is None
    assert found.rise > 5
    assert smallest_change(0, 5000, 5000).rise is None
    assert smallest_change(10, 5000, 0).fall is None


def test_bad_spells_make_it_coarser():
    plain, spells = smallest_change(40, 5000, 5000), smallest_change(40, 5000, 5000, dispersion=2.0)
    assert spells.fall < plain.fall
    assert spells.rise > plain.rise
    assert spells == smallest_change(20, 2500, 2500)


@pytest.mark.parametrize("bad", [{"power": 1.0}, {"level": 0.0}, {"dispersion": 0.5}, {"n_before": -1}])
def test_what_it_refuses(bad):
    with pytest.raises(ValueError, match="give"):
        smallest_change(**{"n_before": 10, "hours_before": 100, "hours_after": 100, **bad})


@pytest.mark.parametrize("dispersion", [1.0, 1.7])
def test_fewer_is_out_of_reach_where_even_none_after_would_leave_1_in(dispersion):
    """Against scipy's exact binomial interval for 0 of n, widened by dividing counts and hours."""
    for n in range(1, 25):
        for before, after in ((5000, 5000), (4500, 9000), (5000, 820)):
            p = stats.beta.ppf(0.975, 1, n / dispersion)
            high = p / (1 - p) * before / after
            assert tells_fewer_at_best(n, before, after, dispersion=dispersion) == (high < 1)
    assert not tells_fewer_at_best(0, 5000, 5000)
    assert not tells_fewer_at_best(9, 5000, 0)
    with pytest.raises(ValueError, match="dispersion from 1 up"):
        tells_fewer_at_best(9, 5000, 5000, dispersion=0.5)


def test_what_is_out_of_reach_has_no_smallest_fall_either():
    """A comparison that even a fall to nothing would not show in any case is not one that shows it in eight of ten."""
    for n in (1, 3, 5):
        assert not tells_fewer_at_best(n, 5000, 5000)
        assert smallest_change(n, 5000, 5000).fall is None
