"""The result of a survey follows the rules one by one."""

from __future__ import annotations

import doctest
import json
from dataclasses import replace

import pytest

from installs.calc import survey_lines, survey_place, survey_sheet, surveys
from installs.calc.clearance import PlacementLimits
from installs.calc.survey_lines import LineStanding, Walked, between, line_kept, missing_of
from installs.calc.survey_rules import HiddenCause, SurveyRule, SurveySeen
from installs.calc.survey_sheet import FrameLimits, spacing_line
from installs.calc.surveys import SurveyOutcome, judge_survey
from plant.calc.reasons import Reason

SHEET = PlacementLimits("T-1", "return", False, 900, 1600, 0.5, 4.5, clearance_below_mm=280, clearance_beside_mm=110)
FRAME = FrameLimits(1400, 1500, 60, 5, 13)
GOOD = Walked(
    strand="return",
    chainage_m=112,
    belt_length_m=260,
    is_reversing=False,
    speed_m_s=3.15,
    effect_length_m=50,
    wander_from_m=60,
    wander_to_m=120,
    belt_width_mm=1196,
    spacing_mm=1500,
    clearance_below_mm=320,
    clearance_drive_mm=130,
    clearance_off_mm=115,
    whole_range="yes",
    access="drive side walkway",
    has_lifting_point="yes",
    has_light="yes",
    guard_comes_off="no",
    n_stations_empty=6,
    n_stations_loaded=6,
    causes=dict.fromkeys(HiddenCause, "no_sign"),
)


def line_of(walked, rule, model=SHEET):
    return next(line for line in judge_survey(walked, model, FRAME).lines if line.rule == rule)


def test_a_place_that_meets_every_rule_fits():
    result = judge_survey(GOOD, SHEET, FRAME)
    assert (result.result, result.deciding, missing_of(result.lines)) == (SurveyOutcome.FITS, (), ())


@pytest.mark.parametrize(
    ("change", "rule", "result"),
    [
        ({"chainage_m": 300.0}, "chainage", SurveyOutcome.DOES_NOT_FIT),
        ({"strand": "carry", "chainage_m": 67.0}, "strand", SurveyOutcome.DOES_NOT_FIT),
        ({"is_reversing": True}, "direction", SurveyOutcome.DOES_NOT_FIT),
        ({"speed_m_s": 4.6}, "speed", SurveyOutcome.DOES_NOT_FIT),
        ({"belt_width_mm": 1640}, "width", SurveyOutcome.DOES_NOT_FIT),
        ({"belt_width_mm": None}, "width", SurveyOutcome.CONDITIONS),
        ({"spacing_mm": 1390}, "spacing", SurveyOutcome.DOES_NOT_FIT),
        ({"clearance_below_mm": 279}, "below", SurveyOutcome.DOES_NOT_FIT),
        ({"clearance_off_mm": 109}, "beside_off", SurveyOutcome.DOES_NOT_FIT),
        ({"clearance_drive_mm": None}, "beside_drive", SurveyOutcome.CONDITIONS),
        ({"whole_range": "no"}, "below", SurveyOutcome.CONDITIONS),
        ({"whole_range": ""}, "beside_off", SurveyOutcome.CONDITIONS),
        ({"chainage_m": 90.0}, "wander", SurveyOutcome.CONDITIONS),
        ({"chainage_m": 117.0}, "wander", SurveyOutcome.CONDITIONS),
        ({"chainage_m": 125.0}, "wander", SurveyOutcome.CONDITIONS),
        ({"chainage_m": 55.0}, "wander", SurveyOutcome.DOES_NOT_FIT),  # the return strand runs towards the tail
        ({"chainage_m": 180.0}, "wander", SurveyOutcome.DOES_NOT_FIT),  # 60 m before it, acts 50 m
        ({"wander_from_m": None}, "wander", SurveyOutcome.CONDITIONS),
        ({"obstructions": "cable tray"}, "obstructions", SurveyOutcome.CONDITIONS),
        ({"access": " "}, "access", SurveyOutcome.CONDITIONS),
        ({"has_lifting_point": "no"}, "lifting_point", SurveyOutcome.CONDITIONS),
        ({"has_light": ""}, "light", SurveyOutcome.CONDITIONS),
        ({"guard_comes_off": ""}, "guard", SurveyOutcome.CONDITIONS),
        ({"guard_comes_off": "yes", "guard_goes_back": "no"}, "guard", SurveyOutcome.DOES_NOT_FIT),
        ({"guard_comes_off": "yes"}, "guard", SurveyOutcome.CONDITIONS),
        ({"n_stations_loaded": 4}, "offsets_loaded", SurveyOutcome.CONDITIONS),
        ({"conditions": "only in the summer stop"}, "conditions", SurveyOutcome.CONDITIONS),
        ({"causes": {**GOOD.causes, "splice": "found"}}, "cause_splice", SurveyOutcome.DOES_NOT_FIT),
        ({"causes": {**GOOD.causes, "splice": "not_tested"}}, "cause_splice", SurveyOutcome.CONDITIONS),
    ],
)
def test_one_rule_decides(change, rule, result):
    found = judge_survey(replace(GOOD, **change), SHEET, FRAME)
    assert found.result is result
    assert rule in {line.rule for line in found.deciding}


