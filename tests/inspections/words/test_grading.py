"""Grades, questions and findings in words: each rule has its text, and each person reads their own units."""

import json
from itertools import chain
from pathlib import Path

import pytest

from inspections.calc.findings import (
    FastenerTarget,
    FindingRule,
    FindingSeen,
    OffsetStation,
    OwnField,
    find_offsets,
    find_own,
    find_pivot,
    find_sensor_wear,
    find_torque,
)
from inspections.calc.grading import Aside, GradeRule, grade_limits, grade_sensor_pair, grade_torque
from inspections.calc.plausible import PlausibleRule, implausible
from inspections.words.grading import TEXTS, because_words, grade_words
from installs.calc.fasteners import AsLeftRule
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem

CASES = json.loads((Path(__file__).parents[2] / "reference" / "grading_cases.json").read_text())["cases"]
METRIC, US = UnitSystem.METRIC, UnitSystem.US
ROLLER = {"new_mm": 76.0, "limit_mm": 68.0}
FASTENERS = [FastenerTarget(f"clamp_{n}", f"clamp {n}", 100.0, 10.0) for n in (1, 2, 3)]
HERE = [OffsetStation("a", 50, False, 60), OffsetStation("b", 80, True, 60), OffsetStation("c", 90, True, 60)]


def test_every_rule_and_every_word_has_one_text():
    assert set(TEXTS) == set(chain(GradeRule, Aside, PlausibleRule, FindingRule, FindingSeen, AsLeftRule))


@pytest.mark.parametrize("case", [each for each in CASES if each["kind"] == "implausible"], ids=str)
def test_questions_of_the_table(case):
    asked = implausible(**case["given"])
    if case["asks"] is not None:
        assert case["asks"] in grade_words(asked, METRIC)
        assert grade_words(asked, METRIC).endswith("?")


