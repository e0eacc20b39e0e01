"""Sentences of commissioning: what was moved and what it means, in the units of the tape."""

from __future__ import annotations

import pytest

from installs.calc.commissioning import Adjustment
from installs.words.commissioning import adjustment_words
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
