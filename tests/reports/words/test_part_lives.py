"""What ages at failure say, in words."""

from __future__ import annotations

from reports.calc.life import age_replacement, fit_weibull
from reports.words.part_lives import advice_words, fit_words


def test_too_few_failures_are_said_with_the_hours_of_all_parts():
    assert fit_words(fit_weibull([500, 900, 1200], [True, True, False])) == (
        "2 of 3 parts failed so far, in 2,600 running hours of all: from 3 failures at different ages on a life can be "
        "told."
    )


def test_a_fitted_life_says_what_is_shown_and_how_far_it_was_seen():
    life = fit_weibull([900, 1000, 1100, 1050, 950, 1200, 1200], [True, True, True, True, True, False, False])
    assert fit_words(life) == "Older parts fail more often: wear-out is shown."
    early = fit_weibull([54, 187, 216, 240, 500, 500, 500, 500], [True] * 4 + [False] * 4)
    assert fit_words(early) == (
        "Neither wear-out nor early failure is shown: the interval of the shape holds 1. No part is older than 500 h; "
        "what lies beyond is drawn on from there, not seen."
    )


def test_why_a_change_by_age_pays_or_does_not():
    assert advice_words(age_replacement(3, 1000, 5, 5).reason) == (
        "A failure costs no more than a planned change: wait for it."
    )
    assert advice_words(age_replacement(3, 1000, 1, 20).reason) == (
        "Wear-out makes a planned change cheaper than waiting."
    )
