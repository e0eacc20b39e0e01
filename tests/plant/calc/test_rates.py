"""Counts and running hours against published figures and other libraries."""

import doctest
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats import proportion, rates

from plant.calc import rate_power
from plant.calc import rates as rates_module
from plant.calc.rate_power import hours_needed, hours_to_power, power_to_detect
from plant.calc.rates import (
    RateRule,
    compare_each,
    compare_rates,
    compare_rates_many,
    counted,
    rate_with_interval,
    rate_with_interval_many,
)
from plant.calc.reasons import Reason
from tests.reference.rate_ratio import POISSON_LIMITS, POWER, PUBLISHED, RATERATIO_TEST

FIGURES = ("ratio", "low", "high", "mid_p_low", "mid_p_high", "p_minlike", "p_central", "p_mid")

counts = st.integers(0, 300)
hours = st.floats(1.0, 1e5)


def test_examples():
    for module in (rates_module, rate_power):
        assert doctest.testmod(module).failed == 0


# --- one rate -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", POISSON_LIMITS)
def test_rate_has_the_tabulated_exact_limits(n):
    rate = rate_with_interval(n, 1000)
    assert (rate.low, rate.high) == pytest.approx(POISSON_LIMITS[n], abs=6e-4)
    assert rate.per_1000_h == n


@pytest.mark.parametrize(("n", "time", "level"), [(0, 700, 0.95), (3, 1234.5, 0.9), (41, 28010, 0.99)])
def test_rate_agrees_with_statsmodels(n, time, level):
    rate = rate_with_interval(n, time, level=level)
    low, high = rates.confint_poisson(n, time, method="exact-c", alpha=1 - level)
    # statsmodels answers NaN for the lower limit of no events.
    assert rate.low == pytest.approx(0.0 if n == 0 else 1000 * low, rel=1e-10)
    assert rate.high == pytest.approx(1000 * high, rel=1e-10)


def test_rate_without_hours_is_an_answer_with_a_reason():
    rate = rate_with_interval(0, 0)
    assert (rate.per_1000_h, rate.low, rate.high) == (None, None, None)
    assert rate.reasons == (Reason(RateRule.NO_HOURS),)
    assert rate_with_interval(2, 0).reasons == (Reason(RateRule.INCIDENTS_IN_NO_HOURS, {"counted": counted(2)}),)


def test_many_rates_are_the_single_ones():
    many = rate_with_interval_many([0, 4, 9], [500, 0, 1300])
    assert np.isnan(many.per_1000_h[1])
    for i, (n, time) in {0: (0, 500), 2: (9, 1300)}.items():
        one = rate_with_interval(n, time)
        assert (many.per_1000_h[i], many.low[i], many.high[i]) == (one.per_1000_h, one.low, one.high)


# --- two rates ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("case", PUBLISHED)
def test_published_ratio_intervals_and_p_values(case):
    sides, expected = PUBLISHED[case]
    found = compare_rates(*sides)
    for name, value in zip(FIGURES, expected, strict=True):
        if value is not None:
            # Figures are printed to six decimals, some p-values to four digits.
            tolerance = 1e-4 if name.startswith("p_") else 1e-5
            assert getattr(found, name) == pytest.approx(value, rel=tolerance, abs=5.1e-7), name


def test_figures_of_a_published_vignette():
    sides, ratio, low, high, p = RATERATIO_TEST
    found = compare_rates(*sides)
    assert (found.ratio, found.low, found.high) == pytest.approx((ratio, low, high), abs=5e-5)
    assert found.p_central == pytest.approx(p, abs=5e-5)


def test_coal_disasters_counted_from_the_dates():
    lines = (Path(__file__).parents[2] / "reference" / "coal.csv").read_text().split()
    years = np.floor([float(line) for line in lines[1:]])
    before, after = int((years <= 1890).sum()), int((years > 1890).sum())
    assert (years.size, before, after) == (191, 125, 66)
    found = compare_rates(before, 40, after, 72)
    assert (found.ratio, found.low, found.high) == pytest.approx((0.293333, 0.214308, 0.398363), rel=1e-5)
    assert rate_with_interval(before, 40).per_1000_h / 1000 == 3.125


