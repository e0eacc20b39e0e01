"""Life against a handbook's worked example, published optima and a reference library."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from plant.calc.reasons import Reason
from reports.calc.life import (
    LifeRule,
    WeibullLife,
    age_replacement,
    demand_for_spares,
    fit_weibull,
    need_at_rate,
    plot_points,
    rest_of_life,
)

REFERENCE = Path(__file__).parents[2] / "reference"
# NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.2: ten failures, ten more alive at 500 h (read).
FAILED_H = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
HOURS = [*FAILED_H, *[500] * 10]
FAILED = [*[True] * 10, *[False] * 10]


@pytest.fixture(scope="module")
def life():
    return fit_weibull(HOURS, FAILED)


def test_handbook_example(life):
    """Printed: eta 606.5280, beta 1.7208, log-likelihood magnitude 75.135, mean 540.737 h; B10 computed with scipy."""
    assert life.scale_h == pytest.approx(606.5280, abs=2e-3)
    assert life.shape == pytest.approx(1.7208, abs=5e-5)
    assert life.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert life.mean_h == pytest.approx(540.737, abs=5e-3)
    assert life.life_h(0.1) == pytest.approx(164.022, abs=5e-3)
    assert life.share_failed(life.life_h(0.1)) == pytest.approx(0.1)


def test_estimate_against_scipy(life):
    """scipy 1.17 fits the same censored data."""
    data = stats.CensoredData(uncensored=FAILED_H, right=[500] * 10)
    shape, _loc, scale = stats.weibull_min.fit(data, floc=0)
    assert life.shape == pytest.approx(shape, rel=1e-3)
    assert life.scale_h == pytest.approx(scale, rel=1e-3)


def test_limits_are_where_the_likelihood_has_fallen(life):
    """By a grid over the scale, apart from the way in which the product finds them."""
    t, failed = np.array(HOURS, float), np.array(FAILED)

    def profile(shape):
        scale = ((t**shape).sum() / failed.sum()) ** (1 / shape)
        return (
            stats.weibull_min.logpdf(t[failed], shape, scale=scale).sum()
            + stats.weibull_min.logsf(t[~failed], shape, scale=scale).sum()
        )

    for limit in (life.shape_low, life.shape_high):
        assert 2 * (life.log_likelihood - profile(limit)) == pytest.approx(stats.chi2.ppf(0.95, 1), rel=1e-4)
    assert life.shape_low < life.shape < life.shape_high
    assert life.scale_low_h < life.scale_h < life.scale_high_h


def test_intervals_cover_the_truth_by_simulation():
    """About 95 of 100 (seed 4): 200 fleets of 30 parts, half of them still in service."""
    rng, shape_in, scale_in = np.random.default_rng(4), 0, 0
    for _each in range(200):
        t = 9000 * rng.weibull(2.2, 30)
        stop = rng.uniform(3000, 12000, 30)
        found = fit_weibull(np.minimum(t, stop), t <= stop)
        shape_in += found.shape_low <= 2.2 <= found.shape_high
        scale_in += found.scale_low_h <= 9000 <= found.scale_high_h
    assert shape_in / 200 >= 0.9
    assert scale_in / 200 >= 0.9


def test_points_without_parts_in_service_are_median_ranks():
    """Benard: (i - 0.3) / (n + 0.4), by hand."""
    points = plot_points(np.array([10.0, 20.0, 30.0]), np.array([True, True, True]))
    assert [each.share for each in points] == pytest.approx([0.7 / 3.4, 1.7 / 3.4, 2.7 / 3.4])


def test_a_part_in_service_moves_later_ranks():
    """Johnson's adjustment by hand: 10 F, 20 S, 30 F, 40 F of 4: ranks 1, 2.333, 3.667."""
    points = plot_points(np.array([10.0, 20.0, 30.0, 40.0]), np.array([True, False, True, True]))
    assert [each.share * 4.4 + 0.3 for each in points] == pytest.approx([1, 1 + 4 / 3, 1 + 8 / 3])


def test_too_few_failures_are_an_answer():
    few = fit_weibull([500, 900, 1200], [True, True, False])
    assert few.shape is None
    assert few.mean_h is None
    counts = {"n_failed": 2, "n_parts": 3, "all_h": 2600.0, "n_enough": 3}
    assert few.reasons == (Reason(LifeRule.TOO_FEW_FAILURES, counts),)
    assert demand_for_spares(few, [100], [400], months=3, rng=np.random.default_rng(1)) == ()


@pytest.mark.parametrize("case", json.loads((REFERENCE / "intervals.json").read_text())["age_replacement"], ids=str)
def test_age_replacement(case):
    """Barlow & Proschan 1965, ch. 4; the optimum for shape 2.5 as one edition of a reliability library prints it."""
    found = age_replacement(case["shape"], case["scale_h"], case["cost_planned"], case["cost_failure"])
    if case["optimum_h"] is None:
        assert found.optimum_h is None
        assert found.reason == Reason(LifeRule.NO_WEAR_OUT)
        return
    assert found.optimum_h == pytest.approx(case["optimum_h"], rel=1e-4)
    assert found.cost_rate_per_h == pytest.approx(case["cost_rate_per_h"], rel=1e-6)
    assert found.run_to_failure_rate_per_h == pytest.approx(case["run_to_failure_rate_per_h"], rel=1e-6)


