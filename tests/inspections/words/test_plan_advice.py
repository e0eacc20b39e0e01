"""What findings say of an interval, in words."""

from dataclasses import replace

import pytest

from inspections.calc.intervals import AdviceRule, CurveRule, IntervalAdvice, finding_curve
from inspections.selectors.plan_advice import Advice
from inspections.words.plan_advice import SAYS, TEXTS, change_words, curve_words, says_words, shortened_words
from plant.calc.reasons import Reason
from plant.models import Conveyor

CURVE = finding_curve([60.0] * 10, [False] * 9 + [True])
ADVICE = Advice(Conveyor.Duty.WET_ABRASIVE, 0.05, 10, CURVE, 28.0, CURVE.chance(28), 29, 11, CURVE.reasons)


def test_every_rule_has_a_text():
    assert set(TEXTS) == set(CurveRule)
    assert set(SAYS) == set(AdviceRule.__args__)


def test_how_the_curve_is_to_be_taken():
    assert curve_words(ADVICE) == (
        "A further day is taken to bring the same chance at every age: the findings show nothing else."
    )
    grown = replace(ADVICE, reasons=(Reason(CurveRule.GROWS, {"shape": 2.0}),))
    assert curve_words(grown) == "The chance of a further day grows with the age (shape 2.0)."
    few = replace(ADVICE, curve=None, reasons=(Reason(CurveRule.TOO_FEW_CHECKS, {"n": 3, "least": 5}),))
    assert curve_words(few) == "Only 3 checks are in the book; 5 are needed before anything can be said."
    assert (says_words(few), change_words(few)) == ("", "")


@pytest.mark.parametrize(
    ("says", "words"),
    [
        (IntervalAdvice("holds"), "At 28 days it is surely below 5 %, and no longer time was seen: it holds."),
        (IntervalAdvice("too_few"), "Too few findings to tell: at 28 days it may be above 5 % or below."),
        (
            IntervalAdvice("too_few", n_needed=72),
            "Too few checks to tell whether that is below 5 %: about 72 without act would tell. That none found act is"
            " no reason to shorten.",
        ),
    ],
)
def test_what_is_said_of_the_interval(says, words):
    assert says_words(replace(ADVICE, says=says)) == words


def test_the_reason_of_a_change_fits_the_history():
    words = change_words(ADVICE)
    assert words.startswith("Findings: 1 of 10 checks at act (")
    assert words.endswith("at most 5 % wanted")
    assert shortened_words([("season", 12), ("duty", 1)]) == "season: 12, wet or abrasive duty: 1"
