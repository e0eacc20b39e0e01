"""Sentences of commissioning: what was moved and what it means, in the units of the tape."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from installs.calc.adjustments import Adjustment, AdjustmentRule, AnswerRule, Balance, GapChange, OffsetRule, converge
from installs.calc.commissioning import AcceptanceRule, BeltSide, Load, SideRule, judge_acceptance
from installs.calc.run_times import Spell, TimeDoubt, TimeRule
from installs.calc.trial_runs import Offset, Run, SideOfDevice, station_sides
from installs.words.commissioning import (
    TEXTS,
    CommissioningRule,
    adjustment_words,
    commissioning_words,
    side_words,
    sides_legend,
    spell_words,
    time_doubt_words,
)
from plant.calc.units import UnitSystem


@pytest.mark.parametrize(
    ("drive", "off", "words"),
    [
        (6, 6, "6 mm inward on the drive side, 6 mm outward on the off side: the sum of the gaps stays."),
        (-6, -6, "6 mm outward on the drive side, 6 mm inward on the off side: the sum of the gaps stays."),
        (2, 3, "2 mm inward on the drive side, 3 mm outward on the off side: the sum of the gaps becomes 1 mm "
               "wider, no more than two readings of a tape differ by."),
        (6, 3, "6 mm inward on the drive side, 3 mm outward on the off side: the sum of the gaps becomes 3 mm "
               "narrower."),
        (6, -3, "6 mm inward on the drive side, 3 mm inward on the off side: the sum of the gaps becomes 9 mm "
                "narrower."),
        (0, 0, "Nothing was moved."),
        (2, None, "2 mm inward on the drive side; what was moved on the off side was not kept."),
    ],
)  # fmt: skip
def test_an_adjustment_is_said_as_it_was_read(drive, off, words):
    assert adjustment_words(Adjustment(drive, off), UnitSystem.METRIC) == words


def test_inches_are_those_of_a_tape():
    told = adjustment_words(Adjustment(6.35, 3.175), UnitSystem.US)
    assert told == (
        "1/4 in inward on the drive side, 1/8 in outward on the off side: the sum of the gaps becomes 1/8 in narrower."
    )


RULES = [
    AcceptanceRule,
    SideRule,
    Load,
    BeltSide,
    SideOfDevice,
    Balance,
    AdjustmentRule,
    GapChange,
    OffsetRule,
    AnswerRule,
]


@pytest.mark.parametrize("rules", [*RULES, CommissioningRule])
def test_every_rule_has_a_text(rules):
    assert set(rules) <= set(TEXTS)


def judged(*runs, **values):
    asked = {"cycle": 1, "target_mm": 50.8, "device_m": 61.0, "strand": "return", "revolution_s": 88.0, **values}
    return judge_acceptance(runs, **asked).lines


def one_run(*offsets, load=False, **values):
    return Run(1, load, values.pop("minutes", 60.0), tuple(Offset(*each) for each in offsets), **values)


BOTH = ((30.0, 10.0), (80.0, -76.2))


@pytest.mark.parametrize(
    ("runs", "n", "metric", "us"),
    [
        ((), 0, "No trial run empty is recorded after the last adjustment.", None),
        ((), 1, "No trial run loaded is recorded after the last adjustment.", None),
        (
            (one_run(*BOTH),),
            0,
            "Watched empty for 60 min, 40.9 revolutions of the belt; wanted at least 15 min and 3 revolutions.",
            None,
        ),
        (
            (one_run(*BOTH, minutes=20.0, is_time_doubted=True),),
            0,
            "Entered as watched empty for 20 min, 13.6 revolutions of the belt; wanted at least 15 min and 3 "
            "revolutions. "
            "The clock does not bear this out; it was confirmed with a reason, which stands with the run.",
            None,
        ),
        (
            (one_run(*BOTH),),
            1,
            "Worst offset empty: 76.2 mm at 80 m to the off side; wanted at most 50.8 mm, 1 of 2 stations lies "
            "beyond it.",
            "Worst offset empty: 3 in at 262.5 ft to the off side; wanted at most 2 in, 1 of 2 stations lies beyond "
            "it.",
        ),
        (
            (one_run((30.0, 60.0), (80.0, 76.2)),),
            1,
            "Worst offset empty: 76.2 mm at 80 m to the drive side; wanted at most 50.8 mm, 2 of 2 stations lie "
            "beyond it.",
            None,
        ),
        (
            (one_run((30.0, 0.0), (80.0, 0.0)),),
            1,
            "Worst offset empty: 0 mm at 30 m; wanted at most 50.8 mm, every station is within it.",
            None,
        ),
        ((one_run(),), 1, "No offset was measured empty.", None),
        ((one_run(*BOTH, touches_structure=True),), 2, "Something touched the structure in the run empty.", None),
        ((one_run(*BOTH, frame_position="off"),), 2, "The frame was held to the off side in the run empty.", None),
        ((one_run(*BOTH, frame_position="hunting"),), 2, "The frame swung to and fro in the run empty.", None),
        ((one_run(*BOTH, is_noisy=True),), 2, "There was unusual noise in the run empty.", None),
        (
            (one_run((30.0, 1.0)),),
            2,
            "No station was measured empty upstream of the device, which on this strand is above 61 m.",
            "No station was measured empty upstream of the device, which on this strand is above 200.1 ft.",
        ),
        (
            (one_run((61.0, 1.0)),),
            2,
            "No station was measured empty upstream of the device, which on this strand is above 61 m and none "
            "downstream of the device, which on this strand is below 61 m.",
            None,
        ),
    ],
)
def test_each_line_of_an_acceptance_is_said_in_the_reader_s_units(runs, n, metric, us):
    why = judged(*runs)[n].why
    assert commissioning_words(why, UnitSystem.METRIC) == metric
    if us is not None:
        assert commissioning_words(why, UnitSystem.US) == us


def test_on_a_reversing_belt_the_missing_side_is_named_for_both_ways():
    why = judged(one_run((80.0, 1.0)), strand="carry", reversing=True)[2].why
    assert commissioning_words(why, UnitSystem.METRIC) == (
        "No station was measured empty below 61 m, upstream as it runs to the head and downstream as it runs to the "
        "tail."
    )


@pytest.mark.parametrize(
    ("offsets", "metric", "us"),
    [
        (
            (50.8, 12.7),
            "The belt answered the last move the right way (+50.8 mm before, +12.7 mm after at 30 m).",
            "The belt answered the last move the right way (+2 in before, +1/2 in after at 98.4 ft).",
        ),
        (
            (-50.8, -76.2),
            "The belt answered the last move the wrong way (-50.8 mm before, -76.2 mm after at 30 m). A second time "
            "means: stop.",
            "The belt answered the last move the wrong way (-2 in before, -3 in after at 98.4 ft). A second time "
            "means: "
            "stop.",
        ),
        (
            (50.8, 50.8),
            "The belt did not answer the last move (+50.8 mm before, +50.8 mm after at 30 m; less than 3 mm is reading "
            "error).",
            "The belt did not answer the last move (+2 in before, +2 in after at 98.4 ft; less than 1/8 in is reading "
            "error).",
        ),
    ],
)
def test_the_answer_of_the_belt_is_said_with_what_was_measured(offsets, metric, us):
    runs = [Run(n, True, 60.0, (Offset(30.0, each), Offset(80.0, 0.0))) for n, each in enumerate(offsets, start=1)]
    told = converge(runs, {2: Adjustment(5.0, 5.0)}, device_m=55, strand="return")
    assert commissioning_words(told.advice, UnitSystem.METRIC) == metric
    assert commissioning_words(told.advice, UnitSystem.US) == us


def at(hour, minute, second=0, day=20):
    return dt.datetime(2026, 11, day, hour, minute, second, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("doubt", "words"),
    [
        (
            TimeDoubt(TimeRule.SINCE_LOCKS, 31, at(16, 8), at(16, 37, 45), 75),
            "31 min, but only 1 min 15 s had passed since the locks came back at 16:37.",
        ),
        (
            TimeDoubt(TimeRule.BEFORE_LOCKS, 31, at(16, 8), at(16, 37), 29 * 60),
            "It would have begun at 16:08, 29 min before the locks came back at 16:37.",
        ),
        (
            TimeDoubt(TimeRule.NOT_OVER, 31, at(16, 38), at(16, 39), 60),
            "31 min from 16:38, but it was entered at 16:39: only 1 min had passed.",
        ),
        (
            TimeDoubt(
                TimeRule.OVERLAP,
                31,
                at(16, 38),
                at(16, 20),
                960,
                Spell(at(16, 20), at(16, 54), False, "S-12 60 m"),
            ),
            "The 31 min from 16:38 overlap another run of the belt, empty from 16:20 to 16:54 (S-12 60 m), by 16 min; "
            "a belt makes one run at a time.",
        ),
        (
            TimeDoubt(TimeRule.BEFORE_LOCKS, 31, at(23, 50), at(1, 10, day=21), 80 * 60),
            "It would have begun at 23:50, 1 h 20 min before the locks came back at 21 Nov 01:10.",
        ),
    ],
)
def test_a_time_that_cannot_be_is_told_with_the_arithmetic(doubt, words):
    with timezone.override(dt.UTC):
        assert time_doubt_words(doubt) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (45.4, "45 s"), (60, "1 min"), (75, "1 min 15 s"), (3600, "1 h"), (7500, "2 h 5 min"), (-3, "0 s")],
)
def test_a_spell_is_counted_as_people_count_it(seconds, words):
    assert spell_words(seconds) == words


@pytest.mark.parametrize(
    ("strand", "reversing", "words"),
    [
        ("return", False, "The return strand runs to the tail: above 100 m lies upstream of the device, below it "
                          "downstream."),
        ("carry", False, "The carry strand runs to the head: above 100 m lies downstream of the device, below it "
                         "upstream."),
        ("return", True, "The belt reverses. Above 100 m: downstream as it runs to the head, upstream as it runs to "
                         "the tail. Below 100 m: upstream as it runs to the head, downstream as it runs to the tail."),
    ],
)  # fmt: skip
def test_the_legend_says_which_stations_lie_on_which_side(strand, reversing, words):
    assert sides_legend(100, strand, UnitSystem.METRIC, reversing=reversing) == words


def test_a_station_at_the_device_is_on_neither_side_whichever_way_the_belt_runs():
    assert side_words(station_sides(55, 55, "carry", reversing=True)) == "at the device"
    assert side_words(station_sides(54, 55, "carry")) == "upstream"
