"""The result of a survey follows the rules one by one."""

from __future__ import annotations

import doctest
from dataclasses import replace

import pytest

from installs.calc import surveys
from installs.calc.placement import PlacementLimits
from installs.calc.surveys import (
    CAUSES,
    FrameLimits,
    Result,
    Standing,
    Walked,
    as_reasons,
    judge_survey,
    missing_of,
    spacing_line,
)

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
    causes={each.cause: "no_sign" for each in CAUSES},
)


def line_of(walked, rule, model=SHEET):
    return next(line for line in judge_survey(walked, model, FRAME).lines if line.rule == rule)


def test_a_place_that_meets_every_rule_fits():
    result = judge_survey(GOOD, SHEET, FRAME)
    assert (result.result, result.deciding, missing_of(result.lines)) == (Result.FITS, (), [])


@pytest.mark.parametrize(
    ("change", "rule", "result"),
    [
        ({"chainage_m": 300.0}, "chainage", Result.DOES_NOT_FIT),
        ({"strand": "carry", "chainage_m": 67.0}, "strand", Result.DOES_NOT_FIT),
        ({"is_reversing": True}, "direction", Result.DOES_NOT_FIT),
        ({"speed_m_s": 4.6}, "speed", Result.DOES_NOT_FIT),
        ({"belt_width_mm": 1640}, "width", Result.DOES_NOT_FIT),
        ({"belt_width_mm": None}, "width", Result.CONDITIONS),
        ({"spacing_mm": 1390}, "spacing", Result.DOES_NOT_FIT),
        ({"clearance_below_mm": 279}, "below", Result.DOES_NOT_FIT),
        ({"clearance_off_mm": 109}, "beside_off", Result.DOES_NOT_FIT),
        ({"clearance_drive_mm": None}, "beside_drive", Result.CONDITIONS),
        ({"whole_range": "no"}, "below", Result.CONDITIONS),
        ({"whole_range": ""}, "beside_off", Result.CONDITIONS),
        ({"chainage_m": 90.0}, "wander", Result.CONDITIONS),
        ({"chainage_m": 117.0}, "wander", Result.CONDITIONS),
        ({"chainage_m": 125.0}, "wander", Result.CONDITIONS),
        ({"chainage_m": 55.0}, "wander", Result.DOES_NOT_FIT),  # the return strand runs towards the tail
        ({"chainage_m": 180.0}, "wander", Result.DOES_NOT_FIT),  # 60 m before it, acts 50 m
        ({"wander_from_m": None}, "wander", Result.CONDITIONS),
        ({"obstructions": "cable tray"}, "obstructions", Result.CONDITIONS),
        ({"access": " "}, "access", Result.CONDITIONS),
        ({"has_lifting_point": "no"}, "lifting_point", Result.CONDITIONS),
        ({"has_light": ""}, "light", Result.CONDITIONS),
        ({"guard_comes_off": ""}, "guard", Result.CONDITIONS),
        ({"guard_comes_off": "yes", "guard_goes_back": "no"}, "guard", Result.DOES_NOT_FIT),
        ({"guard_comes_off": "yes"}, "guard", Result.CONDITIONS),
        ({"n_stations_loaded": 4}, "offsets_loaded", Result.CONDITIONS),
        ({"conditions": "only in the summer stop"}, "conditions", Result.CONDITIONS),
        ({"causes": {**GOOD.causes, "splice": "found"}}, "cause_splice", Result.DOES_NOT_FIT),
        ({"causes": {**GOOD.causes, "splice": "not_tested"}}, "cause_splice", Result.CONDITIONS),
    ],
)
def test_one_rule_decides(change, rule, result):
    found = judge_survey(replace(GOOD, **change), SHEET, FRAME)
    assert found.result is result
    assert rule in {line.rule for line in found.deciding}


def test_an_equal_guard_that_fits_back_is_fine():
    assert judge_survey(replace(GOOD, guard_comes_off="yes", guard_goes_back="yes"), SHEET, FRAME).result is Result.FITS


def test_a_cause_that_was_cured_is_fine():
    assert judge_survey(replace(GOOD, causes={**GOOD.causes, "tension": "cured"}), SHEET, FRAME).result is Result.FITS


def test_a_cause_is_cured_first_unless_a_reason_is_given():
    found = replace(GOOD, causes={**GOOD.causes, "loading": "found"})
    assert line_of(found, "cause_loading").words.startswith("Cure it first.")
    overridden = replace(found, override_reason="the new chute comes in May")
    line = line_of(overridden, "cause_loading")
    assert line.standing is Standing.CONDITION
    assert "the new chute comes in May" in line.words
    assert judge_survey(overridden, SHEET, FRAME).result is Result.CONDITIONS


def test_missing_tests_and_measures_are_named():
    bare = Walked("return", 112, 260, False, 3.15, 50)
    missing = missing_of(judge_survey(bare, SHEET, FRAME).lines)
    assert {"Belt width, measured here", "Clearance below", "Access", "Guard", "Belt offset, empty"} <= set(missing)
    assert sum(each.startswith("Cause: ") for each in missing) == 9


def test_a_sheet_that_states_nothing_says_so():
    result = judge_survey(GOOD, PlacementLimits("T-9", "return", False))
    assert result.result is Result.CONDITIONS
    unstated = {line.rule for line in result.lines if line.wanted == "not stated"}
    assert unstated == {
        "width", "speed", "spacing", "below", "beside_drive", "beside_off",
    }  # fmt: skip


def test_without_a_model_it_fits_at_most_with_conditions():
    result = judge_survey(GOOD, None)
    assert (result.result, [line.rule for line in result.deciding]) == (Result.CONDITIONS, ["model"])


def test_the_guide_tells_of_every_cause_how_and_why():
    assert len(CAUSES) == 9
    assert all(each.how and each.why_first and each.signature for each in CAUSES)


def test_reasons_are_plain():
    rows = as_reasons(judge_survey(GOOD, SHEET, FRAME).lines)
    assert {frozenset(row) for row in rows} == {frozenset(["rule", "label", "measured", "wanted", "verdict", "words"])}


def test_an_unknown_cause_is_refused():
    with pytest.raises(ValueError, match="cause is 'ghost'"):
        judge_survey(replace(GOOD, causes={"ghost": "found"}), SHEET, FRAME)


@pytest.mark.parametrize(
    ("spacing", "standing"), [(1404, "not_met"), (1405, "met"), (1633, "met"), (1634, "not_met"), (None, "condition")]
)
def test_spacing_runs_from_the_shortest_frame_to_the_longest_drawn_out(spacing, standing):
    """1400 + 5 and 1500 + 13 + 2 x 60."""
    assert spacing_line(FRAME, spacing).standing == standing


def test_a_wide_spacing_is_undecided_where_the_extension_is_not_stated():
    assert spacing_line(FrameLimits(1400, 1500), 1600).standing is Standing.CONDITION


def test_examples_run():
    assert doctest.testmod(surveys).failed == 0
