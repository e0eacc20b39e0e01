"""Grades against a table worked by hand (the page's script is held to the same table) and what must always hold."""

import doctest
import itertools
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.calc import grading, plausible
from inspections.calc.grading import (
    Aside,
    Grade,
    grade_choice,
    grade_limits,
    grade_offset,
    grade_pivot,
    grade_sensor_pair,
    grade_sensor_wear,
    grade_torque,
    worst,
)
from inspections.calc.phone_rules import grading_rules
from inspections.calc.plausible import PlausibleRule, implausible
from installs.calc.fasteners import judge_as_left, torque_band

TABLE = json.loads((Path(__file__).parents[2] / "reference" / "grading_cases.json").read_text())
CASES = TABLE["cases"]


def of_kind(*kinds):
    cases = [case for case in CASES if case["kind"] in kinds]
    return pytest.mark.parametrize("case", cases, ids=lambda case: f"{case['kind']} {list(case['given'].values())}")


def positional(given, *names):
    """The named values first, the rest by name, as the functions take them."""
    return [given[name] for name in names], {name: value for name, value in given.items() if name not in names}


GRADERS = {
    "sensor_wear": (grade_sensor_wear, ("diameter_mm", "new_mm", "limit_mm")),
    "pivot": (grade_pivot, ("state",)),
    "torque": (grade_torque, ("as_found_nm", "target_nm")),
    "limits": (grade_limits, ("value",)),
    "offset": (grade_offset, ("offset_mm", "permitted_mm")),
    "choice": (grade_choice, ("value", "grades")),
}


def test_examples():
    assert doctest.testmod(grading).failed == doctest.testmod(plausible).failed == 0


def test_the_table_is_large_and_covers_every_named_rule():
    assert len(CASES) >= 60
    named = {rule for kind in grading_rules().values() if isinstance(kind, dict) for rule in kind.get("rules", {})}
    assert named == {case["rule"] for case in CASES if "rule" in case}


@of_kind(*GRADERS)
def test_grades_of_the_table(case):
    grader, names = GRADERS[case["kind"]]
    values, options = positional(case["given"], *names)
    found = grader(*values, **options)
    assert (found.grade, found.rule) == (case["grade"], case["rule"])
    assert found.share == (None if case["share"] is None else pytest.approx(case["share"], abs=TABLE["tolerance"]))
    assert found.sure is case.get("sure", True)


@of_kind("sensor_pair")
def test_pairs_of_the_table(case):
    values, options = positional(case["given"], "drive_mm", "off_mm", "new_mm", "limit_mm")
    found = grade_sensor_pair(*values, **options)
    parts = (found.drive.grade, found.off.grade, found.difference.grade, found.grade)
    assert parts == (case["drive"], case["off"], case["difference"], case["grade"])
    assert found.difference.rule == case["rule"]
    assert found.difference.share == pytest.approx(case["share"], abs=TABLE["tolerance"])


@of_kind("as_left")
def test_verdicts_as_left_of_the_table(case):
    values, options = positional(case["given"], "as_left_nm", "target_nm")
    assert judge_as_left(*values, **options).verdict == case["verdict"]


@of_kind("implausible")
def test_questions_of_the_table(case):
    values, options = positional(case["given"], "value")
    asked = implausible(*values, **options)
    assert (asked is None) is (case["asks"] is None)  # in which words: tests/inspections/words/test_grading.py


def test_the_published_rules_name_the_grade_that_each_rule_gives():
    for kind in grading_rules().values():
        if isinstance(kind, dict):
            for rule, grade in kind.get("rules", {}).items():
                seen = {case.get("difference", case["grade"]) for case in CASES if case.get("rule") == rule}
                assert grade is None or seen == {grade}, rule
    assert json.loads(json.dumps(grading_rules())) == grading_rules()


# ISO 14253-1 / JCGM 106, idea of a guard band (from memory); arithmetic by hand: limit times 1 +/- w.
@pytest.mark.parametrize(
    ("tool", "inside_from", "inside_to", "below", "loose", "maybe_loose"),
    [(4, 93.6, 105.6, 86.4, 76.8, 83.2), (6, 95.4, 103.4, 84.6, 75.2, 84.8), (0, 90, 110, 90, 80, 80)],
)
def test_guard_band_of_a_tool(tool, inside_from, inside_to, below, loose, maybe_loose):
    band = torque_band(100, tolerance_pct=10, tool_deviation_pct=tool)
    assert (band.surely_inside_from, band.surely_inside_to) == pytest.approx((inside_from, inside_to))
    assert band.surely_below_below == pytest.approx(below)
    assert (band.surely_loose_below, band.maybe_loose_below) == pytest.approx((loose, maybe_loose))


@given(st.floats(0, 200), st.floats(0, 15), st.floats(-1, 1))
def test_whatever_the_tool_hides_a_sure_torque_is_truly_where_it_is_said_to_be(reading, tool, place):
    """Every true torque that this reading can mean agrees with a sure grade."""
    found = grade_torque(reading, 100, tool_deviation_pct=tool)
    true = reading / (1 + place * tool / 100)
    if found.sure and found.grade is Grade.ACT:
        assert true < 80 + 1e-6
    elif found.sure and found.grade is Grade.SOUND:
        assert 90 - 1e-6 <= true <= 110 + 1e-6
    elif found.sure:
        assert 80 - 1e-6 <= true < 90 + 1e-6 or true > 110 - 1e-6
    if judge_as_left(reading, 100, tool_deviation_pct=tool).verdict == "within":
        assert 90 - 1e-6 <= true <= 110 + 1e-6


