"""Interval advice against worked rules and a reference library."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm

from inspections.calc.intervals import (
    failure_finding_interval,
    finding_curve,
    longest_interval_d,
    warning_time,
)

KNOWN = json.loads((Path(__file__).parents[2] / "reference" / "intervals.json").read_text())


@pytest.mark.parametrize("case", KNOWN["failure_finding"], ids=str)
def test_failure_finding_interval(case):
    """Exact root of the unavailability; the linear rule 2 U M as read in a reliability text is shorter."""
    unit = "years" if "mtbf_years" in case else "h"
    exact = failure_finding_interval(case["unavailability"], case[f"mtbf_{unit}"])
    assert exact == pytest.approx(case[f"exact_interval_{unit}"], rel=1e-7)
    assert 2 * case["unavailability"] * case[f"mtbf_{unit}"] == pytest.approx(case[f"interval_{unit}"])
    assert case[f"interval_{unit}"] < exact


def test_warning_times():
    """P-F rules: half as start rule (memory: Moubray; SAE JA1012), the rest by hand."""
    first, second, third = KNOWN["p_f"]
    assert first["half_rule_days"] == first["pf_days"] / 2
    assert warning_time(first["pf_days"], first["at_interval_days"]).left_d == first["net_pf_days"]
    assert longest_interval_d(first["pf_days"], first["response_days"]) == first["longest_days"]
    for case in (second, third):
        found = warning_time(case["pf_days"], case["at_interval_days"], detect_each=case["detect_each"])
        assert found.n_inside == case["inspections_inside"]
        assert found.chance_seen == pytest.approx(case["detect_by_failure"])


@pytest.fixture(scope="module")
def found():
    rng = np.random.default_rng(11)
    days = rng.choice([30.0, 60.0, 90.0, 180.0], 200)
    return days, rng.random(200) < -np.expm1(-((days / 200) ** 2.0))


def test_scale_with_shape_one_against_statsmodels():
    """Binomial GLM, complementary log-log link, log days as offset (statsmodels 0.15)."""
    rng = np.random.default_rng(3)
    days = rng.choice([30.0, 60.0, 90.0], 80)
    act = rng.random(80) < -np.expm1(-(days / 400))
    curve = finding_curve(days, act)
    assert not curve.shape_is_fitted
    model = sm.GLM(
        act.astype(float), np.ones((80, 1)), sm.families.Binomial(sm.families.links.CLogLog()), offset=np.log(days)
    ).fit()
    assert -math.log(curve.scale_d) == pytest.approx(model.params[0], abs=1e-5)


def test_shape_is_fitted_where_findings_show_it(found):
    """Free shape against the GLM with log days as a regressor (statsmodels 0.15)."""
    days, act = found
    curve = finding_curve(days, act)
    assert curve.shape_is_fitted
    model = sm.GLM(
        act.astype(float), sm.add_constant(np.log(days)), sm.families.Binomial(sm.families.links.CLogLog())
    ).fit()
    assert curve.shape == pytest.approx(model.params[1], rel=1e-3)
    assert curve.scale_d == pytest.approx(math.exp(-model.params[0] / model.params[1]), rel=1e-3)


def test_longest_interval_keeps_the_risk(found):
    curve = finding_curve(*found)
    by_estimate, to_be_sure = curve.longest_days(0.1)
    assert curve.chance(by_estimate)[0] == pytest.approx(0.1)
    assert curve.chance(to_be_sure)[2] == pytest.approx(0.1)
    assert to_be_sure < by_estimate


def test_no_finding_tells_only_a_least_scale():
    curve = finding_curve([90.0] * 20, [False] * 20)
    estimate, low, high = curve.chance(90)
    assert (estimate, low) == (0.0, 0.0)
    # Clopper-Pearson upper limit of 0 in 20 is 1 - 0.025^(1/20), by hand.
    assert high == pytest.approx(1 - 0.025 ** (1 / 20))
    assert curve.longest_days(0.05)[0] is None


def test_every_check_at_act_says_that_the_interval_is_too_long():
    curve = finding_curve([90.0] * 8, [True] * 8)
    assert "too long" in curve.reasons[-1]
    assert curve.chance(90)[2] == 1.0


def test_interval_of_the_chance_covers_the_truth_by_simulation():
    """About 95 of 100: 300 plants with a true scale of 300 d (seed 5)."""
    rng, inside = np.random.default_rng(5), 0
    days = np.repeat([60.0, 90.0, 120.0], 12)
    truth = -math.expm1(-90 / 300)
    for _each in range(300):
        curve = finding_curve(days, rng.random(days.size) < -np.expm1(-days / 300))
        _estimate, low, high = curve.chance(90)
        inside += low <= truth <= high
    assert inside / 300 >= 0.91


def test_too_few_checks_give_none_and_wrong_input_is_named():
    assert finding_curve([30.0] * 4, [True] * 4) is None
    with pytest.raises(ValueError, match="above 0"):
        finding_curve([0.0] * 6, [False] * 6)
    with pytest.raises(ValueError, match="share between 0 and 1"):
        finding_curve([30.0] * 6, [False] * 6).longest_days(1.5)
    with pytest.raises(ValueError, match=r"unavailability is 0\.9"):
        failure_finding_interval(0.9, 10)