def test_an_equal_guard_that_fits_back_is_fine():
    assert (
        judge_survey(replace(GOOD, guard_comes_off="yes", guard_goes_back="yes"), SHEET, FRAME).result
        is SurveyOutcome.FITS
    )


def test_a_cause_that_was_cured_is_fine():
    assert (
        judge_survey(replace(GOOD, causes={**GOOD.causes, "tension": "cured"}), SHEET, FRAME).result
        is SurveyOutcome.FITS
    )


def test_a_cause_is_cured_first_unless_a_reason_is_given():
    found = replace(GOOD, causes={**GOOD.causes, "loading": "found"})
    assert line_of(found, "cause_loading").why == (
        Reason(SurveyRule.CAUSE_FIRST, {"why": HiddenCause.LOADING.why_rule}),
    )
    overridden = replace(found, override_reason="the new chute comes in May")
    line = line_of(overridden, "cause_loading")
    assert line.standing is LineStanding.CONDITION
    assert line.why == (Reason(SurveyRule.CAUSE_OVERRIDDEN, {"reason": "the new chute comes in May"}),)
    assert judge_survey(overridden, SHEET, FRAME).result is SurveyOutcome.CONDITIONS


def test_missing_tests_and_measures_are_named():
    bare = Walked("return", 112, 260, False, 3.15, 50)
    missing = {line.rule for line in missing_of(judge_survey(bare, SHEET, FRAME).lines)}
    assert missing == {
        "width", "below", "beside_drive", "beside_off", "spacing", "wander", "access", "lifting_point", "light",
        "guard", "offsets_empty", "offsets_loaded", *(f"cause_{cause}" for cause in HiddenCause),
    }  # fmt: skip


def test_a_sheet_that_states_nothing_says_so():
    result = judge_survey(GOOD, PlacementLimits("T-9", "return", False))
    assert result.result is SurveyOutcome.CONDITIONS
    unstated = {line.rule for line in result.lines if line.wanted.rule == SurveySeen.NOT_STATED}
    assert unstated == {
        "width", "speed", "spacing", "below", "beside_drive", "beside_off",
    }  # fmt: skip


def test_without_a_model_it_fits_at_most_with_conditions():
    result = judge_survey(GOOD, None)
    assert (result.result, [line.rule for line in result.deciding]) == (SurveyOutcome.CONDITIONS, ["model"])


def test_lines_are_kept_as_plain_json():
    lines = judge_survey(replace(GOOD, spacing_mm=1700, obstructions="cable tray"), SHEET, FRAME).lines
    rows = json.loads(json.dumps([line.kept() for line in lines]))
    assert tuple(line_kept(row) for row in rows) == lines
    assert {frozenset(row) for row in rows} == {frozenset(["rule", "verdict", "measured", "wanted", "why"])}


def test_an_unknown_cause_is_refused():
    with pytest.raises(ValueError, match="cause is 'ghost'"):
        judge_survey(replace(GOOD, causes={"ghost": "found"}), SHEET, FRAME)


@pytest.mark.parametrize(
    ("spacing", "standing"), [(1404, "not_met"), (1405, "met"), (1633, "met"), (1634, "not_met"), (None, "condition")]
)
def test_spacing_runs_from_the_shortest_frame_to_the_longest_drawn_out(spacing, standing):
    """1400 + 5 and 1500 + 13 + 2 x 60."""
    assert spacing_line(FRAME, spacing).standing == standing


def test_a_spacing_beyond_the_longest_frame_says_by_how_much():
    # 1500 + 13 + 2 x 60 = 1633 mm; 1640 is 7 mm more.
    line = spacing_line(FrameLimits(1400, 1500, 60, end_play_most_mm=13), 1640)
    assert line.why == (
        Reason(SurveyRule.SPACING_OVER, {"spacing_mm": 1640, "wanted": between(1400, 1633, "mm"), "by_mm": 7}),
    )


def test_a_wide_spacing_is_undecided_where_the_extension_is_not_stated():
    line = spacing_line(FrameLimits(1400, 1500), 1600)
    assert line.standing is LineStanding.CONDITION
    assert [each.rule for each in line.why] == [SurveyRule.SPACING_OVER, SurveyRule.EXTENSION_NOT_STATED]


def test_examples_run():
    for module in (surveys, survey_lines, survey_place, survey_sheet):
        assert doctest.testmod(module).failed == 0
