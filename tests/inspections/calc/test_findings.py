"""Whole checks: the worst reading decides, what the model does not state is said, what was not read is said."""

import doctest

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspections.calc import findings
from inspections.calc.findings import (
    FastenerTarget,
    FindingRule,
    FindingSeen,
    OwnField,
    find_own,
    find_pivot,
    find_sensor_wear,
    find_torque,
)
from inspections.calc.grading import Grade, GradeRule, grade_torque
from installs.calc.fasteners import AsLeftRule

ROLLER = {"new_mm": 76.0, "limit_mm": 68.0}
FASTENERS = [FastenerTarget(f"clamp_{n}", f"clamp {n}", 100.0, 10.0) for n in (1, 2, 3)]


def parts(finding):
    """Rules and values of a finding, one after the other."""
    each = finding.reason.values["parts"] if finding.reason.rule == FindingRule.TOGETHER else [finding.reason]
    return [(one.rule, dict(one.values)) for one in each]


def rules(finding):
    return [rule for rule, _values in parts(finding)]


def test_examples():
    assert doctest.testmod(findings).failed == 0


def test_the_worse_side_decides_and_a_difference_is_a_finding_of_its_own():
    found = find_sensor_wear({"drive_diameter": 75.0, "off_diameter": 72.5}, **ROLLER)
    assert (found.parts["drive_diameter"].grade, found.parts["off_diameter"].grade) == (Grade.SOUND, Grade.SOUND)
    assert found.grade is Grade.WATCH
    (used, sides), differ = parts(found)
    assert used == FindingRule.WEAR_USED
    assert (sides["drive"].values["share_pct"], sides["off"].values["share_pct"]) == (12.5, 43.8)
    assert differ == (FindingRule.SIDES_DIFFER, {"apart_pct": 31.2})


def test_a_roller_that_does_not_turn_is_act_at_any_diameter():
    found = find_sensor_wear({"drive_diameter": 76.0, "drive_state": "seized", "off_diameter": 76.0}, **ROLLER)
    assert found.grade is Grade.ACT
    ((_rule, sides),) = parts(found)
    assert sides["drive"].values["seen"] == FindingSeen.SEIZED
    assert sides["drive"].values["said"].values["share_pct"] == 0


def test_what_the_model_does_not_state_is_said_and_the_rest_is_graded():
    found = find_sensor_wear({"drive_diameter": 70.0, "off_state": "flat_spot"}, new_mm=76, limit_mm=None)
    assert found.grade is Grade.ACT
    assert found.parts["drive_diameter"].grade is None
    assert found.reason.rule == FindingRule.WEAR_NOT_GRADED
    assert found.reason.values["drive"].values["diameter_mm"] == 70
    assert find_sensor_wear({"drive_diameter": 70.0}, new_mm=None, limit_mm=None).grade is None


def test_one_side_alone_is_graded_and_the_other_named():
    ((_rule, sides),) = parts(find_sensor_wear({"off_diameter": 70.0}, **ROLLER))
    assert (sides["drive"].rule, sides["off"].values["share_pct"]) == (FindingRule.SIDE_NOT_READ, 75)
    assert rules(find_sensor_wear({}, **ROLLER)) == [FindingRule.NO_ROLLER]


def test_a_pivot_with_and_without_its_force():
    assert find_pivot({"pivot": "free"}, limit_n=None).grade is Grade.SOUND
    assert find_pivot({"pivot": "free", "breakaway": 90.0}, limit_n=80).grade is Grade.WATCH
    assert find_pivot({"pivot": "stiff", "breakaway": 90.0}, limit_n=80).grade is Grade.ACT
    unstated = find_pivot({"pivot": "free", "breakaway": 90.0}, limit_n=None)
    assert unstated.grade is Grade.SOUND
    assert (unstated.reason.rule, unstated.reason.values["force_n"]) == (FindingRule.PIVOT_NO_LIMIT, 90)
    assert find_pivot({"breakaway": 90.0}, limit_n=80).grade is None


def test_fasteners_count_the_loose_name_the_lowest_and_those_not_read():
    found = find_torque({"clamp_1": 70, "clamp_2": 85}, {"clamp_1": 91, "clamp_2": 100}, FASTENERS)
    assert found.grade is Grade.ACT
    assert parts(found) == [
        (FindingRule.LOOSE_AND_WATCH, {"n": 1, "of": 2, "watch": 1}),
        (FindingRule.LOWEST, {"fastener": "clamp 1", "share_pct": 70.0}),
        (FindingRule.NOT_READ, {"n": 1}),
        (FindingRule.LEFT_IN_DOUBT, {"fasteners": "clamp 1"}),
    ]
    left = {code: (each.rule, each.values["left_nm"]) for code, each in found.left.items()}
    assert left == {"clamp_1": (AsLeftRule.UNDECIDED, 91), "clamp_2": (AsLeftRule.WITHIN, 100)}
    assert parts(find_torque({"clamp_1": 100}, {}, FASTENERS[:1])) == [(FindingRule.ALL_WITHIN, {"n": 1})]
    assert rules(find_torque({}, {"clamp_1": 100}, FASTENERS)) == [FindingRule.NO_FASTENER]


