"""Rounds in words: which rule a plan breaks, and how a stop of the board is spoken."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from inspections.calc.round_check import BrokenRule
from inspections.models import Round, Shift, Stop
from inspections.selectors.round_board import JobBar, WindowBar
from inspections.selectors.round_faults import Fault
from inspections.words.round_board import hours_words, job_bar_label, job_bar_words, plan_words, window_words
from inspections.words.rounds import fault_words
from installs.models import Fitting
from plant.models import Conveyor, OutageWindow, Person

AT = dt.datetime(2026, 12, 3, 8, 0, tzinfo=timezone.get_default_timezone())
ENDS = AT + dt.timedelta(hours=2)
SHIFT = Shift(person=Person(username="tess"))
ROUND = Round(shift=SHIFT)
BELT = Conveyor(tag="A-1")
STOP = Stop(conveyor=BELT, starts_at=AT, round=ROUND)
JOB = Fitting(conveyor=BELT, strand="return", chainage_m=100.0, planned_at=AT, duration_h=2)


@pytest.mark.parametrize("rule", BrokenRule)
def test_every_broken_rule_can_be_said(rule):
    said = fault_words(Fault(ROUND, STOP, rule, by_s=300, lacking=("ladder",), shift=SHIFT))
    assert "A-1 at 08:00" in said
    assert "%" not in said


def test_a_rule_names_person_minutes_and_what_is_lacking():
    late = Fault(ROUND, STOP, BrokenRule.AFTER_SHIFT, by_s=3700, shift=SHIFT)
    assert fault_words(late) == "A-1 at 08:00: tess is back 1 h 02 after the end of the shift."
    lacking = Fault(ROUND, STOP, BrokenRule.SKILL, lacking=("ropes", "heights"), shift=SHIFT)
    assert fault_words(lacking) == "A-1 at 08:00: tess lacks the skill ropes, heights."


def test_a_fitting_that_a_stop_cuts_into_is_named():
    assert fault_words(Fault(ROUND, STOP, BrokenRule.BREAK, shift=SHIFT, fitting=JOB)) == (
        "A-1 at 08:00 clashes with the fitting at A-1 return 100 m, Thu 3 Dec 08:00-10:00, to which tess is planned."
    )


def test_what_the_board_draws_is_said_too():
    window = OutageWindow(conveyor=BELT, starts_at=AT, ends_at=ENDS)
    assert window_words(WindowBar(0, 1, window)) == "outage window of A-1, 08:00 to 10:00"
    bar = JobBar(0, 1, JOB, AT, ENDS)
    assert job_bar_words(bar) == "fitting at A-1 return 100 m, 08:00 to 10:00: no stop is laid into it"
    assert job_bar_label(bar) == "fitting A-1"
    assert hours_words(3 * 3600 + 5 * 60) == "3 h 05"
    assert plan_words(STOP) == "tess, Thu 3 Dec 08:00"
    assert plan_words(None) == ""
