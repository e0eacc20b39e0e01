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
