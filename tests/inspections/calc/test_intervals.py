"""Interval advice against worked rules and a reference library."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from inspections.calc.intervals import (
    CurveRule,
    failure_finding_interval,
    finding_curve,
    interval_advice,
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
    assert curve.reasons[-1].rule == CurveRule.ALL_ACT
    assert curve.chance(90)[2] == 1.0


# Checks that found nothing bound the chance from above alone. 3 / n is the rule of three (Hanley and Lippman-Hand 1983,
# from memory), for a one-sided limit of 95 %; ours is the two-sided one of Clopper and Pearson, as scipy's binomtest.
@pytest.mark.parametrize("n", [5, 22, 71, 72, 400])
@pytest.mark.parametrize("present", [14.0, 90.0, 180.0])
def test_nothing_found_never_speaks_for_a_shorter_interval(n, present):
    curve = finding_curve([present] * n, [False] * n)
    found = interval_advice(curve, present, 0.05, longest_seen_d=present)
    assert found.days is None
    limit = binomtest(0, n).proportion_ci(0.95, method="exact").high
    assert curve.chance(present)[2] == pytest.approx(limit)
    assert limit == pytest.approx(3.69 / n, rel=0.4)  # the rule of three at its other level: -ln 0.025 = 3.69
    assert found.rule == ("no_reason_to_shorten" if limit <= 0.05 else "too_few")
    if found.rule == "too_few":
        assert binomtest(0, found.n_needed).proportion_ci(0.95, method="exact").high <= 0.05
        assert binomtest(0, found.n_needed - 1).proportion_ci(0.95, method="exact").high > 0.05


@settings(max_examples=150, deadline=None)
@given(st.integers(5, 60), st.integers(0, 60), st.sampled_from((30.0, 90.0)), st.sampled_from((0.02, 0.05, 0.2)))
def test_a_shorter_or_longer_interval_is_offered_only_where_the_whole_interval_of_the_chance_says_so(n, k, days, risk):
    k = min(k, n)
    curve = finding_curve([days] * n, [True] * k + [False] * (n - k))
    found = interval_advice(curve, days, risk, longest_seen_d=2 * days)
    _estimate, low, high = curve.chance(days)
    if found.rule == "too_long":
        assert low > risk
        assert k > 0
        assert found.days is None or found.days < days
    elif found.rule == "may_be_longer":
        assert high <= risk
        assert days < found.days <= 2 * days
    else:
        assert found.days is None
        assert (low <= risk < high) == (found.rule == "too_few") or k == 0


def test_the_three_answers_where_there_are_findings():
    """By hand: 8 of 40 is 20 % (9 to 34 %), 2 of 40 is 5 % (1 to 17 %), 1 of 400 is 0.25 % (to 1.4 %)."""
    few, many, none = (
        finding_curve([90.0] * n, [True] * k + [False] * (n - k)) for k, n in ((2, 40), (8, 40), (1, 400))
    )
    assert interval_advice(few, 90, 0.05, longest_seen_d=90).rule == "too_few"
    found = interval_advice(many, 90, 0.05, longest_seen_d=90)
    assert (found.rule, found.days) == ("too_long", math.floor(many.longest_days(0.05)[1]))
    assert interval_advice(none, 90, 0.05, longest_seen_d=90).rule == "holds"
    assert interval_advice(none, 60, 0.05, longest_seen_d=90).days == 90
    assert interval_advice(none, None, 0.05, longest_seen_d=90).rule == "no_interval"
    with pytest.raises(ValueError, match="share between 0 and 1"):
        interval_advice(none, 60, 1.0, longest_seen_d=90)


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
