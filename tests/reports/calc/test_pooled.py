import doctest

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.multitest import multipletests

from reports.calc import pooled
from reports.calc.pooled import combine_logs, common_ratio, discoveries, random_effects
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
