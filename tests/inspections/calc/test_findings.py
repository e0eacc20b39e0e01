"""Whole checks: the worst reading decides, what the model does not state is said, what was not read is said."""

import doctest

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspections.calc import findings
from inspections.calc.findings import FastenerTarget, OwnField, find_own, find_pivot, find_sensor_wear, find_torque
from inspections.calc.grading import Grade, grade_torque

ROLLER = {"new_mm": 76.0, "limit_mm": 68.0}
FASTENERS = [FastenerTarget(f"clamp_{n}", f"clamp {n}", 100.0, 10.0) for n in (1, 2, 3)]


def test_examples():
    assert doctest.testmod(findings).failed == 0


def test_the_worse_side_decides_and_a_difference_is_a_finding_of_its_own():
    found = find_sensor_wear({"drive_diameter": 75.0, "off_diameter": 72.5}, **ROLLER)
    assert (found.parts["drive_diameter"].grade, found.parts["off_diameter"].grade) == (Grade.SOUND, Grade.SOUND)
    assert found.grade is Grade.WATCH
    assert found.reason == (
        "Permitted wear used: drive side 12.5 %, off side 43.8 %. The sides differ by 31.2 %: look for a seized pivot, "
        "a skewed frame or off-centre load."
    )


def test_a_roller_that_does_not_turn_is_act_at_any_diameter():
    found = find_sensor_wear({"drive_diameter": 76.0, "drive_state": "seized", "off_diameter": 76.0}, **ROLLER)
    assert found.grade is Grade.ACT
    assert "drive side 0 % (does not turn)" in found.reason


def test_what_the_model_does_not_state_is_said_and_the_rest_is_graded():
    found = find_sensor_wear({"drive_diameter": 70.0, "off_state": "flat_spot"}, new_mm=76, limit_mm=None)
    assert found.grade is Grade.ACT
    assert found.parts["drive_diameter"].grade is None
    assert found.reason.startswith("New or limit diameter not stated by the model, wear not graded: drive side 70 mm")
    assert find_sensor_wear({"drive_diameter": 70.0}, new_mm=None, limit_mm=None).grade is None


def test_one_side_alone_is_graded_and_the_other_named():
    assert find_sensor_wear({"off_diameter": 70.0}, **ROLLER).reason == (
        "Permitted wear used: drive side not read, off side 75 %."
    )
    assert find_sensor_wear({}, **ROLLER).reason == "No roller was read."


def test_a_pivot_with_and_without_its_force():
    assert find_pivot({"pivot": "free"}, limit_n=None).grade is Grade.SOUND
    assert find_pivot({"pivot": "free", "breakaway": 90.0}, limit_n=80).grade is Grade.WATCH
    assert find_pivot({"pivot": "stiff", "breakaway": 90.0}, limit_n=80).grade is Grade.ACT
    unstated = find_pivot({"pivot": "free", "breakaway": 90.0}, limit_n=None)
    assert unstated.grade is Grade.SOUND
    assert unstated.reason.endswith("It breaks away at 90 N; the model states no limit.")
    assert find_pivot({"breakaway": 90.0}, limit_n=80).grade is None


def test_fasteners_count_the_loose_name_the_lowest_and_those_not_read():
    found = find_torque({"clamp_1": 70, "clamp_2": 85}, {"clamp_1": 91, "clamp_2": 100}, FASTENERS)
    assert found.grade is Grade.ACT
    assert found.reason == (
        "1 of 2 loose, 1 more to watch. Lowest: clamp 1 at 70 % of its target. 1 not read. "
        "As left not surely within tolerance: clamp 1."
    )
    assert set(found.left) == {"clamp_1", "clamp_2"}
    assert find_torque({"clamp_1": 100}, {}, FASTENERS[:1]).reason == "1 within tolerance."
    assert find_torque({}, {"clamp_1": 100}, FASTENERS).reason == "No fastener was read."