def test_a_torque_says_what_its_tool_can_tell():
    told = [grade_torque(found, 100).reason.values["told"] for found in (70, 79, 88.0, 95.0)]
    assert [each.rule for each in told] == [Aside.SURE, Aside.UNDECIDED_BETWEEN, Aside.UNDECIDED, Aside.SURE]
    assert told[1].values == {"low_nm": 76.8, "high_nm": 83.2}
    maybe = grade_torque(82, 100).reason
    assert (maybe.values["place"], maybe.values["up_to_nm"]) == (Aside.BELOW, 83.2)


@given(st.floats(0.1, 200), st.floats(0.1, 200))
def test_more_wear_is_never_a_better_grade(one, other):
    smaller, larger = sorted((one, other))
    assert grade_sensor_wear(smaller, 76, 68).grade >= grade_sensor_wear(larger, 76, 68).grade


@given(st.floats(1, 90), st.floats(1, 90))
def test_a_pair_is_as_bad_as_its_worse_side_and_the_sides_may_change_over(drive, off):
    pair, turned = grade_sensor_pair(drive, off, 76, 68), grade_sensor_pair(off, drive, 76, 68)
    assert pair.grade == turned.grade
    assert pair.grade >= max(pair.drive.grade, pair.off.grade)
    assert pair.difference.share == turned.difference.share


def test_the_one_sided_finding_names_the_worn_side():
    assert grade_sensor_pair(70, 75, 76, 68).difference.reason.values["side"] == Aside.DRIVE_SIDE
    assert grade_sensor_pair(75, 70, 76, 68).difference.reason.values["side"] == Aside.OFF_SIDE


def test_grades_order_from_sound_to_act_and_read_as_text():
    assert sorted(["act", "sound", "watch"], key=Grade) == ["sound", "watch", "act"]
    for worse, better in itertools.combinations(reversed(Grade), 2):
        assert better < worse
        assert better <= worse
        assert worse > better
        assert worse >= better
    assert Grade.ACT == "act"
    assert f"{Grade.WATCH}" == "watch"
    assert worst(["watch", None][1:]) is None
    assert worst([Grade.WATCH, None, Grade.ACT, Grade.SOUND]) is Grade.ACT
    assert worst([Grade.SOUND, Grade.WATCH]) is Grade.WATCH


def test_a_question_names_what_it_read_by_its_unit():
    assert implausible(2.9, 73.9, quantity="diameter").values == {"found_mm": 2.9, "meant_mm": pytest.approx(73.66)}
    asked = implausible(2_500_000.0, quantity="torque", low=0, high=187.5)
    assert (asked.rule, dict(asked.values)) == (PlausibleRule.ABOVE_MOST, {"found_nm": 2_500_000.0, "limit_nm": 187.5})
    assert grade_limits(1, act_low=2).reason.values == {"found": 1, "limit": 2}


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: grade_sensor_wear(0, 76, 68), "diameter_mm is 0 mm; give a number above 0 mm"),
        (
            lambda: grade_sensor_wear(70, 68, 76),
            "limit_mm is 76 mm and new_mm 68 mm; give a limit below the new diameter",
        ),
        (lambda: grade_sensor_wear(70, 76, 68, watch_share=50), "watch_share is 50 and act_share 0.8; give 0 <"),
        (
            lambda: grade_sensor_pair(70, 70, 76, 68, difference_share=30),
            "difference_share is 30; give a share above 0",
        ),
        (lambda: grade_pivot("loose"), "state is 'loose'; give one of free, stiff, seized"),
        (lambda: grade_pivot("free", breakaway_n=-1), "breakaway_n is -1 N; give a force from 0 N up"),
        (lambda: grade_pivot("free", breakaway_n=1, limit_n=0), "limit_n is 0 N; give a number above 0 N"),
        (lambda: grade_torque(-1, 100), "as_found_nm is -1 N·m; give a torque from 0 N·m up"),
        (lambda: grade_torque(90, 0), "target_nm is 0 N·m; give a number above 0 N·m"),
        (lambda: grade_torque(90, 100, tolerance_pct=0), "tolerance_pct is 0 %; give above 0 and below 100 %"),
        (lambda: grade_torque(90, 100, tool_deviation_pct=50), "tool_deviation_pct is 50 %; give 0 to below 50 %"),
        (
            lambda: grade_torque(90, 100, loose_share=0.95),
            "loose_share is 0.95; give a share above 0 and not above 0.9",
        ),
        (lambda: judge_as_left(float("nan"), 100), "as_left_nm is nan N·m; give a torque from 0 N·m up"),
        (lambda: judge_as_left(100, 100, tolerance_pct=0), "tolerance_pct is 0 %; give above 0"),
        (lambda: grade_limits(float("inf"), act_high=1), "value is inf; give a finite number"),
        (
            lambda: grade_limits(1, watch_high=8, act_high=5),
            "watch_high is 8 and act_high 5; give watch_high not above",
        ),
        (lambda: grade_choice("wet", {"dry": "sound"}), "value is 'wet'; give one of dry"),
        (lambda: grade_choice("dry", {"dry": "fine"}), "grade of 'dry' is 'fine'; give one of sound, watch, act"),
        (lambda: implausible(-1), "value is -1; give a finite number from 0 up"),
    ],
)
def test_wrong_input_is_named_with_what_is_allowed(call, said):
    with pytest.raises(ValueError, match="give") as refused:
        call()
    assert said in str(refused.value)


def test_wide_tolerances_are_judged_as_left_too():
    assert judge_as_left(75, 100, tolerance_pct=30).verdict == "within"
    assert judge_as_left(65, 100, tolerance_pct=30).verdict == "outside"
