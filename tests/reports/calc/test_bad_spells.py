import doctest

import numpy as np
import pytest

from plant.calc.rates import compare_rates
from plant.calc.reasons import Reason
from reports.calc import bad_spells
from reports.calc.bad_spells import SpellRule, check_spells, close_pairs, expected_pairs, widened_limits


def test_examples():
    assert doctest.testmod(bad_spells).failed == 0


def test_mean_and_variance_of_pairs_agree_with_a_simulation():
    rng = np.random.default_rng(11)
    hours = rng.uniform(0, 20, 300) * (rng.random(300) < 0.9)
    drawn = [close_pairs(rng.choice(300, size=20, p=hours / hours.sum()), 2) for _ in range(4000)]
    mean, variance = expected_pairs(20, hours, 2)
    assert mean == pytest.approx(np.mean(drawn), rel=0.03)
    assert variance == pytest.approx(np.var(drawn), rel=0.08)


def test_independent_incidents_seldom_fail_the_check_and_spells_mostly_do():
    rng = np.random.default_rng(12)
    hours = np.full(365, 12.0)
    alone = [check_spells([(rng.integers(0, 365, 30), hours)]).is_clustered for _ in range(600)]
    assert np.mean(alone) < 0.06
    spells = []
    for _ in range(200):
        starts = rng.integers(0, 363, 10)
        spells.append(check_spells([(np.repeat(starts, 3) + np.tile([0, 0, 1], 10), hours)]))
    assert np.mean([each.is_clustered for each in spells]) > 0.95
    assert np.mean([each.dispersion for each in spells]) == pytest.approx(3.0, abs=0.35)  # three at a time


def test_bad_days_and_too_few():
    found = check_spells([([1, 1, 1, 9], np.ones(40)), ([], np.ones(10))])
    assert (found.n, found.pairs, found.bad_days) == (4, 3, (2, 0))
    few = check_spells([([1, 1], np.ones(40))])
    assert (few.p, few.widening) == (None, 1.0)
    assert few.reasons == (Reason(SpellRule.TOO_FEW, {"n": 2}),)
    nowhere = check_spells([([0, 0, 1, 1, 5], np.zeros(6))])
    assert nowhere.p is None
    assert nowhere.reasons == (Reason(SpellRule.NO_HOURS, {"n": 5}),)
    with pytest.raises(ValueError, match="give days from 0"):
        check_spells([([40], np.ones(40))])


def test_a_dispersion_of_one_gives_the_exact_limits_and_more_gives_wider_ones():
    exact, same = compare_rates(29, 4800, 6, 4700), widened_limits(29, 4800, 6, 4700, 1.0)
    assert (same.low, same.high) == pytest.approx((exact.low, exact.high), rel=1e-12)
    wide = widened_limits(29, 4800, 6, 4700, 3.0)
    assert wide.low < exact.low < exact.high < wide.high
    # Twice everything with a dispersion of two is the same experience.
    assert widened_limits(58, 9600, 12, 9400, 2.0).high == pytest.approx(exact.high, rel=1e-12)
    assert widened_limits(0, 10, 0, 10, 1.0) is None
