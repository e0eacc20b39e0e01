"""Wear trends against certified regressions, and what must always hold."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.calc.wear import FleetRate, WearRule, fit_line, fleet_rate, limit_forecast, theil_sen, wear_trend

REFERENCE = Path(__file__).parents[2] / "reference"


@pytest.fixture(scope="module")
def norris():
    """NIST StRD, data set Norris, 36 points (certified values: memory, recomputed to 1e-8)."""
    rows = list(csv.DictReader((REFERENCE / "norris.csv").read_text().splitlines()))
    return np.array([float(row["x"]) for row in rows]), np.array([float(row["y"]) for row in rows])


def test_line_against_certified_values(norris):
    line = fit_line(*norris)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-8)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-8)
    assert line.r_squared == pytest.approx(0.999993745883712, rel=1e-12)


def test_bands_and_median_slope_against_reference_libraries(norris):
    """scipy 1.17.1 and statsmodels 0.15.0, as norris.json says."""
    known = json.loads((REFERENCE / "norris.json").read_text())
    at_500, line = known["prediction_at_500_level_0.95"], fit_line(*norris)
    assert line.at(500) == pytest.approx(at_500["mean"], rel=1e-10)
    assert line.band(500, one_reading=False) == pytest.approx(
        (at_500["mean_ci_lower"], at_500["mean_ci_upper"]), rel=1e-9
    )
    assert line.band(500) == pytest.approx((at_500["obs_ci_lower"], at_500["obs_ci_upper"]), rel=1e-9)
    sen = known["theil_sen"]
    assert theil_sen(*norris) == pytest.approx((sen["slope"], sen["low"], sen["high"]), rel=1e-9)


def test_trend_of_many_readings_is_the_regression():
    hours, diameter = [0, 500, 1000, 1500, 2000, 2500], [76.0, 75.6, 75.5, 75.0, 74.9, 74.4]
    trend, line = wear_trend(hours, diameter), fit_line(hours, diameter)
    assert trend.way == "readings"
    assert trend.per_1000_h == pytest.approx(-1000 * line.slope)
    assert trend.at(3000) - trend.half_band(3000) == pytest.approx(line.band(3000)[0], rel=1e-9)


def test_date_of_the_limit_lies_inside_its_band():
    trend = wear_trend([0, 500, 1000, 1500, 2000, 2500], [76.0, 75.6, 75.5, 75.0, 74.9, 74.4])
    forecast = limit_forecast(trend, 70.0)
    assert forecast.early_h < forecast.at_h < forecast.late_h
    assert trend.at(forecast.at_h) == pytest.approx(70.0)
    assert trend.at(forecast.early_h) - trend.half_band(forecast.early_h) == pytest.approx(70.0)


@pytest.mark.parametrize(
    ("hours", "diameter", "rule"),
    [
        ([], [], WearRule.NO_READING),
        ([800], [75.0], WearRule.ONE_READING),
        ([800, 850], [75.0, 74.9], WearRule.TOO_CLOSE),
        ([0, 900], [76.0, 75.2], WearRule.NO_FLEET),
    ],
)
def test_too_little_gives_no_rate_and_says_why(hours, diameter, rule):
    trend = wear_trend(hours, diameter)
    assert trend.per_1000_h is None
    assert trend.reasons[0].rule == rule
    assert limit_forecast(trend, 70).at_h is None


def test_scatter_without_wear_gives_no_date():
    trend = wear_trend([0, 500, 1000, 1500, 2000], [76.0, 76.1, 75.9, 76.1, 76.0])
    assert trend.reasons[-1].rule == WearRule.NO_WEAR_SEEN
    assert limit_forecast(trend, 70).at_h is None


def test_a_limit_far_beyond_the_readings_gets_no_date():
    trend = wear_trend([0, 200, 400, 600, 800], [76.0, 75.9, 75.8, 75.7, 75.6])
    assert limit_forecast(trend, 40.0).reasons[-1].rule == WearRule.TOO_FAR_AHEAD


def test_one_slip_is_told():
    hours = np.arange(0, 5000, 500.0)
    diameter = 76 - 0.6 * hours / 1000
    diameter[-1] = 60.0
    assert WearRule.ONE_PULLS in [reason.rule for reason in wear_trend(hours, diameter).reasons]


def test_few_readings_lean_on_the_fleet_and_more_readings_less():
    fleet = FleetRate(n=12, per_1000_h=0.6, sd=0.15)
    two = wear_trend([0, 500], [76.0, 74.5], new_mm=76.0, fleet=fleet)
    four = wear_trend([0, 500, 1000, 1500], [76.0, 74.5, 73.0, 71.5], new_mm=76.0, fleet=fleet)
    assert two.way == four.way == "fleet"
    assert 0.6 < two.per_1000_h < four.per_1000_h < 3.0
    assert four.high - four.low < two.high - two.low


def test_fleet_rate_of_equal_rollers_has_no_spread_and_needs_three():
    assert fleet_rate([0.6, 0.7], [0.1, 0.1]) is None
    same = fleet_rate([0.6, 0.6, 0.6], [0.1, 0.2, 0.1])
    assert (same.per_1000_h, same.sd) == (pytest.approx(0.6), 0.0)
    wide = fleet_rate([0.2, 0.6, 1.8], [0.05, 0.05, 0.05])
    assert wide.sd > 0.5


def test_coverage_of_the_rate_by_simulation():
    """Of 400 simulated devices about 95 % have their true rate inside the interval (seed 7)."""
    rng, inside = np.random.default_rng(7), 0
    for _each in range(400):
        hours = np.sort(rng.uniform(0, 6000, 7))
        trend = wear_trend(hours, 76 - 0.6 * hours / 1000 + rng.normal(0, 0.2, 7))
        inside += trend.low <= 0.6 <= trend.high
    assert 0.92 <= inside / 400 <= 0.98


@given(
    st.lists(st.integers(0, 8000).map(float), min_size=6, max_size=12, unique=True),
    st.floats(0.2, 3),
    st.integers(0, 1000),
)
def test_a_move_of_the_zero_and_a_change_of_unit_do_not_change_the_rate(hours, rate, seed):
    x = np.array(hours)
    if np.ptp(x) < 200:
        return
    noise = np.random.default_rng(seed).normal(0, 0.2, x.size)
    y = 76 - rate * x / 1000 + noise
    plain, moved = wear_trend(x, y), wear_trend(x + 500, y)
    assert moved.per_1000_h == pytest.approx(plain.per_1000_h, rel=1e-6, abs=1e-6)


def test_wrong_input_is_named():
    with pytest.raises(ValueError, match="give pairs"):
        wear_trend([1, 2], [3])
    with pytest.raises(ValueError, match="0 or more"):
        wear_trend([-1, 200], [76, 75])
    with pytest.raises(ValueError, match="two different x"):
        fit_line([1, 1], [2, 3])
