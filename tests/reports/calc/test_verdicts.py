"""The verdict on counts before and after: the demo stories, the rules and their words, and how often they err."""

import dataclasses
import doctest

import numpy as np
import pytest

from plant.calc.rates import compare_rates, compare_rates_many
from reports.calc import verdicts
from reports.calc.bad_spells import SpellCheck
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.verdicts import (
    ALONE,
    RULE_TEXT,
    EffectVerdict,
    VerdictRules,
    direction,
    judge,
    limits_with_spells,
    rule_text,
)
from tests.reference.rate_ratio import STORIES


def judged(counts_and_hours, **changed):
    told = {"coverage_before": 1.0, "coverage_after": 1.0, "n_detectors": 1} | changed
    return judge(compare_rates(*counts_and_hours), **told)


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
            "No switch and no logged station stands in the effect zone: incidents there may go unseen.",
        ),
        ({"coverage_before": 0.79}, "Running hours are known for 79 % of the period before; 80 % are needed."),
        ({"coverage_after": 0.5}, "Running hours are known for 50 % of the period after; 80 % are needed."),
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
    assert judgement.reasons[-1] == "There are no running hours before to compare with."
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
    assert empty.reasons[-1] == "Without an incident before none can have become fewer."
    assert "No incident on either side: nothing to compare." in empty.reasons
    fresh = judged((12, 4000, 0, 0))
    assert fresh.verdict is EffectVerdict.TOO_EARLY
    assert fresh.hours_needed == pytest.approx((0.025 ** (-1 / 12) - 1) * 4000, rel=1e-6)


def test_rules_are_read_from_the_numbers_that_decide():
    assert len(RULE_TEXT) == 6
    strict = VerdictRules(level=0.9, least_coverage=0.95, margin=(0.9, 1.1), least_after_share=1.0)
    text = " ".join(rule_text(strict))
    assert all(part in text for part in ("95 %", "90 %", "0.9 and 1.1", "1 times"))
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


def test_every_verdict_has_words_and_results_cannot_be_changed():
    assert [verdict.words for verdict in EffectVerdict] == [
        "fewer incidents",
        "more incidents",
        "no clear change",
        "shown to change little",
        "too few incidents to tell",
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
    assert judged(wet, shrunk=index(0.47, 0.2, 1.05)).verdict is EffectVerdict.FEWER
    held = judged(wet, shrunk=index(0.55, 0.25, 1.25))
    assert held.verdict is EffectVerdict.NO_CLEAR_CHANGE
    assert any("what chance and the untreated stretches explain does not" in each for each in held.reasons)
    worse = (16, 10500, 25, 7000)
    assert judged(worse, shrunk=index(1.9, 0.96, 3.8)).verdict is EffectVerdict.MORE
    assert judged(worse, shrunk=index(1.5, 0.7, 3.0)).verdict is EffectVerdict.NO_CLEAR_CHANGE
    assert "one-sided 95 % limit" in RULE_TEXT[1]


def test_the_limit_that_decides_is_told_with_the_verdict_and_so_is_one_promise():
    wet = (24, 4400, 8, 4100)
    said = "With these allowances the one-sided 95 % limit, which decides beside it, is 0.92: below 1."
    assert judged(wet, shrunk=index(0.47, 0.2, 1.05)).reasons[-1] == said
    held = judged(wet, shrunk=index(0.55, 0.25, 1.25)).reasons
    assert "With these allowances the one-sided 95 % limit, which decides beside it, is 1.10: not below 1." in held
    worse = judged((16, 10500, 25, 7000), shrunk=index(1.9, 0.96, 3.8)).reasons
    assert worse[-1].endswith("is 1.07: above 1.")
    near = dataclasses.replace(index(0.47, 0.2, 1.05), high_one_sided=0.9973)
    assert judged(wet, shrunk=near).reasons[-1].endswith("is 0.997: below 1.")  # never "1.00: below 1"
    promises = [each for each in RULE_TEXT if "at most 5 %" in each]
    assert len(promises) == 1
    assert "fewer or more in at most 5 % of cases, both together" in promises[0]


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
        assert "would have been too few to say that they became fewer" in judgement.reasons[-1]


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


def test_where_nothing_can_be_shrunk_the_comparison_must_agree_and_else_the_verdict_says_that_it_stands_alone():
    wet = (24, 4400, 8, 4100)
    held = judged(wet, compared=index(0.8, 0.4, 1.6))
    assert held.verdict is EffectVerdict.NO_CLEAR_CHANGE
    agreed = judged(wet, compared=index(0.4, 0.2, 0.8))
    assert agreed.verdict is EffectVerdict.FEWER
    assert "not for devices being put where it was worst" in agreed.reasons[2]
    # Where there is a shrunk answer, the comparison has no say.
    assert judged(wet, shrunk=index(0.4, 0.2, 0.8), compared=index(0.8, 0.4, 1.6)).verdict is EffectVerdict.FEWER
    assert judged(wet).reasons[-1] == ALONE
    assert ALONE not in agreed.reasons


def test_shown_to_change_little_is_asked_of_the_allowed_answer_too():
    long = (600, 50_000, 590, 50_000)
    assert judged(long, shrunk=index(0.98, 0.85, 1.2)).verdict is EffectVerdict.CHANGES_LITTLE
    assert judged(long, shrunk=index(0.98, 0.75, 1.2)).verdict is EffectVerdict.NO_CLEAR_CHANGE
