"""The fit-up sheet in words: one text a rule, the tape's sixteenths and tenths, names of lines, the first sentence."""

import re

import pytest

from installs.calc.fit_up import judge_fit_up
from installs.calc.fit_up_lines import Verdict, WantedSource
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.calc.fit_up_rules import FitSide, FitUpRule, Missing
from installs.words.fit_up import (
    LABELS,
    MARKS,
    SOURCES,
    TEXTS,
    fit_up_words,
    line_words,
    named,
    summary_words,
    to_do_words,
    why_words,
)
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from tests.installs.calc.test_fit_up import RP2

FULL = Measures(
    bracket_spacing_mm=1640, frame_length_mm=1505, extension_drive_mm=66, extension_off_mm=56,
    squareness_way="parallel", square_drive_mm=3000, square_off_mm=3020, belt_mark_drive_mm=850,
    bracket_height_drive_mm=1000, gap_drive_mm=29, gap_off_mm=9, belt_off_by_mm=0,
)  # fmt: skip
# What stands within another sentence.
PARTS = {FitUpRule.RUN_OUT_PARALLEL, FitUpRule.RUN_OUT_GIVEN, FitUpRule.RUN_OUT_IMPLIED}


def said(measures, key, system=UnitSystem.METRIC, model=RP2):
    return why_words(judge_fit_up(Measures(**measures), model).line(key), system)


def test_every_rule_and_every_line_has_a_text():
    assert {*FitUpRule, *FitSide, *Missing} == set(TEXTS)
    assert {line.key for line in judge_fit_up(FULL, RP2).lines} | {"tape_mm"} == set(LABELS)
    assert set(MARKS) == set(Verdict)
    assert set(SOURCES) == set(WantedSource) - {WantedSource.NONE}


@pytest.mark.parametrize("rule", FitUpRule)
def test_every_text_can_be_written(rule):
    names = set(re.findall(r"%\((\w+)\)s", str(TEXTS[rule])))
    sides = dict.fromkeys(("side", "longer", "shorter", "inward", "outward"), FitSide.OFF)
    others = {"run_out": Reason(FitUpRule.NEEDS_MARK), "missing": (Reason(Missing.WAY),), "reference": "idler"}
    values = {name: (sides | others).get(name, 12.0) for name in names}
    for system in UnitSystem:
        words = fit_up_words(Reason(rule, values), system)
        assert "%" not in words
        assert "fit_up." not in words
        assert words.endswith(".") or rule in (
            "fit_up.run_out_parallel",
            "fit_up.run_out_given",
            "fit_up.run_out_implied",
        )


@pytest.mark.parametrize(
    ("measures", "key", "words"),
    [
        (
            {"bracket_spacing_mm": 1200, "frame_length_mm": 1215},
            "frame_length_mm",
            "1215 mm frame − 1200 mm spacing = 15 mm: the frame is longer than the space between the brackets.",
        ),
        (
            {"bracket_spacing_mm": 1220, "frame_length_mm": 1215, "end_play_mm": 13},
            "extension_drive_mm",
            "(1220 mm spacing − 13 mm end play − 1215 mm frame) / 2 = -4 mm each side. "
            "Negative: the frame is too long for the place.",
        ),
        (
            {"bracket_spacing_mm": 1640, "squareness_way": "parallel", "square_drive_mm": 3000, "square_off_mm": 3020},
            "square_mm",
            "3020 mm − 3000 mm = 20 mm; over 1640 mm that is skew 0.70°, 12.2 mm per metre.",
        ),
        ({"squareness_way": "parallel", "square_off_mm": 3020}, "square_mm",
         "Needs the bracket spacing, the distance on the drive side."),
        (
            {"belt_mark_off_mm": 850, "bracket_height_off_mm": 1000},
            "bracket_height_off_mm",
            "850 mm belt + 13 mm lift + 120 mm drop = 983 mm. Measured 1000 mm: the belt is lifted by 30 mm. "
            "That is above the model's largest lift of 25 mm.",
        ),
    ],
)  # fmt: skip
def test_the_arithmetic_of_a_line(measures, key, words):
    assert said(measures, key) == words


def test_a_tape_is_read_to_a_tenth_of_a_millimetre_or_a_sixteenth_of_an_inch():
    gaps = {"gap_drive_mm": 6.35, "gap_off_mm": 31.75}
    assert said(gaps, "sensor_sum_mm") == "6.4 mm + 31.8 mm = 38.1 mm, wherever the belt lies."
    assert said(gaps, "sensor_sum_mm", UnitSystem.US) == "1/4 in + 1 1/4 in = 1 1/2 in, wherever the belt lies."
    assert "Belt 1/2 in towards the drive side, as the gaps tell" in said(gaps, "gap_drive_mm", UnitSystem.US)


def test_a_skew_is_told_over_the_length_that_the_reader_measures_by():
    """12.195 mm per metre is 12.195 / 25.4 in over 39.370 in / 12 = 3.2808 ft: 0.146 in per foot."""
    given = {"bracket_spacing_mm": 1640, "squareness_way": "parallel", "square_drive_mm": 3000, "square_off_mm": 3020}
    assert said(given, "square_mm").endswith("skew 0.70°, 12.2 mm per metre.")
    assert said(given, "square_mm", UnitSystem.US).endswith("skew 0.70°, 0.15 in per foot.")


def test_what_to_move():
    result = judge_fit_up(FULL, RP2)
    assert [fit_up_words(each, UnitSystem.METRIC) for each in result.to_do] == [
        "Extension: in by 5 mm on the drive side, out by the same on the off side.",
        "Square: bring the off-side bracket back by 20 mm, or each by half, one back and one ahead.",
        "Sensors: in by 10 mm on the drive side, out by the same on the off side; the sum is unchanged.",
    ]
    assert to_do_words(result.line("frame_length_mm"), UnitSystem.METRIC) == ""


def test_what_is_weak_about_the_reference():
    given = Measures(
        bracket_spacing_mm=1640, squareness_way="centre_point", square_reference="idler 41", reference_distance_mm=2000,
        square_drive_mm=2152, square_off_mm=2156,
    )  # fmt: skip
    words = [fit_up_words(each, UnitSystem.METRIC) for each in judge_fit_up(given, RP2).warnings]
    assert words == [
        "Squareness was measured from “idler 41”: an idler's own error is copied, and both are then equally wrong. "
        "Take a shaft or a scribed line.",
        "Squareness: the reference was never checked itself; what is wrong there is wrong here.",
        "Squareness: the point lies 2000 mm away, nearer than 1.5 × the bracket spacing. Off the centre line by 5 mm "
        "it feigns 0.14°. Take a point further off.",
    ]


def test_the_first_sentence_counts_the_lines():
    assert summary_words(judge_fit_up(Measures(), RP2)) == "No line is measured yet."
    assert summary_words(judge_fit_up(FULL, ModelFigures())) == (
        "3 of 16 lines within tolerance, 6 outside, 2 not measured, 5 not stated."
    )


def test_lines_go_by_their_names():
    lines = judge_fit_up(FULL, RP2).lines
    assert named(lines[:2]) == "Frame length, End play in total, wanted"
    assert named(lines[:6]).endswith("Extension, off side and 2 more")
    assert line_words(judge_fit_up(Measures(frame_length_mm=900), RP2).lines[0], UnitSystem.US) == (
        "Frame length: outside"
    )