def test_a_fastener_without_a_target_is_kept_and_not_graded():
    found = find_torque({"a": 50}, {}, [FastenerTarget("a", "bracket", None, 10)])
    assert (found.grade, found.reason) == (None, "1 not graded: the model states no target torque.")


@settings(suppress_health_check=[HealthCheck.too_slow])  # how fast the machine draws is not what is tested
@given(st.lists(st.floats(0, 200), min_size=3, max_size=3))
def test_a_torque_check_is_as_bad_as_its_worst_fastener(torques):
    found = find_torque(dict(zip(("clamp_1", "clamp_2", "clamp_3"), torques, strict=True)), {}, FASTENERS)
    assert found.grade is max(grade_torque(each, 100.0).grade for each in torques)


def test_own_kinds_say_which_reading_is_worst():
    fields = [
        OwnField("gap", "Gap", "number", watch_high=25, act_high=30),
        OwnField("dirt", "Build-up", "choice", grades={"no": "sound", "yes": "watch", "other": ""}),
    ]
    assert find_own({"gap": 19, "dirt": "no"}, fields).reason == "Within all limits."
    assert find_own({"gap": 19, "dirt": "yes"}, fields).reason == "Build-up: yes: watch."
    assert find_own({"gap": 31, "dirt": "yes"}, fields).grade is Grade.ACT
    assert find_own({"dirt": "other"}, fields).reason == "No limits are set for this check."
    assert find_own({}, fields).grade is None
    measured = [OwnField("gap", "Gap", "number", act_high=30, unit="mm")]
    assert find_own({"gap": 31}, measured).reason == "Gap: 31 mm is above 30 mm: act."
    with pytest.raises(ValueError, match="give one of sound, watch, act"):
        find_own({"dirt": "yes"}, [OwnField("dirt", "Build-up", "choice", grades={"no": "sound", "yes": "poor"})])


def test_the_station_furthest_off_counts_whichever_side():
    there = [findings.OffsetStation(code, f"{code} m, empty", 60) for code in ("a", "b", "c")]
    found = findings.find_offsets({"a": 12, "b": -66}, there)
    assert (found.grade, found.parts["a"].grade) == (Grade.ACT, Grade.SOUND)
    assert found.reason.startswith("Furthest off at b m, empty: 66 mm towards the off side")
    assert found.reason.endswith("1 of 3 not read.")
    assert findings.find_offsets({}, there).grade is None


def test_a_nut_past_its_mark_is_a_finding_apart_from_its_torque():
    readings = {"clamp_1": 100, "clamp_1_mark": "rotated", "clamp_2": 100, "clamp_2_mark": "in_line", "clamp_3": 100}
    found = find_torque(readings, {}, FASTENERS)
    assert found.parts["clamp_1"].grade is Grade.SOUND
    assert (found.parts["clamp_1_mark"].grade, found.parts["clamp_2_mark"].grade) == (Grade.ACT, Grade.SOUND)
    assert (found.grade, found.reason) == (Grade.ACT, "3 within tolerance. 1 turned past its witness mark: clamp 1.")
    alone = find_torque({"clamp_1_mark": "rotated", "clamp_3_mark": "rotated"}, {}, FASTENERS)
    assert alone.grade is Grade.ACT
    assert alone.reason == "3 not read. 2 turned past their witness marks: clamp 1, clamp 3."
    with pytest.raises(ValueError, match="give one of in_line, rotated"):
        find_torque({"clamp_1_mark": "somewhere"}, {}, FASTENERS)


def test_the_deviation_of_the_named_wrench_goes_into_both_verdicts():
    fine, coarse = (FastenerTarget("a", "clamp", 100.0, 10.0, pct) for pct in (4.0, 6.0))
    assert find_torque({"a": 84}, {"a": 94.5}, [fine]).parts["a"].rule == "torque_outside"
    doubtful = find_torque({"a": 84}, {"a": 94.5}, [coarse])
    assert doubtful.parts["a"].rule == "torque_maybe_loose"
    assert doubtful.reason.endswith("As left not surely within tolerance: clamp.")
