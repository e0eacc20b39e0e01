"""The verdict on counts before and after: the demo stories, the rules, and how often they err."""

import dataclasses
import doctest

import numpy as np
import pytest

from plant.calc.rates import RateRule, compare_rates, compare_rates_many, counted
from plant.calc.reasons import Reason
from reports.calc import verdicts
from reports.calc.bad_spells import SpellCheck
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.verdicts import (
    EffectVerdict,
    VerdictRule,
    VerdictRules,
    direction,
    judge,
    limits_with_spells,
)
from tests.reference.rate_ratio import STORIES


def judged(counts_and_hours, **changed):
    told = {"coverage_before": 1.0, "coverage_after": 1.0, "n_detectors": 1} | changed
    return judge(compare_rates(*counts_and_hours), **told)


def rules_of(judgement):
    return [each.rule for each in judgement.reasons]


def test_examples():
    assert doctest.testmod(verdicts).failed == 0


# --- verdict --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("story", STORIES)
def test_stories_of_the_demo_plant(story):
    sides, (ratio, low, high), verdict = STORIES[story]
    found = compare_rates(*sides)
    assert (found.ratio, found.low) == pytest.approx((ratio, low), abs=0.00501)
    assert found.high == pytest.approx(high, abs=0.00501)
    judgement = judged(sides)
    assert judgement.verdict == verdict
    told = {"before": counted(sides[0]), "before_h": sides[1], "n_after": sides[2], "after_h": sides[3]}
    assert judgement.reasons[0] == Reason(VerdictRule.COUNTED, told)


def test_too_early_says_the_hours_still_needed():
    judgement = judged((14, 4900, 0, 95))
    assert judgement.hours_needed == pytest.approx(1382, abs=1)
    needed, too_soon = judgement.reasons[-2:]
    assert needed == Reason(VerdictRule.HOURS_WITHOUT_INCIDENT_NEEDED, {"needed_h": judgement.hours_needed})
    assert too_soon == Reason(VerdictRule.TOO_FEW_HOURS_AFTER, {"after_h": 95.0, "least_h": 2450.0})


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"n_detectors": 0}, Reason(VerdictRule.NO_DETECTOR)),
        (
            {"coverage_before": 0.79},
            Reason(VerdictRule.HOURS_UNKNOWN_BEFORE, {"known_pct": 79.0, "least_pct": 80.0}),
        ),
        ({"coverage_after": 0.5}, Reason(VerdictRule.HOURS_UNKNOWN_AFTER, {"known_pct": 50.0, "least_pct": 80.0})),
    ],
)
def test_what_cannot_be_judged_is_not_judged_however_clear_the_counts(changed, said):
    judgement = judged((29, 4800, 6, 4700), **changed)
    assert judgement.verdict is EffectVerdict.CANNOT_BE_JUDGED
    assert judgement.reasons == (said,)
    assert judgement.hours_needed is None


def test_every_obstacle_is_named_and_the_limit_itself_is_enough():
    judgement = judged((0, 0, 6, 4700), n_detectors=0, coverage_before=0.0)
    assert len(judgement.reasons) == 3
    assert rules_of(judgement)[-1] is VerdictRule.NO_HOURS_BEFORE
    assert judged((29, 4800, 6, 4700), coverage_before=0.8, coverage_after=0.8).verdict is EffectVerdict.FEWER


def test_shown_to_change_little_needs_the_whole_interval_inside_the_margin():
    assert judged((600, 50_000, 590, 50_000)).verdict is EffectVerdict.CHANGES_LITTLE
    assert judged((150, 50_000, 148, 50_000)).verdict is EffectVerdict.NO_CLEAR_CHANGE
    # A small change that is certain counts as fewer even where it lies inside the margin.
    assert judged((20_000, 50_000, 18_500, 50_000)).verdict is EffectVerdict.FEWER


def test_half_of_the_hours_before_are_enough_for_no_clear_change():
    assert judged((10, 4000, 5, 2000)).verdict is EffectVerdict.NO_CLEAR_CHANGE
    assert judged((10, 4000, 5, 1999)).verdict is EffectVerdict.TOO_EARLY


