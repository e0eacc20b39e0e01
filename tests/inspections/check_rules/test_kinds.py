"""Each kind of check answers by its own object."""

from __future__ import annotations

import pytest

from inspections.calc.grading import Grade
from inspections.check_rules.base import Tool
from inspections.check_rules.kinds import RULES, rule_of
from inspections.check_rules.wanted import FOUND, Typed
from inspections.forms.visits import VisitForm
from inspections.models import CheckKind, ReadingField
from inspections.selectors.readings_wanted import wanted_of
from inspections.words.check_rules import limit_words, suggested_action
from plant.calc.units import UnitSystem
from tests import make

# Proposed about a device at 100 m that acts over 50 m, where no survey says others.
STATIONS = (30, 50, 65, 75, 85, 95, 105, 120)
# For each kind: the readings that it asks for, what has to be brought, what a finding to act on calls for.
ANSWERS = {
    "sensor_wear": (
        ["drive_diameter", "off_diameter", "drive_state", "off_state"],
        {Tool.CALIPER},
        "Replace both sensor rollers",
    ),
    "pivot_freedom": (["pivot", "breakaway"], {Tool.SPRING_BALANCE}, "Free or replace the pivot"),
    "fastener_torque": (
        [f"{place}{mark}" for mark in ("", "_mark") for place in (*(f"clamp_{n}" for n in range(1, 5)), "pivot_1")],
        {Tool.TORQUE_WRENCH},
        "Find out why fasteners come loose, and secure them",
    ),
    "offsets": (
        [f"at_{at}_{load}" for at in STATIONS for load in ("empty", "loaded")],
        set(),
        "Find out why the belt runs off here",
    ),
    "limits": ([], set(), "Put right: Frame"),
}


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


def test_every_rule_has_one_object():
    assert set(RULES) == set(CheckKind.Rule.values) == set(ANSWERS)
    assert all(rule_of(CheckKind(rule=key)).rule == key for key in RULES)


@pytest.mark.parametrize("key", ANSWERS)
def test_what_is_read_with_what_and_what_it_calls_for(place, key):
    codes, tools, suggested = ANSWERS[key]
    rule = RULES[key]
    assert [each.code for each in rule.wanted(place, [], {})] == codes
    assert (rule.tools, suggested_action(CheckKind(rule=key, name="Frame"))) == (tools, suggested)


def entered(**values):
    return {FOUND: {code: Typed(value) for code, value in values.items()}}


@pytest.mark.parametrize(
    ("key", "code", "sound", "act"),
    [
        ("sensor_wear", "drive_diameter", 75.5, 68.0),
        ("pivot_freedom", "pivot", "free", "seized"),
        ("fastener_torque", "clamp_1", 75.0, 5.0),
    ],
)
def test_a_reading_is_graded_by_the_limits_beside_it(place, key, code, sound, act):
    rule = RULES[key]
    wanted = rule.wanted(place, [], {})
    assert rule.find(wanted, entered(**{code: sound})).grade is Grade.SOUND
    assert rule.find(wanted, entered(**{code: act})).grade is Grade.ACT


@pytest.mark.parametrize(
    ("key", "n", "words"),
    [
        ("sensor_wear", 0, "new 76 mm, limit 68 mm"),
        ("sensor_wear", 2, ""),
        ("fastener_torque", 0, "target 75 N·m, within 10 %"),
        ("fastener_torque", 5, ""),
    ],
)
def test_the_limits_stand_beside_the_box(place, key, n, words):
    rule = RULES[key]
    assert limit_words(rule.limit_reason(rule.wanted(place, [], {})[n]), UnitSystem.METRIC) == words


def test_a_diameter_is_held_against_its_side_and_a_state_against_nothing(place):
    rule = RULES["sensor_wear"]
    wanted = rule.with_trend(rule.wanted(place, [], {}), {"drive": {"expected": 74.2, "sigma": 0.1}})
    assert [each.plausible.get("expected") for each in wanted] == [74.2, None, None, None]


def test_a_kind_of_the_plants_own_asks_for_its_fields(place):
    gap = ReadingField(code="gap", label="Gap", form="number", quantity="mm", act_above=30.0)
    rule = RULES["limits"]
    wanted = rule.wanted(place, [gap], {})
    assert [(each.code, each.limits["act_high"]) for each in wanted] == [("gap", 30.0)]
    assert rule.find(wanted, entered(gap=31.0)).grade is Grade.ACT


def test_only_offsets_go_to_the_belts_own_rows(place):
    given = entered(pivot="free", drive_diameter=70.0)
    assert [key for key, rule in RULES.items() if key != "offsets" and rule.belt_offsets(place, given)] == []


def test_the_phone_is_told_what_is_read_in_pairs_and_what_is_always_measured(place, tess):
    kinds = [make.check_kind(code) for code in ("sensor-wear", "pivot-freedom", "fastener-torque")]
    tasks = [make.task(place, kind, make.today()) for kind in kinds]
    form = VisitForm(tasks=tasks, wanted=wanted_of(tasks, place), person=tess, plant=place.plant)
    assert [(each["is_pairs"], each["is_measured"]) for each in form.as_rules()] == [
        (False, True),
        (False, False),
        (True, True),
    ]