def test_a_fastener_without_a_target_is_kept_and_not_graded():
    found = find_torque({"a": 50}, {}, [FastenerTarget("a", "bracket", None, 10)])
    assert (found.grade, parts(found)) == (None, [(FindingRule.NOT_GRADED, {"n": 1})])


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
    assert find_own({"gap": 19, "dirt": "no"}, fields).reason.rule == FindingRule.WITHIN_ALL_LIMITS
    worst = find_own({"gap": 19, "dirt": "yes"}, fields).reason
    assert (worst.rule, worst.values["field"]) == (FindingRule.OF_FIELD, "Build-up")
    assert (worst.values["reason"].rule, worst.values["reason"].values) == (GradeRule.CHOICE_WATCH, {"answer": "yes"})
    assert find_own({"gap": 31, "dirt": "yes"}, fields).grade is Grade.ACT
    assert find_own({"dirt": "other"}, fields).reason.rule == GradeRule.LIMITS_NONE
    assert find_own({}, fields).grade is None
    measured = [OwnField("gap", "Gap", "number", act_high=30, kind="mm")]
    assert find_own({"gap": 31}, measured).reason.values["reason"].values == {"found_mm": 31, "limit_mm": 30}
    with pytest.raises(ValueError, match="give one of sound, watch, act"):
        find_own({"dirt": "yes"}, [OwnField("dirt", "Build-up", "choice", grades={"no": "sound", "yes": "poor"})])


def test_the_station_furthest_off_counts_whichever_side():
    there = [findings.OffsetStation(code, at, False, 60) for code, at in (("a", 50), ("b", 80), ("c", 90))]
    found = findings.find_offsets({"a": 12, "b": -66}, there)
    assert (found.grade, found.parts["a"].grade) == (Grade.ACT, Grade.SOUND)
    (furthest, where), missing = parts(found)
    assert (furthest, where["at_m"], where["load"]) == (FindingRule.FURTHEST_OFF, 80, FindingSeen.EMPTY)
    assert where["offset"].values["share_pct"] == 110
    assert missing == (FindingRule.STATIONS_NOT_READ, {"n": 1, "of": 3})
    assert findings.find_offsets({}, there).grade is None


def test_a_nut_past_its_mark_is_a_finding_apart_from_its_torque():
    readings = {"clamp_1": 100, "clamp_1_mark": "rotated", "clamp_2": 100, "clamp_2_mark": "in_line", "clamp_3": 100}
    found = find_torque(readings, {}, FASTENERS)
    assert found.parts["clamp_1"].grade is Grade.SOUND
    assert (found.parts["clamp_1_mark"].grade, found.parts["clamp_2_mark"].grade) == (Grade.ACT, Grade.SOUND)
    assert found.grade is Grade.ACT
    turned = (FindingRule.MARK_TURNED, {"n": 1, "fasteners": "clamp 1"})
    assert parts(found) == [(FindingRule.ALL_WITHIN, {"n": 3}), turned]
    alone = find_torque({"clamp_1_mark": "rotated", "clamp_3_mark": "rotated"}, {}, FASTENERS)
    assert alone.grade is Grade.ACT
    both = (FindingRule.MARKS_TURNED, {"n": 2, "fasteners": "clamp 1, clamp 3"})
    assert parts(alone) == [(FindingRule.NOT_READ, {"n": 3}), both]
    with pytest.raises(ValueError, match="give one of in_line, rotated"):
        find_torque({"clamp_1_mark": "somewhere"}, {}, FASTENERS)


def test_the_deviation_of_the_named_wrench_goes_into_both_verdicts():
    fine, coarse = (FastenerTarget("a", "clamp", 100.0, 10.0, pct) for pct in (4.0, 6.0))
    assert find_torque({"a": 84}, {"a": 94.5}, [fine]).parts["a"].rule == GradeRule.TORQUE_OUTSIDE
    doubtful = find_torque({"a": 84}, {"a": 94.5}, [coarse])
    assert doubtful.parts["a"].rule == GradeRule.TORQUE_MAYBE_LOOSE
    assert parts(doubtful)[-1] == (FindingRule.LEFT_IN_DOUBT, {"fasteners": "clamp"})