def test_nothing_on_either_side_and_nothing_after():
    assert judged((0, 4000, 0, 100)).verdict is EffectVerdict.TOO_EARLY
    empty = judged((0, 4000, 0, 4000))
    assert empty.verdict is EffectVerdict.TOO_FEW
    assert rules_of(empty)[-1] is VerdictRule.NONE_BEFORE
    assert rules_of(empty)[1:3] == [RateRule.NO_INCIDENT, VerdictRule.NO_TIME_CAN_BE_STATED]
    fresh = judged((12, 4000, 0, 0))
    assert fresh.verdict is EffectVerdict.TOO_EARLY
    assert fresh.hours_needed == pytest.approx((0.025 ** (-1 / 12) - 1) * 4000, rel=1e-6)


def test_the_numbers_of_the_rules_decide():
    strict = VerdictRules(level=0.9, least_coverage=0.95, margin=(0.9, 1.1), least_after_share=1.0)
    ratio = compare_rates(10, 4000, 5, 3000, level=0.9)
    told = {"coverage_before": 1.0, "coverage_after": 1.0, "n_detectors": 2}
    assert judge(ratio, rules=strict, **told).verdict is EffectVerdict.TOO_EARLY
    with pytest.raises(ValueError, match=r"worked out at level 0\.9, the rules ask for 0\.95"):
        judge(ratio, **told)


@pytest.mark.parametrize(
    ("field", "value"),
    [("level", 1.0), ("least_coverage", 80), ("margin", (1.1, 1.25)), ("margin", (0.8, 0.9)), ("least_after_share", 0)],
)
def test_rules_check_themselves(field, value):
    with pytest.raises(ValueError, match=field) as refused:
        VerdictRules(**{field: value})
    assert "give" in str(refused.value)


def test_results_cannot_be_changed_and_what_is_told_is_checked():
    with pytest.raises(dataclasses.FrozenInstanceError):
        compare_rates(1, 1, 1, 1).ratio = 2
    with pytest.raises(ValueError, match=r"coverage_after is 1\.2"):
        judged((1, 10, 1, 10), coverage_after=1.2)
    with pytest.raises(ValueError, match="n_detectors is -1"):
        judged((1, 10, 1, 10), n_detectors=-1)


def test_false_verdicts_stay_rare_when_nothing_changes():
    """Seeded: of 2000 devices without effect at most 5 % may be told fewer or more."""
    rng = np.random.default_rng(11)
    n0, n1 = rng.poisson(20, 2000), rng.poisson(20, 2000)
    many = compare_rates_many(n0, 5000, n1, 5000)
    assert ((many.high < 1) | (many.low > 1)).mean() <= 0.05


# --- what has to agree with the counts ------------------------------------------------------------------------------
def index(ratio, low, high):
    """An answer with its limits; the one-sided ones lie a sixth of the way inwards, as for a normal logarithm."""
    inner = [ratio * (edge / ratio) ** (1.645 / 1.96) for edge in (low, high)]
    return EffectIndex(ratio, None, ratio, low, high, 0.2, 20.0, 20.0, 9.0, *inner)


def test_fewer_needs_the_one_sided_limit_of_the_shrunk_answer():
    wet = (24, 4400, 8, 4100)
    assert judged(wet, shrunk=index(0.47, 0.2, 1.05)).verdict is EffectVerdict.FEWER
    held = judged(wet, shrunk=index(0.55, 0.25, 1.25))
    assert held.verdict is EffectVerdict.NO_CLEAR_CHANGE
    assert VerdictRule.EXPLAINED_OTHERWISE in rules_of(held)
    worse = (16, 10500, 25, 7000)
    assert judged(worse, shrunk=index(1.9, 0.96, 3.8)).verdict is EffectVerdict.MORE
    assert judged(worse, shrunk=index(1.5, 0.7, 3.0)).verdict is EffectVerdict.NO_CLEAR_CHANGE


def test_the_limit_that_decides_is_told_with_the_verdict():
    wet = (24, 4400, 8, 4100)
    worse = (16, 10500, 25, 7000)
    for counts, answer, rule, limit in (
        (wet, index(0.47, 0.2, 1.05), VerdictRule.LIMIT_BELOW_1, 0.92),
        (wet, index(0.55, 0.25, 1.25), VerdictRule.LIMIT_NOT_BELOW_1, 1.10),
        (worse, index(1.9, 0.96, 3.8), VerdictRule.LIMIT_ABOVE_1, 1.07),
        (worse, index(1.5, 0.7, 3.0), VerdictRule.LIMIT_NOT_ABOVE_1, 0.79),
    ):
        last = judged(counts, shrunk=answer).reasons[-1]
        assert last.rule is rule
        assert last.values == {"level_pct": 95.0, "limit": pytest.approx(limit, abs=0.005)}