def test_replacing_never_pays_where_a_failure_costs_no_more():
    assert age_replacement(3, 1000, 5, 5).optimum_h is None


def test_demand_of_an_exponential_life_is_its_rate():
    """Shape 1: hours per month / mean life for each part, whatever its age."""
    rng = np.random.default_rng(8)
    t = rng.exponential(5000, 4000)
    life = fit_weibull(t, np.ones(4000, bool))
    months = demand_for_spares(life, rng.uniform(0, 20000, 50), np.full(50, 100.0), months=6, rng=rng)
    assert len(months) == 6
    for each in months:
        assert each.expected == pytest.approx(50 * 100 / 5000, rel=0.1)
        assert each.low <= each.expected <= each.high


def test_demand_is_the_same_for_the_same_seed_and_grows_with_age(life):
    young = demand_for_spares(life, [10.0] * 20, [50.0] * 20, months=1, rng=np.random.default_rng(2))
    again = demand_for_spares(life, [10.0] * 20, [50.0] * 20, months=1, rng=np.random.default_rng(2))
    old = demand_for_spares(life, [600.0] * 20, [50.0] * 20, months=1, rng=np.random.default_rng(2))
    assert young == again
    assert old[0].expected > 2 * young[0].expected


def test_wrong_input_is_named():
    with pytest.raises(ValueError, match="above 0 h"):
        fit_weibull([0, 1], [True, False])
    with pytest.raises(ValueError, match="one of each for every part"):
        fit_weibull([1], [True, False])
    with pytest.raises(ValueError, match=r"cost_planned is 0; give a number above 0"):
        age_replacement(2, 1000, 0, 5)
    assert math.isfinite(fit_weibull([1, 2, 3], [True] * 3).shape)
    with pytest.raises(ValueError, match=r"hours has nan; give ages above 0 h"):
        fit_weibull([float("nan"), 1], [True, False])
    with pytest.raises(ValueError, match=r"ages_h has -5 h; give 0 h or more"):
        demand_for_spares(known_life(2.0, 500.0), [-5], [10], months=1, rng=np.random.default_rng(1))
    with pytest.raises(ValueError, match=r"shape is inf"):
        age_replacement(math.inf, 1000, 1, 5)


@pytest.mark.parametrize("ages", [[1000, 1000.2, 1000.4, 900], [1000, 1001, 1002, 1009]])
def test_failures_found_on_one_round_are_one_age(ages):
    """Their likelihood has its top at a shape beyond all reason; nothing of the kind is told."""
    found = fit_weibull(ages, [True, True, True, False])
    assert found.shape is None
    assert found.reasons[0].rule is LifeRule.TOO_FEW_FAILURES
    assert fit_weibull([1000, 1020, 1040, 900], [True, True, True, False]).shape > 20


def test_what_lies_beyond_the_oldest_part_is_said(life):
    assert life.reasons[-1] == Reason(LifeRule.BEYOND_THE_OLDEST, {"oldest_h": 500.0})
    seen = fit_weibull(FAILED_H, [True] * 10)
    assert LifeRule.BEYOND_THE_OLDEST not in [each.rule for each in seen.reasons]


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(st.floats(1.0, 20000.0), st.booleans()), min_size=4, max_size=30),
    st.floats(0.01, 100.0),
)
def test_no_set_of_ages_is_refused_and_the_unit_of_time_does_not_matter(parts, factor):
    t, failed = np.array([each[0] for each in parts]), np.array([each[1] for each in parts])
    found, other = fit_weibull(t, failed), fit_weibull(t * factor, failed)
    assert (found.shape is None) == (other.shape is None)
    if found.shape is None:
        return
    assert found.shape_low <= found.shape <= found.shape_high
    assert found.scale_low_h <= found.scale_h * (1 + 1e-9)
    assert other.shape == pytest.approx(found.shape, rel=1e-5)
    assert math.log(other.scale_h / found.scale_h) == pytest.approx(math.log(factor), abs=1e-5)


# --- spares ---------------------------------------------------------------------------------------------------------
def known_life(shape, scale_h):
    """A life that is known for certain."""
    certain = ((1e-18, 0.0), (0.0, 1e-18))
    told = (shape, shape, scale_h, scale_h)
    return WeibullLife(1000, 1000, 1e6, shape, scale_h, *told, 0.0, (), (), 0.95, certain)


def test_a_rest_of_life_leaves_the_chance_of_survival_that_it_was_drawn_with():
    """Survival from age to the end, by scipy, is exp(-draw); new, middling and very old parts."""
    age = np.array([1e-6, 100.0, 900.0, 40000.0])
    shape, scale, draw = np.full(4, 2.3), np.full(4, 700.0), np.array([0.5, 2.0, 0.01, 1e-4])
    end = age + rest_of_life(age, shape, scale, draw)
    survived = stats.weibull_min.logsf(age, 2.3, scale=700) - stats.weibull_min.logsf(end, 2.3, scale=700)
    assert survived == pytest.approx(draw, rel=1e-6)
    assert rest_of_life(np.zeros(1), shape[:1], scale[:1], draw[:1]) == pytest.approx(700 * 0.5 ** (1 / 2.3))