@pytest.mark.parametrize("case", PUBLISHED)
def test_p_values_agree_with_scipy_and_statsmodels(case):
    n0, t0, n1, t1 = PUBLISHED[case][0]
    found = compare_rates(n0, t0, n1, t1)
    assert found.p_minlike == pytest.approx(stats.binomtest(n1, n0 + n1, t1 / (t0 + t1)).pvalue, rel=1e-9)
    exact = rates.test_poisson_2indep(n1, t1, n0, t0, method="exact-cond").pvalue
    assert found.p_minlike == pytest.approx(exact, rel=1e-9)
    if n0 != n1:
        # Equal counts in equal hours are left out: there statsmodels doubles past 1.
        mid = rates.test_poisson_2indep(n1, t1, n0, t0, method="cond-midp").pvalue
        # statsmodels halves the probability within the minimum-likelihood p, so it is compared through the parts.
        assert mid == pytest.approx(found.p_minlike - 0.5 * stats.binom.pmf(n1, n0 + n1, t1 / (t0 + t1)), rel=1e-9)


@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
@pytest.mark.parametrize("case", PUBLISHED)
def test_exact_limits_agree_with_statsmodels_and_scipy(case, level):
    n0, t0, n1, t1 = PUBLISHED[case][0]
    found = compare_rates(n0, t0, n1, t1, level=level)
    low, high = proportion.proportion_confint(n1, n0 + n1, alpha=1 - level, method="beta")
    assert found.low == pytest.approx(low / (1 - low) * t0 / t1, rel=1e-8)
    assert found.high == pytest.approx(high / (1 - high) * t0 / t1, rel=1e-8)
    by_test = stats.binomtest(n1, n0 + n1).proportion_ci(level, method="exact")
    assert found.high == pytest.approx(by_test.high / (1 - by_test.high) * t0 / t1, rel=1e-6)


@settings(max_examples=150, deadline=None)
@given(counts, hours, counts, hours)
def test_minimum_likelihood_p_agrees_with_scipy_everywhere(n0, t0, n1, t1):
    if n0 + n1:
        expected = stats.binomtest(n1, n0 + n1, t1 / (t0 + t1)).pvalue
        assert compare_rates(n0, t0, n1, t1).p_minlike == pytest.approx(expected, rel=1e-6, abs=1e-300)


@settings(max_examples=100, deadline=None)
@given(counts, hours, counts, hours)
def test_changing_the_sides_over_gives_reciprocal_limits(n0, t0, n1, t1):
    if n0 and n1:
        one, other = compare_rates(n0, t0, n1, t1), compare_rates(n1, t1, n0, t0)
        assert one.low == pytest.approx(1 / other.high, rel=1e-9)
        assert one.high == pytest.approx(1 / other.low, rel=1e-9)
        assert one.mid_p_low == pytest.approx(1 / other.mid_p_high, rel=1e-9)
        assert one.p_central == pytest.approx(other.p_central, rel=1e-9)


@settings(max_examples=100, deadline=None)
@given(counts, hours, counts, hours, st.floats(0.01, 100))
def test_the_unit_of_time_does_not_matter(n0, t0, n1, t1, factor):
    if n0 + n1:
        one, other = compare_rates(n0, t0, n1, t1), compare_rates(n0, t0 * factor, n1, t1 * factor)
        assert (one.low, one.high, one.mid_p_low, one.mid_p_high) == pytest.approx(
            (other.low, other.high, other.mid_p_low, other.mid_p_high), rel=1e-8
        )


