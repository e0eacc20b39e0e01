"""What is said of targets and tools of fasteners, in the units of the person who reads it."""

from __future__ import annotations

from datetime import date

import pytest

from installs.calc.fasteners import (
    AsLeftRule,
    DayCount,
    TargetRule,
    ToolRule,
    doubts_about_tool,
    judge_as_left,
    torque_target,
)
from installs.calc.threads import ThreadRule
from installs.words.torque import TEXTS, SignOffRule, torque_reasons
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem

DAY = date(2026, 3, 2)
METRIC, US = UnitSystem.METRIC, UnitSystem.US
COARSE = "Give a coarse thread from M8 to M24, or from 1/4-20 to 1-8."


@pytest.mark.parametrize("rules", [TargetRule, ThreadRule, ToolRule, DayCount, AsLeftRule, SignOffRule])
def test_every_rule_has_a_text(rules):
    assert set(rules) <= set(TEXTS)


def test_an_estimate_is_said_with_its_arithmetic():
    why = torque_target(None, "M12", "8.8").why
    rest = "with F = 75 % of the proof load of M12 8.8 (84.3 mm² × 580 MPa). Preload may be off by 30 %."
    assert torque_reasons(why, METRIC) == f"Estimate: K D F = 0.2 × 12 mm × 36.7 kN = 88 N·m, {rest}"
    # 36.6705 kN / 4.44822 N, 84.3 mm2 / 645.16 mm2, 580 MPa / 6.894757 MPa.
    in_us = rest.replace("84.3 mm² × 580 MPa", "0.131 in² × 84.1 ksi")
    assert torque_reasons(why, US) == f"Estimate: K D F = 0.2 × 0.472 in × 8,244 lbf = 64.9 lbf·ft, {in_us}"


def test_an_estimate_of_an_inch_bolt_has_the_figures_of_its_table():
    # The tables hold 0.1419 in2 for 1/2-13 and 85 ksi for grade 5 of this size (see installs/calc/threads.py).
    said = torque_reasons(torque_target(None, "1/2-13", "5").why, US)
    assert "of 1/2-13 5 (0.142 in² × 85 ksi)" in said


@pytest.mark.parametrize(
    ("stated", "thread", "strength", "words"),
    [
        (75.0, "", "", "The model states 75 N·m."),
        (None, "", "", "Not stated by the model; an estimate needs the thread and class or grade of the fastener."),
        (None, "", "5", "Not stated by the model; an estimate needs the thread of the fastener."),
        (None, "M12", "", "Not stated by the model; an estimate needs the class or grade of the fastener."),
        (
            None, "M13", "8.8",
            f"Not stated by the model, and no estimate: Thread “M13” is not in the tables. {COARSE}",
        ),
        (
            None, "M12x1.25", "8.8",
            "Not stated by the model, and no estimate: Thread “M12x1.25” has a pitch of 1.25 mm; the tables hold "
            f"1.75 mm. {COARSE}",
        ),
        (
            None, "1/2-20", "5",
            "Not stated by the model, and no estimate: Thread “1/2-20” has 20 threads per inch; the tables hold 13. "
            f"{COARSE}",
        ),
        (
            None, "M12", "4.6",
            "Not stated by the model, and no estimate: Class “4.6” of M12 is not in the tables. "
            "Give class 8.8 or 10.9.",
        ),
        (
            None, "1/2-13", "8.8",
            "Not stated by the model, and no estimate: Class “8.8” of 1/2-13 is not in the tables. Give grade 5 or 8.",
        ),
    ],
)  # fmt: skip
def test_a_target_says_where_it_comes_from(stated, thread, strength, words):
    assert torque_reasons(torque_target(stated, thread, strength).why, METRIC) == words


@pytest.mark.parametrize(
    ("rule", "values", "words"),
    [
        (
            ThreadRule.NO_CLASS_OF_SIZE,
            {"given": "8.8", "thread": "M42", "least": 1.6, "most": 39.0},
            "The tables hold class “8.8” for no M42. Give a thread from M1.6 to M39.",
        ),
        (
            ThreadRule.NO_GRADE_OF_SIZE,
            {"given": "5", "thread": "1 3/4-5"},
            "The tables hold class “5” for no 1 3/4-5. Give a thread from 1/4 to 1 1/2 in.",
        ),
    ],
)
def test_a_size_without_a_figure_is_said_with_those_that_have_one(rule, values, words):
    assert torque_reasons(Reason(rule, values), US) == words


def test_the_doubts_about_a_tool_stand_one_after_the_other():
    doubts = doubts_about_tool(
        75, on=DAY, calibration_due_on=date(2026, 2, 27), retired_on=date(2026, 1, 5), range_least_nm=80
    )
    assert torque_reasons(doubts, METRIC) == (
        "It is no longer used since 5 Jan 2026. Its calibration ran out on 27 Feb 2026, 3 days before. 75 N·m is below "
        "its range, which begins at 80 N·m."
    )
    above = doubts_about_tool(75, on=DAY, calibration_due_on=date(2026, 3, 1), range_most_nm=70)
    assert torque_reasons(above, US) == (
        "Its calibration ran out on 1 Mar 2026, 1 day before. "
        "55.3 lbf·ft is above its range, which ends at 51.6 lbf·ft."
    )
    assert torque_reasons(doubts_about_tool(75, on=DAY, calibration_due_on=None), US) == (
        "No calibration of it is in the book."
    )


@pytest.mark.parametrize(
    ("left", "tool", "metric"),
    [
        (80, 4, "80 N·m is outside 90 to 110 N·m: set it again."),
        (100, 4, "100 N·m lies between 93.6 and 105.6 N·m, where this tool is sure."),
        (92, 4, "92 N·m is undecided with this tool: set it between 93.6 and 105.6 N·m."),
        (100, 12, "A tool of 12 % is too coarse for a tolerance of 10 %."),
    ],
)
def test_what_a_tool_can_tell_is_said_with_where_it_is_sure(left, tool, metric):
    assert torque_reasons(judge_as_left(left, 100, tool_deviation_pct=tool).reason, METRIC) == metric


def test_where_a_tool_is_sure_stands_in_the_reader_s_units():
    assert torque_reasons(judge_as_left(92, 100).reason, US) == (
        "67.9 lbf·ft is undecided with this tool: set it between 69 and 77.9 lbf·ft."
    )
