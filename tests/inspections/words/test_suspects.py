"""What the book says of the usual suspects, in words."""

from datetime import date
from itertools import chain

import pytest

from inspections.calc.grading import grade_pivot, grade_torque
from inspections.calc.suspects import DeviceEvent, Evidence, GivenAnswer, SuspectRule, suspects
from inspections.words.grading import TEXTS as GRADING
from inspections.words.suspects import SUSPECTS, TEXTS, look_words, name_words, said_words
from installs.calc.belt_cases import BeltCase
from installs.calc.closeness import closeness_lines
from installs.calc.fit_up import judge_fit_up
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.calc.placement_rules import PlacementRules
from plant.calc.units import UnitSystem

DAY, LATER = date(2026, 5, 4), date(2026, 8, 1)
METRIC, US = UnitSystem.METRIC, UnitSystem.US


def said(evidence, key, system=METRIC):
    return said_words(next(each for each in suspects(evidence) if each.key == key), system)


def test_every_suspect_has_a_name_and_a_look_and_every_rule_a_text():
    assert [each.key for each in suspects(Evidence())] == list(SUSPECTS)
    assert all(name_words(each) and look_words(each).endswith((".", "?")) for each in suspects(Evidence()))
    assert set(TEXTS) == {*GRADING, *chain(SuspectRule, DeviceEvent)}


@pytest.mark.parametrize(
    ("known", "key", "words"),
    [
        ({}, "pivot", "Nobody has looked yet."),
        (
            {"pivot": GivenAnswer("stiff", DAY, because=grade_pivot("stiff").reason)},
            "pivot",
            "Found stiff on 4 May 2026: The pivot is stiff.",
        ),
        (
            {"pivot": GivenAnswer("free", DAY), "worn_drive_mm": 0.0, "worn_off_mm": 3.04, "wear_on": LATER},
            "pivot",
            "Found free on 4 May 2026. Since then: the off side is worn by 3 mm, the other by 0 mm.",
        ),
        (
            {"worn_drive_mm": 3.26, "worn_off_mm": 0.5, "wear_on": LATER},
            "pivot",
            "The drive side is worn by 3.3 mm, the other by 0.5 mm. The pivot itself was not tried.",
        ),
        (
            {"restraint": GivenAnswer("passed over", DAY, "seen by crew.")},
            "restraint",
            "The hold point was passed over on 4 May 2026: seen by crew.",
        ),
        (
            {"worn_drive_mm": 0.1, "worn_off_mm": -0.1, "hours_since_new": 4900.4},
            "restraint",
            "Both sensor rollers are as new after 4900 running hours: the frame may not move, or the belt never reaches"
            " it.",
        ),
        (
            {"strand": "return", "strand_wanted": "carry"},
            "direction",
            "The model is made for the carry strand; it stands on the return.",
        ),
        (
            {"overlapping": ("57", "58", "59"), "frame": GivenAnswer("hunting", DAY)},
            "each-other",
            "Its zone overlaps that of device 57 and device 58 and device 59. The frame swung to and fro on"
            " 4 May 2026.",
        ),
        ({"frame": GivenAnswer("off", DAY)}, "arm", "The frame was held towards the off side on 4 May 2026."),
        ({"carry_back": GivenAnswer("not_found", DAY)}, "crown", "No build-up was found at the place on 4 May 2026."),
        (
            {"left_drive_mm": 0.5, "left_off_mm": 4.0, "wear_on": DAY},
            "worn",
            "At least 0.5 mm above the limit on 4 May 2026.",
        ),
    ],
)
def test_what_the_book_says(known, key, words):
    assert said(Evidence(**known), key) == words


def test_the_person_reads_it_in_their_own_units():
    loose = Evidence(torque=GivenAnswer("act", DAY, because=grade_torque(70, 100).reason))
    assert said(loose, "square", US) == (
        "Fasteners were found loose on 4 May 2026: 51.6 lbf·ft is 70 % of the target of 73.8 lbf·ft: loose; with a tool"
        " of 4 % that is sure."
    )
    worn = Evidence(worn_drive_mm=3.0, worn_off_mm=0.2, wear_on=DAY)
    assert said(worn, "pivot", US).startswith("The drive side is worn by 0.118 in, the other by 0.008 in.")


def test_lines_of_the_place_and_of_the_fit_up_say_themselves():
    case = BeltCase(length_m=200, belt_width_mm=1200, speed_m_s=2.5, is_reversing=False, hours=5000.0)
    near = Evidence(close_by=closeness_lines(case, "return", 4.0, PlacementRules()))
    assert said(near, "near").startswith("Too near: 4 m from the tail pulley")
    clear = Evidence(close_by=closeness_lines(case, "return", 100.0, PlacementRules()))
    assert "100 m from the tail pulley." in said(clear, "near")
    measures = Measures(
        belt_mark_drive_mm=600.0, belt_mark_off_mm=600.0, wanted_lift_mm=13.0, bracket_height_drive_mm=680.0,
        bracket_height_off_mm=680.0,
    )  # fmt: skip
    result = judge_fit_up(measures, ModelFigures(roller_drop_mm=100.0), nominal_belt_width_mm=1200.0)
    sheet = Evidence(fit_up={line.key: line for line in result.lines})
    assert "713 mm" in said(sheet, "lift")
    assert " in" in said(sheet, "lift", US)
