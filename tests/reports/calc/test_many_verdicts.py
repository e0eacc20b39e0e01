"""Widened p-values and q-values, against published figures, the widened interval and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from reports.calc.bad_spells import widened_limits
from reports.calc.many_verdicts import p_of_limits, q_values, widened_p_many
from reports.calc.pooled import common_ratio, random_effects

CASES = [(29, 4800, 6, 4700), (15, 5000, 14, 4900), (8, 1000, 0, 1200), (0, 900, 6, 1100), (16, 10_500, 25, 7000)]
# Benjamini & Hochberg (1995), JRSS B 57, section 3.2 (from memory).
PUBLISHED = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
             0.7590, 1.000]  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_without_spells_it_is_twice_the_smaller_tail_of_scipy(case):
    n0, t0, n1, t1 = case
    tails = [stats.binomtest(n1, n0 + n1, t1 / (t0 + t1), alternative=way).pvalue for way in ("less", "greater")]
    assert float(widened_p_many(*case, 1.0)) == pytest.approx(min(1.0, 2 * min(tails)), rel=1e-10)


@pytest.mark.parametrize("case", CASES)
def test_it_is_below_a_level_where_the_widened_interval_leaves_out_one(case):
    for dispersion in (1.0, 1.4, 2.0, 3.7):
        p = float(widened_p_many(*case, dispersion))
        for level in (0.5, 0.8, 0.95, 0.99):
            limits = widened_limits(*case, dispersion, level=level)
            assert (p < 1 - level) == (limits.high < 1 or limits.low > 1)


def test_nothing_to_compare_is_not_a_number():
    assert np.isnan(widened_p_many([0, 3], [10, 0], [0, 1], [10, 5], [1.0, 1.0])).all()
    with pytest.raises(ValueError, match="give 1 or more"):
        widened_p_many(1, 10, 1, 10, 0.9)


def test_published_p_values_keep_four():
    q = q_values(PUBLISHED)
    assert int((q <= 0.05).sum()) == 4
    assert q == pytest.approx(multipletests(PUBLISHED, method="fdr_bh")[1], rel=1e-12)
    assert q_values([]).size == 0


def test_p_of_a_pool_goes_with_its_own_interval():
    strata = [[29, 15, 24, 12], [4800, 5000, 4400, 4600], [6, 14, 8, 5], [4700, 4900, 4100, 4500]]
    common, effects = common_ratio(*strata), random_effects(*strata)
    # Reference: Wald's z of the conditional estimate by hand, Student's t of the random-effects middle.
    z = np.log(common.ratio) / ((np.log(common.high) - np.log(common.low)) / 2 / stats.norm.isf(0.025))
    assert p_of_limits(common.ratio, common.low, common.high) == pytest.approx(2 * stats.norm.sf(abs(z)), rel=1e-9)
    level = 1 - p_of_limits(effects.ratio, effects.low, effects.high, df=3)
    edge = random_effects(*strata, level=level)
    assert edge.high == pytest.approx(1.0, rel=1e-9)
    with pytest.raises(ValueError, match="the lower one first"):
        p_of_limits(1.0, 2.0, 0.5)
