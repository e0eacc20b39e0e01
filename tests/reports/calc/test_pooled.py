import doctest

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.multitest import multipletests

from plant.calc.reasons import Reason
from reports.calc import pooled
from reports.calc.pooled import PoolRule, combine_logs, common_ratio, discoveries, pool_expected, random_effects
from tests.reference.effect import BENJAMINI_HOCHBERG, STRATA, STRATA_RATIO


def test_examples():
    assert doctest.testmod(pooled).failed == 0


def test_common_ratio_of_four_strata():
    found = common_ratio(*STRATA)
    assert (found.ratio, found.low, found.high) == pytest.approx(STRATA_RATIO, rel=2e-6)


def test_common_ratio_is_a_poisson_regression_with_a_constant_for_each_stratum():
    n0, t0, n1, t1 = (np.array(each, dtype=float) for each in STRATA)
    design = np.column_stack([np.vstack([np.eye(4), np.eye(4)]), np.repeat([0.0, 1.0], 4)])
    fit = sm.GLM(np.append(n0, n1), design, family=sm.families.Poisson(), offset=np.log(np.append(t0, t1))).fit()
    assert np.log(common_ratio(*STRATA).ratio) == pytest.approx(fit.params[-1], abs=1e-8)


def test_zeros_and_nothing():
    assert common_ratio([5], [100], [0], [100]).high is None
    assert common_ratio([0], [100], [0], [100]).ratio is None
    assert random_effects([5], [100], [3], [100]).ratio is None
    assert random_effects([5, 4], [100, 100], [0, 3], [100, 100]).next_low is None


def test_random_effects_agree_with_statsmodels():
    y, v = np.array([-0.9, -0.1, 0.6, -1.4, -0.4]), np.array([0.09, 0.05, 0.11, 0.2, 0.04])
    found, known = combine_logs(y, v), combine_effects(y, v, method_re="chi2", use_t=True)
    assert found.tau**2 == pytest.approx(known.tau2, rel=1e-8)
    assert np.log(found.ratio) == pytest.approx(known.mean_effect_re, rel=1e-8)
    low, high = known.conf_int(use_t=True)[3]  # Hartung & Knapp
    assert (np.log(found.low), np.log(found.high)) == pytest.approx((low, high), rel=1e-6)
    assert found.next_low < found.low < found.high < found.next_high


def test_benjamini_and_hochberg_reject_four():
    found = discoveries(BENJAMINI_HOCHBERG)
    assert found.tolist() == [True] * 4 + [False] * 11
    assert found.tolist() == multipletests(BENJAMINI_HOCHBERG, 0.05, "fdr_bh")[0].tolist()
    assert discoveries([]).size == 0


def test_what_cannot_be_combined_is_named():
    with pytest.raises(ValueError, match="give two or more pairs"):
        combine_logs([0.1], [0.2])
    with pytest.raises(ValueError, match="variances above 0"):
        combine_logs([0.1, 0.2], [0.0, 0.2])


def test_alike_devices_have_no_spread_and_the_common_ratio_is_theirs():
    found = random_effects([20] * 6, [4000] * 6, [10] * 6, [4000] * 6)
    assert (found.tau, found.i_squared, found.p_heterogeneity) == (0.0, 0.0, 1.0)
    assert found.ratio == pytest.approx(common_ratio([20] * 6, [4000] * 6, [10] * 6, [4000] * 6).ratio)
    # Never surer than the usual interval with the common error, though Student's t is wider.
    assert np.log(found.high / found.ratio) >= 1.96 * np.sqrt((1 / 20 + 1 / 10) / 6)


@pytest.mark.parametrize(("mean", "tau", "k"), [(40, 0.35, 12), (15, 0.35, 12), (40, 0.35, 4)])
def test_the_ranges_hold_the_middle_and_the_next_device_as_often_as_they_say(mean, tau, k):
    """300 fleets whose devices differ (seed 5); nominal 95 %. With tau taken as known it would be 86 to 91 %."""
    rng, middle, following = np.random.default_rng(5), 0, 0
    for _each in range(300):
        ratios = 0.55 * np.exp(rng.normal(0, tau, k + 1))
        n0, n1 = rng.poisson(mean, k), rng.poisson(mean * ratios[:k])
        found = random_effects(n0, np.full(k, 4000.0), n1, np.full(k, 4000.0))
        middle += found.low <= 0.55 <= found.high
        following += found.next_low <= ratios[k] <= found.next_high
    assert middle / 300 >= 0.92
    assert 0.93 <= following / 300 <= 0.99


