"""Sentences of commissioning: what was moved and what it means, in the units of the tape."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from installs.calc.commissioning import Adjustment, Spell, TimeDoubt, TimeRule, station_sides
from installs.words.commissioning import adjustment_words, side_words, sides_legend, spell_words, time_doubt_words
from plant.calc.units import UnitSystem, sentence_in


@pytest.mark.parametrize(
    ("drive", "off", "words"),
    [
        (6, 6, "6 mm in on the drive side, 6 mm out on the off side: the sum of the gaps stays."),
        (-6, -6, "6 mm out on the drive side, 6 mm in on the off side: the sum of the gaps stays."),
        (2, 3, "2 mm in on the drive side, 3 mm out on the off side: the sum of the gaps becomes 1 mm wider, no more "
               "than two readings of a tape differ by."),
        (6, 3, "6 mm in on the drive side, 3 mm out on the off side: the sum of the gaps becomes 3 mm narrower."),
        (6, -3, "6 mm in on the drive side, 3 mm in on the off side: the sum of the gaps becomes 9 mm narrower."),
        (0, 0, "Nothing was moved."),
        (2, None, "2 mm in on the drive side; what was moved on the off side was not kept."),
    ],
)  # fmt: skip
def test_an_adjustment_is_said_as_it_was_read(drive, off, words):
    assert adjustment_words(Adjustment(drive, off)) == words


def test_inches_are_those_of_a_tape():
    told = sentence_in(adjustment_words(Adjustment(6.35, 3.175)), UnitSystem.US, tape=True)
    assert told == (
        "1/4 in in on the drive side, 1/8 in out on the off side: the sum of the gaps becomes 1/8 in narrower."
    )


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
    assert sides_legend(100, strand, reversing=reversing) == words


def test_a_station_at_the_device_is_on_neither_side_whichever_way_the_belt_runs():
    assert side_words(station_sides(55, 55, "carry", reversing=True)) == "at the device"
    assert side_words(station_sides(54, 55, "carry")) == "upstream"