@pytest.mark.parametrize(
    ("counts", "verdict"),
    [
        ((6, 5000, 5, 5000), EffectVerdict.NO_CLEAR_CHANGE),  # none after would have told: 2 x 0.5^6 < 0.05
        ((5, 5000, 5, 5000), EffectVerdict.TOO_FEW),
        ((5, 5000, 0, 5000), EffectVerdict.TOO_FEW),  # none came after, and it tells nothing
        ((5, 5000, 3, 12_000), EffectVerdict.NO_CLEAR_CHANGE),  # more hours after make up for few before
        ((1, 5000, 0, 5000), EffectVerdict.TOO_FEW),
        ((0, 5000, 3, 5000), EffectVerdict.TOO_FEW),
        ((0, 5000, 9, 5000), EffectVerdict.MORE),  # a rise shows from none
        ((5, 5000, 3, 2000), EffectVerdict.TOO_EARLY),  # hours may still come
    ],
)
def test_too_few_incidents_to_tell_where_even_none_after_would_not_have_told(counts, verdict):
    judgement = judged(counts)
    assert judgement.verdict is verdict
    if verdict is EffectVerdict.TOO_FEW and counts[0]:
        assert rules_of(judgement)[-1] is VerdictRule.TOO_FEW_BEFORE


def test_bad_spells_make_incidents_too_few():
    spells = SpellCheck(14, 12, 3.0, 0.001, 1.6, (8, 6))
    assert judged((8, 5000, 6, 5000)).verdict is EffectVerdict.NO_CLEAR_CHANGE
    assert judged((8, 5000, 6, 5000), spells=spells).verdict is EffectVerdict.TOO_FEW


def test_what_counts_say_alone_takes_bad_spells_in():
    """The month and the quarter go by this: limits of the demo kind, 30 then 14 in as many hours."""
    ratio = compare_rates(30, 9000, 14, 9000)
    even, spells = SpellCheck(44, 20, 18.0, 0.4, 1.1, (20, 10)), SpellCheck(44, 60, 18.0, 1e-6, 2.9, (20, 10))
    assert [direction(ratio, each) for each in (None, even, spells)] == ["fewer", "fewer", "flat"]
    assert limits_with_spells(ratio, even) == (ratio.low, ratio.high)
    low, high = limits_with_spells(ratio, spells)
    assert low < ratio.low < ratio.high < 1 < high
    assert direction(compare_rates(14, 9000, 30, 9000), None) == "more"
    assert direction(compare_rates(0, 9000, 0, 9000), None) == "unjudged"


def test_where_nothing_can_be_shrunk_the_comparison_must_agree_and_else_the_counts_stand_alone():
    wet = (24, 4400, 8, 4100)
    held = judged(wet, compared=index(0.8, 0.4, 1.6))
    assert held.verdict is EffectVerdict.NO_CLEAR_CHANGE
    agreed = judged(wet, compared=index(0.4, 0.2, 0.8))
    assert agreed.verdict is EffectVerdict.FEWER
    assert rules_of(agreed)[2] is VerdictRule.COMPARED
    # Where there is a shrunk answer, the comparison has no say.
    assert judged(wet, shrunk=index(0.4, 0.2, 0.8), compared=index(0.8, 0.4, 1.6)).verdict is EffectVerdict.FEWER
    assert rules_of(judged(wet))[-1] is VerdictRule.ALONE
    assert VerdictRule.ALONE not in rules_of(agreed)


def test_shown_to_change_little_is_asked_of_the_allowed_answer_too():
    long = (600, 50_000, 590, 50_000)
    assert judged(long, shrunk=index(0.98, 0.85, 1.2)).verdict is EffectVerdict.CHANGES_LITTLE
    assert judged(long, shrunk=index(0.98, 0.75, 1.2)).verdict is EffectVerdict.NO_CLEAR_CHANGE
