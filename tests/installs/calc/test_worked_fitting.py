"""One fitting from its place over the fit-up to its acceptance, with the figures that the trade works with.

tests/reference/fitting_practice.json: common practice, no source. Inches and feet are exact (NIST SP 811).
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from installs.calc.adjustments import Adjustment, Balance, judge_adjustment
from installs.calc.belt_cases import BeltCase, BeltPlace, SeenIncident
from installs.calc.clearance import Fit, PlacementLimits, clearance_lines, overall
from installs.calc.commissioning import judge_acceptance
from installs.calc.effect_zones import effect_zone
from installs.calc.fit_up import judge_fit_up
from installs.calc.fit_up_geometry import (
    adjusted,
    bracket_height,
    extension_each_side,
    frame_set_to,
    gaps_for,
    half_difference,
)
from installs.calc.fit_up_lines import Verdict
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.calc.placement_rules import PlacementRules
from installs.calc.trial_runs import Offset, Run, station_sides
from installs.calc.wander import into_the_wander, wandering_stretches
from installs.words.fit_up import why_words
from plant.calc.typed_quantities import parse_quantity
from plant.calc.units import QuantityKind, UnitSystem

PRACTICE = json.loads((Path(__file__).parents[2] / "reference" / "fitting_practice.json").read_text())
FOOT_M = 0.3048
SIXTEENTH_MM = 25.4 / 16
BELT_LENGTH_M, WANDER_FROM_M, WANDER_TO_M = 300.0, 100.0, 180.0


def mm(section, name):
    """A length of the reference, typed as on a tape."""
    return parse_quantity(PRACTICE[section][f"{name}_in"], QuantityKind.LENGTH_MM, UnitSystem.US).value


def feet_in_m(name):
    return float(PRACTICE["placement"][f"{name}_ft"]) * FOOT_M


def test_the_figures_say_that_they_have_no_source():
    assert PRACTICE["trust"] == "common practice, no source"


# --- the place --------------------------------------------------------------------------------------------------------
MODEL = PlacementLimits(
    "T-1", "return", False, 900, 1600, 0.5, 4.5,
    clearance_below_mm=mm("placement", "least_room_below"), clearance_beside_mm=0.0,
    clearance_along_mm=mm("placement", "least_room_along"),
)  # fmt: skip
HERE = BeltPlace(
    "return", 0.0, BELT_LENGTH_M, 1200, 2.5,
    clearance_below_mm=mm("placement", "least_room_below"), clearance_beside_mm=100.0,
    clearance_along_mm=mm("placement", "least_room_along"),
)  # fmt: skip


def test_room_of_33_in_along_and_17_in_down_fits_to_the_sixteenth():
    lines = {line.rule: line for line in clearance_lines(MODEL, HERE)}
    assert (lines["along"].least, lines["below"].least) == pytest.approx((838.2, 431.8))
    assert overall(lines.values()) is Fit.FITS
    for name, rule in (("clearance_along_mm", "along"), ("clearance_below_mm", "below")):
        tight = replace(HERE, **{name: getattr(HERE, name) - SIXTEENTH_MM})
        short = {line.rule: line for line in clearance_lines(MODEL, tight)}
        assert (short[rule].fit, overall(short.values())) == (Fit.DOES_NOT_FIT, Fit.DOES_NOT_FIT)
        assert short[rule].margin == pytest.approx(-SIXTEENTH_MM)
        unknown = {line.rule: line for line in clearance_lines(MODEL, replace(HERE, **{name: None}))}
        assert unknown[rule].fit is Fit.NOT_MEASURED


def test_a_model_that_states_no_room_along_is_not_asked_for_it():
    lines = clearance_lines(replace(MODEL, clearance_along_mm=None), replace(HERE, clearance_along_mm=None))
    assert "along" not in [line.rule for line in lines]
    assert overall(lines) is Fit.FITS


@pytest.mark.parametrize(("strand", "begins_m", "way"), [("carry", WANDER_FROM_M, 1), ("return", WANDER_TO_M, -1)])
def test_20_ft_into_the_wander_is_the_usual_place_and_reaches_150_to_200_ft(strand, begins_m, way):
    rules = PlacementRules()
    seen = tuple(SeenIncident(strand, at) for at in (WANDER_FROM_M, 120.0, 140.0, 160.0, WANDER_TO_M))
    belt = BeltCase(BELT_LENGTH_M, 1200, 2.5, False, hours=4000.0, incidents=seen)
    wanders = wandering_stretches(belt, strand, rules)
    device_m = begins_m + way * feet_in_m("into_the_wander")
    (depth,) = into_the_wander(wanders, strand, device_m, False, rules)
    assert (depth.fit, depth.distance_m) == (Fit.FITS, pytest.approx(6.096))
    (at_the_edge,) = into_the_wander(wanders, strand, begins_m, False, rules)
    assert at_the_edge.fit is Fit.CONDITION
    for name, length_m in (("effect_least", 45.72), ("effect_most", 60.96)):
        (zone,) = effect_zone(strand, device_m, feet_in_m(name), BELT_LENGTH_M)
        far_end = zone.high_m if way > 0 else zone.low_m
        near_end = zone.low_m if way > 0 else zone.high_m
        assert near_end == device_m
        assert abs(far_end - device_m) == pytest.approx(length_m)
        (side,) = station_sides(far_end, device_m, strand)
        assert side.side == "downstream"


# --- the fit-up -------------------------------------------------------------------------------------------------------
SPACING, PLAY, FRAME = (mm("extension", name) for name in ("bracket_spacing", "end_play", "frame_length"))
EACH_SIDE, SET_TO = mm("extension", "each_side"), mm("extension", "set_to")
LIFT, MARK_TO_TOP = mm("height", "belt_lift"), mm("height", "belt_mark_to_bracket_top")
GAP, NEAR, FAR = (mm("sensor_gaps", name) for name in ("belt_centred", "belt_to_one_side_near", "belt_to_one_side_far"))
MARK, BELT = 33.5 * 25.4, 47.0 * 25.4
SHEET = ModelFigures(
    frame_length_least_mm=46 * 25.4, frame_length_most_mm=60 * 25.4, extension_most_mm=6 * 25.4,
    end_play_least_mm=6.0, end_play_most_mm=19.0, roller_drop_mm=MARK_TO_TOP - LIFT, belt_lift_least_mm=6.0,
    belt_lift_most_mm=25.0, sensor_gap_mm=GAP, sensor_gap_tolerance_mm=6.0,
)  # fmt: skip
CENTRED = Measures(
    bracket_spacing_mm=SPACING, frame_length_mm=FRAME, end_play_mm=PLAY, extension_drive_mm=EACH_SIDE,
    extension_off_mm=EACH_SIDE, end_play_left_mm=PLAY, squareness_way="parallel", square_reference="scribed line",
    reference_was_checked=True, square_drive_mm=3048.0, square_off_mm=3048.0, centre_drive_mm=40.0,
    centre_off_mm=40.0 - mm("centring", "difference_of_both_sides"), belt_mark_drive_mm=MARK, belt_mark_off_mm=MARK,
    wanted_lift_mm=LIFT, bracket_height_drive_mm=MARK + MARK_TO_TOP, bracket_height_off_mm=MARK + MARK_TO_TOP,
    belt_width_mm=BELT, sensor_clear_mm=BELT + 2 * GAP, belt_off_by_mm=0.0, gap_drive_mm=GAP, gap_off_mm=GAP,
)  # fmt: skip


def judged(measures):
    return judge_fit_up(measures, SHEET)


def test_a_spacing_of_51_1_2_in_draws_a_frame_of_47_in_out_by_2_in_each_side_to_51_in():
    each = extension_each_side(SPACING, PLAY, FRAME)
    assert (each, frame_set_to(FRAME, each)) == pytest.approx((EACH_SIDE, SET_TO))
    assert pytest.approx(SET_TO) == SPACING - PLAY
    assert why_words(judged(CENTRED).line("extension_drive_mm"), UnitSystem.US) == (
        "(51 1/2 in spacing − 1/2 in end play − 47 in frame) / 2 = 2 in each side. The frame is set to 51 in over all."
    )


def test_from_belt_mark_to_bracket_top_are_3_1_2_in_for_half_an_inch_of_lift():
    drop = MARK_TO_TOP - LIFT
    assert drop == pytest.approx(3 * 25.4)
    assert bracket_height(MARK, LIFT, drop) - MARK == pytest.approx(MARK_TO_TOP)
    line = judged(CENTRED).line("bracket_height_drive_mm")
    assert (line.verdict, line.wanted) == (Verdict.WITHIN, pytest.approx(MARK + MARK_TO_TOP))
    assert "the belt is lifted by 1/2 in." in why_words(line, UnitSystem.US)


def test_centred_is_equal_on_both_sides():
    assert half_difference(CENTRED.centre_drive_mm, CENTRED.centre_off_mm) == 0
    assert judged(CENTRED).line("centre_mm").verdict is Verdict.WITHIN
    assert judged(replace(CENTRED, centre_off_mm=40.0 - 6.1)).line("centre_mm").verdict is Verdict.OUTSIDE


def test_gaps_are_3_4_in_centred_and_light_contact_with_1_1_2_in_to_one_side():
    assert gaps_for(2 * GAP, 0.0) == pytest.approx((GAP, GAP))
    assert gaps_for(2 * GAP, GAP) == pytest.approx((NEAR, FAR))
    to_one_side = replace(CENTRED, belt_lies_to="drive", belt_off_by_mm=GAP, gap_drive_mm=NEAR, gap_off_mm=FAR)
    for measures in (CENTRED, to_one_side):
        result = judged(measures)
        assert result.is_done, [(line.key, line.verdict, line.why) for line in result.lines]
        assert (result.to_do, result.warnings) == ((), ())
    # The same two gaps under a belt that is said to lie in the middle are set wrong.
    assert judged(replace(CENTRED, gap_drive_mm=NEAR, gap_off_mm=FAR)).line("gap_off_mm").verdict is Verdict.OUTSIDE


# --- commissioning ----------------------------------------------------------------------------------------------------
def test_the_adjustment_from_centred_to_one_side_keeps_the_sum_of_the_gaps():
    moved = Adjustment(in_drive_mm=GAP - NEAR, out_off_mm=FAR - GAP)
    assert moved.sum_change_mm == pytest.approx(0, abs=1e-9)
    assert judge_adjustment(moved) in (Balance.KEPT, Balance.WITHIN_READING)
    assert adjusted(GAP, GAP, moved.in_drive_mm) == pytest.approx((NEAR, FAR))
    # In on one side without out on the other: the far gap stays at 3/4 in and half the sum is gone.
    one_side = Adjustment(in_drive_mm=GAP - NEAR, out_off_mm=0.0)
    assert (judge_adjustment(one_side), one_side.sum_change_mm) == (Balance.CHANGED, pytest.approx(-GAP))


@pytest.mark.parametrize("strand", ["carry", "return"])
def test_a_run_with_stations_before_the_place_and_at_both_ends_of_the_reach_is_accepted(strand):
    way = 1 if strand == "carry" else -1
    device_m = 150.0
    stations = [device_m - way * feet_in_m("into_the_wander")]
    stations += [device_m + way * feet_in_m(name) for name in ("effect_least", "effect_most")]
    offsets = tuple(Offset(at, 10.0) for at in stations)
    asked = {"cycle": 1, "target_mm": 60.0, "device_m": device_m, "strand": strand, "revolution_s": 240.0}
    runs = [Run(1, False, 15, offsets), Run(1, True, 30, offsets)]
    assert judge_acceptance(runs, **asked).is_met
    only_reach = [replace(run, offsets=offsets[1:]) for run in runs]
    found = judge_acceptance(only_reach, **asked)
    assert [line.key for line in found.lines if line.verdict != "sound"] == ["empty-stations", "loaded-stations"]
