"""Life against a handbook's worked example, published optima and a reference library."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from reports.calc.life import age_replacement, demand_for_spares, fit_weibull, plot_points

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
    assert "2 of 3 parts failed" in few.reasons[0]
    assert demand_for_spares(few, [100], [400], months=3, rng=np.random.default_rng(1)) == ()


@pytest.mark.parametrize("case", json.loads((REFERENCE / "intervals.json").read_text())["age_replacement"], ids=str)
def test_age_replacement(case):
    """Barlow & Proschan 1965, ch. 4; the optimum for shape 2.5 as one edition of a reliability library prints it."""
    found = age_replacement(case["shape"], case["scale_h"], case["cost_planned"], case["cost_failure"])
    if case["optimum_h"] is None:
        assert found.optimum_h is None
        assert "No wear-out" in found.reason
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
    with pytest.raises(ValueError, match="give pairs"):
        fit_weibull([1], [True, False])
    with pytest.raises(ValueError, match=r"cost_planned is 0; give a number above 0"):
        age_replacement(2, 1000, 0, 5)
    assert math.isfinite(fit_weibull([1, 2, 3], [True] * 3).shape)
