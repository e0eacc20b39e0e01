"""The verdict on counts before and after: the demo stories, the rules and their words, and how often they err."""

import dataclasses
import doctest

import numpy as np
import pytest

from reports.calc import rate_ratio
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.rate_ratio import (
    ALONE,
    RULE_TEXT,
    Verdict,
    VerdictRules,
    compare_rates,
    compare_rates_many,
    judge,
    rule_text,
)
from tests.reference.rate_ratio import STORIES


def judged(counts_and_hours, **changed):
    told = {"coverage_before": 1.0, "coverage_after": 1.0, "n_detectors": 1} | changed
    return judge(compare_rates(*counts_and_hours), **told)


def test_examples():
    assert doctest.testmod(rate_ratio).failed == 0


# --- verdict --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("story", STORIES)
def test_stories_of_the_demo_plant(story):
    sides, (ratio, low, high), verdict = STORIES[story]
    found = compare_rates(*sides)
    assert (found.ratio, found.low) == pytest.approx((ratio, low), abs=0.00501)
    assert found.high == pytest.approx(high, abs=0.00501)
    judgement = judged(sides)
    assert judgement.verdict == verdict
    assert judgement.reasons[0].startswith(f"{sides[0]} incidents in {sides[1]} h before, {sides[2]} in {sides[3]} h")


def test_too_early_says_the_hours_still_needed():
    judgement = judged((14, 4900, 0, 95))
    assert judgement.hours_needed == pytest.approx(1382, abs=1)
    assert "About 1382 h more, free of incidents, are needed before that means fewer." in judgement.reasons
    assert "95 h after are fewer than the 2450 h that the rule asks for." in judgement.reasons


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (
            {"n_detectors": 0},
            "No switch and no logged station stands in the effect zone: incidents there are not seen.",
        ),
        ({"coverage_before": 0.79}, "Running hours are known for 79 % of the period before; 80 % are needed."),
        ({"coverage_after": 0.5}, "Running hours are known for 50 % of the period after; 80 % are needed."),
    ],
)
def test_what_cannot_be_judged_is_not_judged_however_clear_the_counts(changed, said):
    judgement = judged((29, 4800, 6, 4700), **changed)
    assert judgement.verdict is Verdict.CANNOT_BE_JUDGED
    assert judgement.reasons == (said,)
    assert judgement.hours_needed is None


def test_every_obstacle_is_named_and_the_limit_itself_is_enough():
    judgement = judged((0, 0, 6, 4700), n_detectors=0, coverage_before=0.0)
    assert len(judgement.reasons) == 3
    assert judgement.reasons[-1] == "There are no running hours before to compare with."
    assert judged((29, 4800, 6, 4700), coverage_before=0.8, coverage_after=0.8).verdict is Verdict.FEWER


def test_shown_to_change_little_needs_the_whole_interval_inside_the_margin():
    assert judged((600, 50_000, 590, 50_000)).verdict is Verdict.CHANGES_LITTLE
    assert judged((150, 50_000, 148, 50_000)).verdict is Verdict.NO_CLEAR_CHANGE
    # A small change that is certain counts as fewer even where it lies inside the margin.
    assert judged((20_000, 50_000, 18_500, 50_000)).verdict is Verdict.FEWER


def test_half_of_the_hours_before_are_enough_for_no_clear_change():
    assert judged((10, 4000, 5, 2000)).verdict is Verdict.NO_CLEAR_CHANGE
    assert judged((10, 4000, 5, 1999)).verdict is Verdict.TOO_EARLY


def test_nothing_on_either_side_and_nothing_after():
    assert judged((0, 4000, 0, 100)).verdict is Verdict.TOO_EARLY
    empty = judged((0, 4000, 0, 4000))
    assert empty.verdict is Verdict.NO_CLEAR_CHANGE
    assert "No incident on either side: nothing to compare." in empty.reasons
    fresh = judged((12, 4000, 0, 0))
    assert fresh.verdict is Verdict.TOO_EARLY
    assert fresh.hours_needed == pytest.approx((0.025 ** (-1 / 12) - 1) * 4000, rel=1e-6)


def test_rules_are_read_from_the_numbers_that_decide():
    assert len(RULE_TEXT) == 5
    strict = VerdictRules(level=0.9, least_coverage=0.95, margin=(0.9, 1.1), least_after_share=1.0)
    text = " ".join(rule_text(strict))
    assert all(part in text for part in ("95 %", "90 %", "0.9 and 1.1", "1 times"))
    ratio = compare_rates(10, 4000, 5, 3000, level=0.9)
    told = {"coverage_before": 1.0, "coverage_after": 1.0, "n_detectors": 2}
    assert judge(ratio, rules=strict, **told).verdict is Verdict.TOO_EARLY
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


def test_every_verdict_has_words_and_results_cannot_be_changed():
    assert [verdict.words for verdict in Verdict] == [
        "fewer incidents",
        "more incidents",
        "no clear change",
        "shown to change little",
        "too early to tell",
        "cannot be judged",
    ]
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


def test_fewer_needs_the_one_sided_limit_of_the_shrunk_answer_as_the_page_says():
    wet = (24, 4400, 8, 4100)
    assert judged(wet, shrunk=index(0.47, 0.2, 1.05)).verdict is Verdict.FEWER
    held = judged(wet, shrunk=index(0.55, 0.25, 1.25))
    assert held.verdict is Verdict.NO_CLEAR_CHANGE
    assert any("what chance and the untreated stretches explain does not" in each for each in held.reasons)
    worse = (16, 10500, 25, 7000)
    assert judged(worse, shrunk=index(1.9, 0.96, 3.8)).verdict is Verdict.MORE
    assert judged(worse, shrunk=index(1.5, 0.7, 3.0)).verdict is Verdict.NO_CLEAR_CHANGE
    assert "one-sided 95 % limit" in RULE_TEXT[1]
    assert "fewer in at most 5 % of cases, and more in at most 5 %" in RULE_TEXT[1]


def test_where_nothing_can_be_shrunk_the_comparison_must_agree_and_else_the_verdict_says_that_it_stands_alone():
    wet = (24, 4400, 8, 4100)
    held = judged(wet, compared=index(0.8, 0.4, 1.6))
    assert held.verdict is Verdict.NO_CLEAR_CHANGE
    agreed = judged(wet, compared=index(0.4, 0.2, 0.8))
    assert agreed.verdict is Verdict.FEWER
    assert "not for devices being put where it was worst" in agreed.reasons[2]
    # Where there is a shrunk answer, the comparison has no say.
    assert judged(wet, shrunk=index(0.4, 0.2, 0.8), compared=index(0.8, 0.4, 1.6)).verdict is Verdict.FEWER
    assert judged(wet).reasons[-1] == ALONE
    assert ALONE not in agreed.reasons


def test_shown_to_change_little_is_asked_of_the_allowed_answer_too():
    long = (600, 50_000, 590, 50_000)
    assert judged(long, shrunk=index(0.98, 0.85, 1.2)).verdict is Verdict.CHANGES_LITTLE
    assert judged(long, shrunk=index(0.98, 0.75, 1.2)).verdict is Verdict.NO_CLEAR_CHANGE
