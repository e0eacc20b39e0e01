"""Why a reading of an hour meter cannot be right, and why contacts cannot be folded, in words."""

from __future__ import annotations

import pytest

from plant.calc.incidents import Fold, FoldRule
from plant.calc.meter_readings import MeterRule
from plant.calc.reasons import Reason
from plant.words import running_hours, switch_events
from plant.words.running_hours import meter_words
from plant.words.switch_events import fold_words

SPAN = {"first_h": 5300.0, "second_h": 3560.0, "ran_h": 8260.0, "clock_h": 672.0}
BACKWARDS = Reason(MeterRule.BACKWARDS, {"first_h": 9400.0, "second_h": 50.5})


def test_every_rule_has_its_text():
    assert set(running_hours.TEXTS) == set(MeterRule)
    assert set(switch_events.TEXTS) == set(FoldRule)


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (
            Reason(MeterRule.BEYOND_METER, {"read_h": 12000.0, "most_h": 10000.0}),
            "12000 h is more than the meter can show, 10000 h",
        ),
        (Reason(MeterRule.ALONE), "it agrees with no other reading"),
        (
            Reason(MeterRule.AT_ONE_TIME, {"first_h": 200.0, "second_h": 250.0}),
            "two readings at one time, 200 h and 250 h",
        ),
        (BACKWARDS, "the meter ran backwards, from 9400 h to 50.5 h, and no rollover is declared for it"),
        (Reason(MeterRule.FASTER_THAN_CLOCK, SPAN), "from 5300 h to 3560 h is 8260 h in 672 h on the clock"),
        (
            Reason(MeterRule.FASTER_WITH_ROLLOVER, SPAN),
            "from 5300 h to 3560 h with a rollover is 8260 h in 672 h on the clock",
        ),
        (
            Reason(MeterRule.LEFT_OPEN, {"why": BACKWARDS}),
            "the meter ran backwards, from 9400 h to 50.5 h, and no rollover is declared for it; the readings after it "
            "agree with it, so time since the reading before is left open: if the meter was replaced, record the last "
            "reading of the old and the first of the new one",
        ),
    ],
)
def test_a_reading_of_the_meter(reason, words):
    assert meter_words(reason) == words


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (Reason(FoldRule.ONE_CONTACT, {"contacts": 1, "fewest": 8}), "1 contact; at least 8 are needed"),
        (Reason(FoldRule.FEW_CONTACTS, {"contacts": 0, "fewest": 8}), "0 contacts; at least 8 are needed"),
        (
            Reason(FoldRule.COARSE_TIMES, {"stamp": 60.0, "revolution": 60, "finest": 3.0}),
            "times are written to 60 s; for a revolution of 60 s give them to 3.0 s or finer",
        ),
    ],
)
def test_contacts_that_cannot_be_folded(reason, words):
    assert fold_words(Fold(None, 0, False, reasons=(reason,))) == words