def test_with_many_alike_precise_devices_the_range_of_the_next_is_that_of_a_known_spread():
    rng = np.random.default_rng(2)
    y, v = rng.normal(-0.6, 0.3, 400), np.full(400, 1e-4)
    found = combine_logs(y, v)
    spread = y.std(ddof=1)
    assert np.log(found.next_low) == pytest.approx(y.mean() - 1.96 * spread, abs=0.03)
    assert np.log(found.next_high) == pytest.approx(y.mean() + 1.96 * spread, abs=0.03)


def test_swapping_before_and_after_turns_every_limit_over():
    one, other = common_ratio(*STRATA), common_ratio(STRATA[2], STRATA[3], STRATA[0], STRATA[1])
    assert (1 / one.ratio, 1 / one.high, 1 / one.low) == pytest.approx((other.ratio, other.low, other.high))
    one, other = random_effects(*STRATA), random_effects(STRATA[2], STRATA[3], STRATA[0], STRATA[1])
    assert (1 / one.next_high, 1 / one.next_low) == pytest.approx((other.next_low, other.next_high))


def test_the_error_that_all_share_widens_the_middle_however_many_there_are():
    y, v = np.array([-0.9, -0.1, 0.6, -1.4, -0.4]), np.array([0.09, 0.05, 0.11, 0.2, 0.04])
    alone, shared = combine_logs(y, v), combine_logs(y, v, shared_error=0.3)
    assert shared.ratio == alone.ratio
    own, whole = (np.log(each.high / each.ratio) for each in (alone, shared))
    assert whole == pytest.approx(np.hypot(own, 1.959964 * 0.3), rel=1e-6)
    assert shared.next_high > alone.next_high
    many = combine_logs(np.tile(y, 200), np.tile(v, 200), shared_error=np.full(1000, 0.3))
    assert np.log(many.high / many.ratio) > 1.95 * 0.3


@pytest.mark.parametrize(("mean", "tau"), [(3.0, 0.0), (3.0, 0.35), (20.0, 0.35)])
def test_pooled_against_expectation_the_middle_does_not_lean_and_its_limits_hold(mean, tau):
    """400 fleets of 12 (seed 9): expectations known with an error of their own, and one that all of a fleet share."""
    rng, k, found, inside = np.random.default_rng(9), 12, [], 0
    for _each in range(400):
        ratios = 0.6 * np.exp(rng.normal(0, tau, k))
        own, shared = rng.normal(0, 0.2, k), rng.normal(0, 0.1)
        told = pool_expected(rng.poisson(mean * ratios), np.log(mean) + own + shared, np.full(k, 0.04), np.full(k, 0.1))
        found.append(np.log(told.ratio))
        inside += told.low <= 0.6 <= told.high
    # The mean of the logarithms within three errors and a hair; limits nominal 95 %.
    assert np.mean(found) == pytest.approx(np.log(0.6), abs=3 * np.std(found) / 20 + 0.03)
    assert 0.92 <= inside / 400 <= 0.995


def test_pooled_against_expectation_agrees_with_statsmodels_at_its_own_variances():
    n, expected = np.array([4.0, 12, 7, 30, 0]), np.log(np.array([9.0, 14, 5, 40, 3]))
    found = pool_expected(n, expected, np.full(5, 0.02), np.zeros(5))
    y = np.log(n + 0.5) - expected
    v = 0.02 + 1.0 / (found.ratio * np.exp(expected) + 0.5)
    known = combine_effects(y, v, method_re="chi2", use_t=True)
    assert np.log(found.ratio) == pytest.approx(known.mean_effect_re, rel=1e-4)
    assert found.tau**2 == pytest.approx(known.tau2, rel=1e-3)


def test_what_cannot_be_pooled_is_said_or_named():
    assert pool_expected([3], [1.0], [0.1], [0.0]).ratio is None
    assert pool_expected([], [], [], []).reasons == (Reason(PoolRule.TOO_FEW_DEVICES),)
    none = pool_expected([0, 0, 0], [1.0, 1.2, 0.8], [0.1] * 3, [0.0] * 3)
    assert 0 < none.low < none.ratio < none.high
    with pytest.raises(ValueError, match="one of each for every device"):
        pool_expected([1, 2], [1.0], [0.1], [0.0])
    with pytest.raises(ValueError, match="0 or more and expectations finite"):
        pool_expected([1, -2], [1.0, 1.0], [0.1, 0.1], [0.0, 0.0])