@settings(max_examples=100, deadline=None)
@given(counts, hours, counts, hours, st.sampled_from([0.5, 0.9, 0.95, 0.999]))
def test_each_interval_is_the_set_that_its_own_test_keeps(n0, t0, n1, t1, level):
    """A limit taken as the true ratio leaves exactly half of the rest in the tail."""
    if not n0 + n1:
        return
    found, n, tail = compare_rates(n0, t0, n1, t1, level=level), n0 + n1, (1 - level) / 2

    def chance(ratio):
        return ratio * t1 / (t0 + ratio * t1)

    if n1:
        p = chance(found.low)
        assert stats.binom.sf(n1 - 1, n, p) == pytest.approx(tail, rel=1e-6)
        p = chance(found.mid_p_low)
        assert stats.binom.sf(n1, n, p) + stats.binom.pmf(n1, n, p) / 2 == pytest.approx(tail, rel=1e-6)
    if n0:
        p = chance(found.high)
        assert stats.binom.cdf(n1, n, p) == pytest.approx(tail, rel=1e-6)
        p = chance(found.mid_p_high)
        assert stats.binom.cdf(n1, n, p) - stats.binom.pmf(n1, n, p) / 2 == pytest.approx(tail, rel=1e-6)
    assert (found.low <= 1 <= found.high) == (found.p_central >= 1 - level) or found.p_central == pytest.approx(
        1 - level, rel=1e-9
    )
    assert found.low <= found.mid_p_low <= found.mid_p_high <= found.high


def test_no_incident_on_either_side_is_nothing_to_compare():
    found = compare_rates(0, 700, 0, 650)
    assert found.reasons == (Reason(RateRule.NO_INCIDENT),)
    assert all(getattr(found, name) is None for name in FIGURES)


def test_no_incident_before_has_no_upper_limit():
    found = compare_rates(0, 1200, 8, 1000)
    assert (found.ratio, found.high, found.mid_p_high) == (math.inf, math.inf, math.inf)
    assert found.low == pytest.approx(1 / 0.488194, rel=1e-5)
    assert found.reasons == (Reason(RateRule.NO_INCIDENT_BEFORE),)


def test_no_hours_is_a_reason_and_no_error():
    found = compare_rates(5, 0, 5, 100)
    assert found.reasons == (Reason(RateRule.INCIDENTS_BUT_NO_HOURS_BEFORE, {"counted": counted(5)}),)
    assert compare_rates(5, 100, 0, 0).reasons == (Reason(RateRule.NO_HOURS_AFTER),)
    assert compare_rates(5, 100, 0, 0).ratio is None


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: compare_rates(-1, 10, 1, 10), "n_before is -1 incidents; give a whole number from 0 up"),
        (lambda: compare_rates(1, 10, 1.5, 10), "n_after is 1.5 incidents; give a whole number from 0 up"),
        (lambda: compare_rates(1, -10, 1, 10), "hours_before is -10 h; give running hours from 0 up"),
        (lambda: compare_rates(1, 10, 1, math.nan), "hours_after is nan h; give running hours from 0 up"),
        (lambda: compare_rates(1, 10, 1, 10, level=95), "level is 95; give a coverage between 0 and 1, such as 0.95"),
        (lambda: rate_with_interval(1, math.inf), "hours is inf h; give running hours from 0 up"),
        (lambda: power_to_detect(0, 10, 10, 0.5), "n_before is 0 incidents; give a number above 0"),
        (lambda: hours_to_power(0.01, 100, true_ratio=1), "true_ratio is 1, which is no change"),
        (lambda: hours_to_power(0.01, 100, power=80), "power is 80; give a probability between 0 and 1"),
    ],
)
def test_wrong_input_is_named_with_what_is_allowed(call, said):
    with pytest.raises(ValueError, match="give") as refused:
        call()
    assert said in str(refused.value)


def test_ten_thousand_comparisons_are_one_call_and_each_is_right():
    rng = np.random.default_rng(20)
    n0, n1 = rng.poisson(8, 10_000), rng.poisson(5, 10_000)
    t0, t1 = rng.uniform(0, 9000, 10_000), rng.uniform(0, 9000, 10_000)
    t1[:5] = 0
    many = compare_rates_many(n0, t0, n1, t1)
    assert np.isnan(many.ratio[:5]).all()
    for i in [*range(5, 5000, 250), *np.flatnonzero(n0 == 0)[:3], *np.flatnonzero((n1 == 0) & (t1 > 0))[:3]]:
        one = compare_rates(int(n0[i]), t0[i], int(n1[i]), t1[i])
        for name in FIGURES:
            assert getattr(many, name)[i] == pytest.approx(getattr(one, name), rel=1e-12)
    assert compare_rates_many(10, 1000, [[1], [2]], [100, 200, 300]).ratio.shape == (2, 3)


