"""A job in words: each act and each line of it has a name."""

from __future__ import annotations

import pytest

from installs.models import HoldPoint
from installs.selectors.job_steps import ActRule, NextStep, Step, StepKind
from installs.words.job_steps import act_words, step_label, step_words
from plant.calc.units import UnitSystem


@pytest.mark.parametrize("rule", ActRule)
def test_every_act_can_be_said(rule):
    said = act_words(NextStep("page", rule, HoldPoint.Point.GUARDS, is_loaded=True))
    assert said
    assert "%" not in said


@pytest.mark.parametrize("kind", StepKind)
def test_every_line_of_a_job_has_a_name(kind):
    assert step_label(Step(kind, HoldPoint.Point.GUARDS, "open"))


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (StepKind.POINT, ()),
        (StepKind.FIT_UP, ("Nothing is measured yet.",)),
        (StepKind.TORQUES, ("The model names no fastener.",)),
        (StepKind.ADJUSTMENT, ()),
        (StepKind.RUN_AWAITED, ()),
        (StepKind.RUNS_OPEN, ()),
        (StepKind.ACCEPTANCE, ()),
        (StepKind.HAND_OVER, ()),
    ],
)
def test_an_open_line_says_only_what_is_missing(kind, words):
    assert step_words(Step(kind, HoldPoint.Point.GUARDS, "open"), UnitSystem.US) == words
