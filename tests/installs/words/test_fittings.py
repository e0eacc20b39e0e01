"""What a planned fitting lacks, in words: each rule has a sentence that can be written."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from installs.models import Device, DeviceModel, Fitting, FittingNeed, Installation, Survey
from installs.selectors.fittings import Clash, Needed, ReadinessLine, ReadinessRule
from installs.words.fittings import LABELS, TEXTS, readiness_label, readiness_words
from plant.calc.units import UnitSystem
from plant.models import Conveyor, Person

BEGINS = dt.datetime(2026, 3, 2, 8, 0, tzinfo=timezone.get_default_timezone())
BELT = Conveyor(tag="S-12")
JOB = Fitting(conveyor=BELT, strand="return", chainage_m=120.5, planned_at=BEGINS, duration_h=4)
STANDS = Installation(conveyor=BELT, strand="return", chainage_m=120.0, device=Device(number="7"))
ANN, BO = Person(username="ann"), Person(username="bo")
KNOWN = {
    "result": Survey.Result.FITS, "conditions": "Guard first.", "model": DeviceModel(name="T-1"),
    "number": "7", "scrapped_on": dt.date(2026, 2, 1), "place": STANDS, "job": JOB, "n": 1,
    "planned_at": BEGINS, "begins_at": BEGINS, "ends_at": BEGINS + dt.timedelta(hours=6), "there_h": 6.0,
    "needed_h": 8, "clashes": (Clash(JOB), Clash(JOB, (ANN, BO))), "people": (ANN, BO), "reference": "P-1",
    "day": dt.date(2026, 3, 2), "low_nm": 75.0, "high_nm": 130.5, "numbers": ("W-1", "W-2"),
}  # fmt: skip


def said(rule, system=UnitSystem.METRIC, **known):
    return readiness_words(ReadinessLine(Needed.DEVICE, rule, is_missing=True, known=KNOWN | known), system)


def test_every_rule_has_a_text_and_everything_needed_a_name():
    assert set(ReadinessRule) == set(TEXTS)
    assert set(Needed) == set(LABELS)


@pytest.mark.parametrize("rule", [each for each in ReadinessRule if each is not ReadinessRule.NEED_SHORT])
def test_every_rule_can_be_said(rule):
    assert "%" not in said(rule)


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (ReadinessRule.SURVEY_SAYS_CONDITIONS, "The survey says: fits. Conditions: Guard first."),
        (ReadinessRule.DEVICE_STANDS, "Device 7 still stands on S-12, return strand, at 120 m."),
        (ReadinessRule.DEVICE_SCRAPPED, "Device 7 was scrapped on 1 Feb 2026."),
        (
            ReadinessRule.WINDOW_SHORT,
            "The window 2 Mar 2026, 08:00 to 2 Mar 2026, 14:00 leaves 6 h from the planned start, the job takes 8 h.",
        ),
        (
            ReadinessRule.WINDOW_LONG_ENOUGH,
            "2 Mar 2026, 08:00 to 2 Mar 2026, 14:00; from the planned start 6 h are left for a job of 8 h.",
        ),
        (
            ReadinessRule.WINDOW_CLASHES,
            "Another job is planned on this belt at the same time: S-12, return strand, 120.5 m, 2 Mar 2026, 08:00 "
            "for 4 h. ann, bo is planned at the same time for S-12, return strand, 120.5 m, 2 Mar 2026, 08:00 for 4 h.",
        ),
        (ReadinessRule.CREW_NAMED, "ann, bo."),
        (ReadinessRule.WRENCHES, "In calibration on 2 Mar 2026: W-1, W-2."),
        (
            ReadinessRule.WRENCH_COVERS_NOT,
            "No wrench that is in calibration on 2 Mar 2026 covers 75 to 130.5 N·m.",
        ),
        (ReadinessRule.NEEDS_AT_HAND, "1 part or tool is at hand."),
    ],
)
def test_a_line_in_words(rule, words):
    assert said(rule) == words


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (ReadinessRule.DEVICE_STANDS, "Device 7 still stands on S-12, return strand, at 393.7 ft."),
        (ReadinessRule.WRENCH_COVERS_NOT, "No wrench that is in calibration on 2 Mar 2026 covers 55.3 to 96.3 lbf·ft."),
        (
            ReadinessRule.WINDOW_CLASHES,
            "Another job is planned on this belt at the same time: S-12, return strand, 395.3 ft, 2 Mar 2026, 08:00 "
            "for 4 h. ann, bo is planned at the same time for S-12, return strand, 395.3 ft, 2 Mar 2026, 08:00 for "
            "4 h.",
        ),
    ],
)
def test_a_line_in_the_units_of_a_person_who_reads_feet(rule, words):
    assert said(rule, UnitSystem.US) == words


def test_several_parts_are_counted():
    assert said(ReadinessRule.NEEDS_AT_HAND, n=3) == "All 3 parts and tools are at hand."


def test_a_part_that_is_short_is_called_by_its_kind():
    need = FittingNeed(kind="lifting", name="100 % chain hoist", needed=2, at_hand=1)
    line = ReadinessLine(Needed.NEEDS, ReadinessRule.NEED_SHORT, is_missing=True, known={"need": need})
    assert readiness_words(line, UnitSystem.METRIC) == "100 % chain hoist: 1 of 2 at hand."
    assert readiness_label(line) == need.get_kind_display().capitalize()