def test_several_comparisons_at_once_are_each_by_itself():
    sides = [(n0, 900.0 * t0, n1, 1100.0) for n0 in (0, 3, 41) for t0 in (0, 1, 7) for n1 in (0, 2, 17)]
    together = compare_each(sides, level=0.9)
    for one, side in zip(together, sides, strict=True):
        alone = compare_rates(*side, level=0.9)
        assert one.reasons == alone.reasons
        assert [getattr(one, name) for name in ("n_before", "n_after", "level")] == [side[0], side[2], 0.9]
        for name in ("ratio", "low", "high", "mid_p_low", "mid_p_high", "p_central", "p_mid", "p_minlike"):
            by_itself = getattr(alone, name)
            assert getattr(one, name) == (by_itself and pytest.approx(by_itself, rel=1e-9)), (side, name)
    assert compare_each([]) == []


def test_the_interval_covers_the_true_ratio_at_least_as_often_as_it_says():
    rng = np.random.default_rng(7)
    many = compare_rates_many(rng.poisson(12, 20_000), 5000, rng.poisson(12 * 0.6 * 0.8, 20_000), 4000)
    kept = (many.low <= 0.6) & (many.high >= 0.6)
    assert 0.95 <= kept.mean() < 0.99


# --- how long until it can be told ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("n_before", "true_ratio", "power"), POWER)
def test_power_agrees_with_a_simulation(n_before, true_ratio, power):
    assert power_to_detect(n_before, 1000, 1000, true_ratio) == pytest.approx(power, abs=0.011)


def test_without_a_change_the_power_is_the_false_alarm():
    assert power_to_detect(30, 5000, 5000, 1.0) < 0.05


def test_three_weeks_after_the_installation_the_hours_free_of_incidents_are_stated():
    assert 95 + hours_needed(14, 4900, 0, 95) == pytest.approx(1477, abs=0.5)


# Multiples of the hours before that must pass free of incidents; computed with beta quantiles apart from this code.
@pytest.mark.parametrize(("n_before", "share"), [(10, 0.45), (6, 0.85), (4, 1.5), (3, 2.4)])
def test_hours_free_of_incidents_as_a_share_of_the_hours_before(n_before, share):
    assert hours_needed(n_before, 1000, 0, 0) / 1000 == pytest.approx(share, abs=0.05)
    by_hand = (0.025 ** (-1 / n_before) - 1) * 1000  # upper limit of 0 of n: 1 - 0.025 ** (1 / n)
    assert hours_needed(n_before, 1000, 0, 0) == pytest.approx(by_hand, rel=1e-6)


def test_hours_needed_lead_to_an_interval_that_just_leaves_out_one():
    n0, t0, n1, t1 = 40, 4600, 4, 1000
    more = hours_needed(n0, t0, n1, t1)
    total = t1 + more
    x = n1 * total / t1
    upper = stats.beta.ppf(0.975, x + 1, n0)
    assert upper / (1 - upper) * t0 / total == pytest.approx(1, rel=1e-6)
    assert hours_needed(n0, t0, n1, total * 1.01) == 0.0


def test_hours_needed_when_incidents_have_become_more():
    more = hours_needed(0, 1000, 5, 1000)
    total = 1000 + more
    lower = stats.beta.ppf(0.025, 5 * total / 1000, 1)
    assert lower / (1 - lower) * 1000 / total == pytest.approx(1, rel=1e-6)


def test_no_hours_would_do_where_the_rates_are_alike():
    assert hours_needed(15, 5000, 14, 4900) is None
    assert hours_needed(0, 5000, 0, 4900) is None
    assert hours_needed(3, 0, 1, 100) is None
    assert hours_needed(2, 5000, 0, 4900) > 0


def test_hours_to_power_reach_that_power():
    hours = hours_to_power(60 / 5000, 5000, true_ratio=0.5, power=0.8)
    assert power_to_detect(60, 5000, hours, 0.5) >= 0.8
    assert power_to_detect(60, 5000, hours * 0.97, 0.5) < 0.8
    assert hours_to_power(60 / 5000, 5000, true_ratio=0.25) < hours


def test_too_few_incidents_before_can_never_show_a_halving():
    assert hours_to_power(3 / 5000, 5000) is None
    assert hours_to_power(0, 5000) is None