def test_a_part_may_fail_more_than_once_in_a_month():
    """Renewals of a sure life against the elementary renewal theorem: hours / mean life in the long run."""
    life = known_life(3.0, 600.0)
    months = demand_for_spares(life, [0.0] * 10, [2000.0] * 10, months=12, rng=np.random.default_rng(1))
    assert months[-1].expected == pytest.approx(10 * 2000 / life.mean_h, rel=0.02)
    assert months[-1].until_expected == pytest.approx(sum(each.expected for each in months))
    # Months do not peak together: the year's interval is narrower than the sum of theirs.
    year, widths = months[-1], sum(each.high - each.low for each in months)
    assert 0 < year.until_high - year.until_low < widths


def test_demand_of_old_parts_is_the_renewal_function():
    """Expected failures in the first month against the renewal equation, solved on a grid with scipy's law."""
    life, age, month = known_life(2.0, 1000.0), 800.0, 600.0
    grid = np.linspace(0.0, month, 601)
    law = stats.weibull_min(2.0, scale=1000.0)
    new, old = law.cdf(grid), 1.0 - law.sf(age + grid) / law.sf(age)
    renewals = np.zeros(grid.size)
    for i in range(1, grid.size):
        renewals[i] = new[i] + np.sum(np.diff(new[: i + 1]) * renewals[i - 1 :: -1][:i])
    expected = old[-1] + np.sum(np.diff(old) * renewals[-2::-1])
    found = demand_for_spares(
        life, np.full(40, age), np.full(40, month), months=1, rng=np.random.default_rng(3), runs=20000
    )
    assert found[0].expected == pytest.approx(40 * expected, rel=0.005)


def test_the_interval_of_the_demand_holds_what_comes():
    """200 fleets (seed 7): fit on 60 lives, forecast of half a year for 40 positions, then the true renewals."""
    rng, held = np.random.default_rng(7), 0
    for _each in range(200):
        t, stop = 5000 * rng.weibull(2.0, 60), rng.uniform(2000, 9000, 60)
        fit = fit_weibull(np.minimum(t, stop), t <= stop)
        ages = rng.uniform(0, 4000, 40)
        told = demand_for_spares(fit, ages, np.full(40, 500.0), months=6, rng=rng, runs=400)[-1]
        due = rest_of_life(ages, np.full(40, 2.0), np.full(40, 5000.0), rng.exponential(size=40))
        n = 0
        while np.any(due < 3000):
            n += int(np.sum(due < 3000))
            due = np.where(due < 3000, due + 5000 * rng.weibull(2.0, 40), due)
        held += told.until_low <= n <= told.until_high
    assert held / 200 >= 0.9


@pytest.mark.parametrize(
    ("shape", "planned", "failure"), [(10.0, 1.0, 1.05), (150.0, 1.0, 1.0001), (2000.0, 1.0, 1.001)]
)
def test_the_best_age_of_steep_lives_is_the_least_cost(shape, planned, failure):
    """Against a bounded search of the cost rate itself."""
    found = age_replacement(shape, 1000.0, planned, failure)

    def rate(age):
        served = integrate.quad(lambda u: math.exp(-((u / 1000.0) ** shape)), 0, age, points=[min(age, 990.0)])[0]
        alive = math.exp(-((age / 1000.0) ** shape))
        return (planned * alive + failure * (1 - alive)) / served

    assert found.optimum_h is not None
    assert found.cost_rate_per_h <= min(rate(each) for each in np.linspace(900, 1040, 281)) * (1 + 1e-9)


def test_the_need_at_the_rate_so_far_is_the_predictive_law_of_a_poisson_count():
    """A million draws (seed 5): rate from its gamma posterior, then the number that comes."""
    rng = np.random.default_rng(5)
    drawn = rng.poisson(rng.gamma(6.5, 1 / 30_000, 1_000_000) * 20_000)
    found = need_at_rate(6, 30_000, 20_000)
    assert (found.low, found.high, found.most) == tuple(np.quantile(drawn, [0.025, 0.975, 0.95]))
    assert found.expected == pytest.approx(6 / 30_000 * 20_000)


def test_of_parts_that_were_never_changed_only_the_most_is_told():
    found = need_at_rate(0, 50_000, 20_000)
    assert (found.expected, found.low, found.high) == (None, None, None)
    assert found.most >= 1
    assert need_at_rate(0, 50_000, 0).most == 0
    assert need_at_rate(3, 0, 20_000) is None
    with pytest.raises(ValueError, match="n is -1"):
        need_at_rate(-1, 1, 1)
    with pytest.raises(ValueError, match="level is 1"):
        need_at_rate(1, 1, 1, level=1.0)