@pytest.mark.parametrize(
    ("reason", "metric", "us"),
    [
        (
            grade_torque(70, 100).reason,
            "70 N·m is 70 % of the target of 100 N·m: loose; with a tool of 4 % that is sure.",
            "51.6 lbf·ft is 70 % of the target of 73.8 lbf·ft: loose; with a tool of 4 % that is sure.",
        ),
        (
            grade_torque(79, 100).reason,
            "79 N·m is 79 % of the target of 100 N·m: loose; with a tool of 4 % that is undecided from 76.8 to"
            " 83.2 N·m.",
            "58.3 lbf·ft is 79 % of the target of 73.8 lbf·ft: loose; with a tool of 4 % that is undecided from 56.6 to"
            " 61.4 lbf·ft.",
        ),
        (
            grade_torque(82, 100).reason,
            "82 N·m is 82 % of the target of 100 N·m: below its tolerance; it may be loose: with a tool of 4 % that is"
            " undecided up to 83.2 N·m.",
            "60.5 lbf·ft is 82 % of the target of 73.8 lbf·ft: below its tolerance; it may be loose: with a tool of 4 %"
            " that is undecided up to 61.4 lbf·ft.",
        ),
        (
            grade_sensor_pair(70, 75, 76, 68).difference.reason,
            "The sides differ by 62.5 % of the permitted wear, more than 30 %: the drive side wears; look for a seized"
            " pivot, a skewed frame or off-centre load.",
            "The sides differ by 62.5 % of the permitted wear, more than 30 %: the drive side wears; look for a seized"
            " pivot, a skewed frame or off-centre load.",
        ),
        (
            implausible(2.9, 73.9, quantity="diameter"),
            "2.9 mm looks like inches typed as millimetres: did you mean 73.66 mm?",
            "0.114 in looks like inches typed as millimetres: did you mean 2.9 in?",
        ),
        (
            implausible(2_500_000.0, quantity="torque", low=0, high=500.0),
            "2500000 N·m is above 500 N·m, the most that can be: is it read right?",
            "1843905.4 lbf·ft is above 368.8 lbf·ft, the most that can be: is it read right?",
        ),
        (
            grade_limits(1_234_567.8, act_high=1_000_000.0, kind="kg").reason,
            "1234567.8 kg is above 1000000 kg: act.",
            "2,721,756.1 lb is above 2,204,622.6 lb: act.",
        ),
        (
            grade_limits(40.0, act_low=9, kind="mm").reason,
            "40 mm is within its limits.",
            "1.575 in is within its limits.",
        ),
        # 29.5 lbf·ft are 39.9966 N·m: further digits are those of the conversion, unless it takes them to see the side.
        (grade_limits(39.9966, act_low=45.0).reason, "40 is below 45: act.", "40 is below 45: act."),
        (grade_limits(44.9999, act_low=45.0).reason, "44.9999 is below 45: act.", "44.9999 is below 45: act."),
        (
            grade_limits(25.004, watch_high=25, kind="mm").reason,
            "25.004 mm is above 25 mm: watch.",
            "0.984409 in is above 0.984 in: watch.",
        ),
        (
            find_sensor_wear({"drive_diameter": 75.0, "off_diameter": 72.5}, **ROLLER).reason,
            "Permitted wear used: drive side 12.5 %, off side 43.8 %. The sides differ by 31.2 %: look for a"
            " seized pivot,"
            " a skewed frame or off-centre load.",
            "Permitted wear used: drive side 12.5 %, off side 43.8 %. The sides differ by 31.2 %: look for a"
            " seized pivot,"
            " a skewed frame or off-centre load.",
        ),
        (
            find_sensor_wear({"drive_diameter": 70.0, "off_state": "flat_spot"}, new_mm=76, limit_mm=None).reason,
            "New or limit diameter not stated by the model, wear not graded: drive side 70 mm, off side not read (flat"
            " spot).",
            "New or limit diameter not stated by the model, wear not graded: drive side 2.756 in, off side not"
            " read (flat"
            " spot).",
        ),
        (
            find_pivot({"pivot": "free", "breakaway": 90.0}, limit_n=None).reason,
            "The pivot moves freely through its whole range. It breaks away at 90 N; the model states no limit.",
            "The pivot moves freely through its whole range. It breaks away at 20.2 lbf; the model states no limit.",
        ),
        (
            find_pivot({"pivot": "stiff", "breakaway": 90.0}, limit_n=80).reason,
            "The pivot is stiff. It breaks away at 90 N, above the limit of 80 N.",
            "The pivot is stiff. It breaks away at 20.2 lbf, above the limit of 18 lbf.",
        ),
        (
            find_torque({"clamp_1": 70, "clamp_2": 85}, {"clamp_1": 91, "clamp_2": 100}, FASTENERS).reason,
            "1 of 2 loose, 1 more to watch. Lowest: clamp 1 at 70 % of its target. 1 not read. As left not"
            " surely within"
            " tolerance: clamp 1.",
            "1 of 2 loose, 1 more to watch. Lowest: clamp 1 at 70 % of its target. 1 not read. As left not"
            " surely within"
            " tolerance: clamp 1.",
        ),
        (
            find_torque({"clamp_1": 70}, {"clamp_1": 91}, FASTENERS).left["clamp_1"],
            "91 N·m is undecided with this tool: set it between 93.6 and 105.6 N·m.",
            "67.1 lbf·ft is undecided with this tool: set it between 69 and 77.9 lbf·ft.",
        ),
        (
            find_offsets({"a": 12, "b": -66}, HERE).reason,
            "Furthest off at 80 m, loaded: 66 mm towards the off side is 110 % of the permitted 60 mm. 1 of 3"
            " not read.",
            "Furthest off at 262.5 ft, loaded: 2.598 in towards the off side is 110 % of the permitted 2.362 in. 1 of 3"
            " not read.",
        ),
        (
            find_own({"gap": 31}, [OwnField("gap", "Gap", "number", act_high=30, kind="mm")]).reason,
            "Gap: 31 mm is above 30 mm: act.",
            "Gap: 1.22 in is above 1.181 in: act.",
        ),
    ],
)
def test_a_person_reads_it_in_their_own_units(reason, metric, us):
    assert grade_words(reason, METRIC) == metric
    assert grade_words(reason, US) == us


def test_a_row_says_what_it_keeps_also_a_sentence_from_before_rules_were_kept():
    kept = json.loads(json.dumps(grade_torque(79, 100).reason.kept()))
    assert because_words(kept, METRIC) == grade_words(grade_torque(79, 100).reason, METRIC)
    assert because_words({}, METRIC) == ""
    said = Reason(FindingRule.SAID, {"words": "70 N·m is 70 % of it."}).kept()
    assert because_words(said, US) == "70 N·m is 70 % of it."
