"""What is said of a place: each rule in a sentence, in the units of the person who reads it."""

from __future__ import annotations

from datetime import date

import pytest

from installs.calc.belt_cases import BeltCase, BeltPlace, Fixture, OpenCause, Override, SeenIncident, Steered
from installs.calc.candidates import CandidateRule, candidates
from installs.calc.clearance import Asked, ClearanceRule, PlacementLimits, clearance_lines
from installs.calc.closeness import BeltEnd, ClosenessRule, closeness_lines
from installs.calc.effect_zones import Zone
from installs.calc.open_causes import CauseRule, causes_first, overridden_causes, put_aside
from installs.calc.placement_rules import PlacementRules
from installs.calc.provability import ProofRule, provability, reach_of
from installs.calc.wander import Wander, WanderRule, into_the_wander
from installs.words.placement import TEXTS, placing_words
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem

METRIC, US = UnitSystem.METRIC, UnitSystem.US
RULES = PlacementRules()
RP2 = PlacementLimits("RP-2", "return", False, 900, 1600, 0.5, 4.5, 35.0, 280, 110, 300)
SILENT = PlacementLimits("RP-2", "return", True)
HERE = BeltPlace("return", 560, 900, 1200, 4.5, False, 35.0, 430, 125, 250)
EMPTY = BeltPlace("return", 560, 900, None, None)


@pytest.mark.parametrize(
    "rules", [ClearanceRule, Asked, ClosenessRule, BeltEnd, WanderRule, ProofRule, CauseRule, CandidateRule]
)
def test_every_rule_has_a_text(rules):
    assert set(rules) <= set(TEXTS)


def line(limits, place, rule):
    return next(each.why for each in clearance_lines(limits, place) if each.rule == rule)


@pytest.mark.parametrize(
    ("limits", "place", "rule", "metric", "us"),
    [
        (RP2, HERE, "strand", "RP-2 is made for the return strand.", ""),
        (
            RP2, BeltPlace("carry", 0, 9, 1, 1), "strand",
            "RP-2 is made for the return strand, this is the carry strand.", "",
        ),
        (RP2, HERE, "direction", "The belt runs one way.", ""),
        (
            RP2, BeltPlace("return", 0, 9, 1, 1, True), "direction",
            "RP-2 is not made for both directions: in reverse it would steer the belt off.", "",
        ),
        (SILENT, BeltPlace("return", 0, 9, 1, 1, True), "direction", "RP-2 is made for both directions.", ""),
        (
            RP2, HERE, "width",
            "The belt is 1200 mm wide; RP-2 is stated for 900 to 1600 mm.",
            "The belt is 47.244 in wide; RP-2 is stated for 35.433 to 62.992 in.",
        ),
        (
            RP2, BeltPlace("return", 0, 9, 800, 1), "width",
            "The belt is 800 mm wide; RP-2 is stated for 900 to 1600 mm: 100 mm outside.", "",
        ),
        (
            PlacementLimits("RP-2", "return", False, None, 1600), HERE, "width",
            "The belt is 1200 mm wide; RP-2 is stated for up to 1600 mm. Only one end of the range is stated.", "",
        ),
        (
            PlacementLimits("RP-2", "return", False, 900), EMPTY, "width",
            "Not measured: RP-2 is stated for 900 mm or more.", "Not measured: RP-2 is stated for 35.433 in or more.",
        ),
        (SILENT, HERE, "width", "Not stated: RP-2 gives no belt width. Ask for it before the place is chosen.", ""),
        (SILENT, HERE, "speed", "Not stated: RP-2 gives no belt speed. Ask for it before the place is chosen.", ""),
        (RP2, HERE, "speed", "The belt runs at 4.5 m/s; RP-2 is stated for 0.5 to 4.5 m/s.", ""),
        (
            RP2, BeltPlace("return", 0, 9, 1, 4.6), "speed",
            "The belt runs at 4.6 m/s; RP-2 is stated for 0.5 to 4.5 m/s: 0.1 m/s outside.", "",
        ),
        (RP2, EMPTY, "speed", "Not measured: RP-2 is stated for 0.5 to 4.5 m/s.", ""),
        (
            PlacementLimits("RP-2", "return", False, speed_most_m_s=3.25), EMPTY, "speed",
            "Not measured: RP-2 is stated for up to 3.25 m/s.", "",
        ),
        (RP2, HERE, "trough", "The trough is 35°; RP-2 is made for 35°.", "The trough is 35°; RP-2 is made for 35°."),
        (RP2, EMPTY, "trough", "Not measured: RP-2 is made for a trough of 35°.", ""),
        (
            RP2, HERE, "below",
            "150 mm to spare: 430 mm of clearance below, RP-2 needs 280 mm.",
            "5.906 in to spare: 16.929 in of clearance below, RP-2 needs 11.024 in.",
        ),
        (RP2, EMPTY, "beside", "Not measured: RP-2 needs 110 mm of clearance beside. A survey measures it.", ""),
        (RP2, HERE, "along", "250 mm of room along the belt where RP-2 needs 300 mm: 50 mm short.", ""),
        (
            SILENT, HERE, "below",
            "Not stated: RP-2 gives no least clearance below. 430 mm are there. Ask for it before the place is chosen.",
            "",
        ),
        (
            SILENT, EMPTY, "below",
            "Not stated: RP-2 gives no least clearance below. Ask for it before the place is chosen.", "",
        ),
    ],
)  # fmt: skip
def test_a_line_of_the_sheet_says_what_is_there_and_what_is_wanted(limits, place, rule, metric, us):
    assert placing_words(line(limits, place, rule), METRIC) == metric
    if us:
        assert placing_words(line(limits, place, rule), US) == us


@pytest.mark.parametrize(
    ("chainage_m", "metric", "us"),
    [
        (4.0, "Too near: 4 m from the tail pulley; at least 5 m are usual.",
         "Too near: 13.1 ft from the tail pulley; at least 16.4 ft are usual."),
        (891.25, "Near: 8.75 m from the head pulley; 10 m are better.", ""),
        (123.456, "123.5 m from the tail pulley.", "405.2 ft from the tail pulley."),
    ],
)  # fmt: skip
def test_what_stands_near_is_said_with_its_distance(chainage_m, metric, us):
    (pulley,) = closeness_lines(BeltCase(900.0, None, 4.5, False, 5000.0), "return", chainage_m, RULES)
    assert placing_words(pulley.why, METRIC) == metric
    if us:
        assert placing_words(pulley.why, US) == us


def test_what_a_plant_calls_a_part_stands_as_it_is():
    case = BeltCase(900.0, 1200, 4.5, False, 5000.0, fixtures=(Fixture("scraper", 300.0, "scraper S-7"),))
    found = {each.rule: each.why for each in closeness_lines(case, "return", 302.0, RULES)}
    assert placing_words(found["scraper"], METRIC) == "Too near: 2 m from the scraper S-7; at least 5 m are usual."


@pytest.mark.parametrize(
    ("at_m", "metric"),
    [
        (395.0, "5 m before the wandering stretch from 400 to 480 m begins; usual is 6 to 9 m into it."),
        (403.0, "Only 3 m into the wandering stretch from 400 to 480 m; usual is 6 to 9 m into it."),
        (406.0, "6 m into the wandering stretch from 400 to 480 m, as is usual."),
        (450.0, "50 m into the wandering stretch from 400 to 480 m: what lies upstream of it stays unsteered."),
    ],
)
def test_the_depth_in_the_wander_is_said_with_the_stretch(at_m, metric):
    (found,) = into_the_wander([Wander(Zone(400, 480), 4, 0)], "carry", at_m, False, RULES)
    assert placing_words(found.why, METRIC) == metric


def test_a_stretch_at_one_switch_says_that_nobody_knows_where_it_begins():
    (found,) = into_the_wander([Wander(Zone(400, 400), 4, 3)], "carry", 392.0, False, RULES)
    assert placing_words(found.why, METRIC) == (
        "8 m before the wandering stretch at 400 m begins; usual is 6 to 9 m into it. 3 of its 4 incidents carry the "
        "place of a switch: look from outside the guards where it really begins."
    )
    assert placing_words(found.why[:1], US) == (
        "26.2 ft before the wandering stretch at 1,312.3 ft begins; usual is 19.7 to 29.5 ft into it."
    )


def proof(n, *switches, hours=5000.4):
    case = BeltCase(
        900.0, 1200, 4.5, False, hours, tuple(SeenIncident("return", 530.0) for _ in range(n)), detectors_m=switches
    )
    return provability(case, reach_of(case, "return", 550.0, 50.0)).why


@pytest.mark.parametrize(
    ("n", "switches", "words"),
    [
        (
            20,
            (),
            "No drift switch and no logged station stands in the zone: incidents there may go unseen, so the device "
            "could not be judged by them. Log a station or move a switch first.",
        ),
        (
            50,
            (540.0,),
            "1 switch or logged station stands in the zone, at 540 m. A halving would show with 80 % probability after "
            "about 4,900 running hours (50 incidents in 5000 h before).",
        ),
        (
            1,
            (510.0, 540.0),
            "2 switches or logged stations stand in the zone, at 510, 540 m. 1 incident in 5000 h before is too few to "
            "show a halving or even a fall to a tenth: whether it works could hardly be told from counts. Measure belt "
            "offsets.",
        ),
    ],
)
def test_the_proof_is_said_with_what_sees_it(n, switches, words):
    assert placing_words(proof(n, *switches), METRIC) == words


def test_where_several_stand_each_is_in_the_reader_s_unit():
    assert placing_words(proof(1, 510.0, 540.0)[:1], US) == (
        "2 switches or logged stations stand in the zone, at 1,673.2, 1,771.7 ft."
    )


def test_a_smaller_proof_is_offered_where_a_halving_cannot_be_shown():
    said = placing_words(proof(12, 540.0)[1], METRIC)
    assert said.startswith(
        "12 incidents in 5000 h before are too few to show a halving; a fall to a quarter would show "
    )


def test_causes_are_said_first_or_put_aside_with_the_reason():
    seized = OpenCause("idler 203 is seized.", "return", 430, 430)
    survey = OpenCause(Reason(CauseRule.FOUND_AT_SURVEY, {"cause": "crooked splice", "on": date(2026, 10, 2)}))
    seen = tuple(SeenIncident("return", 420.0, "build-up") for _ in range(3))
    case = BeltCase(900.0, 1200, 4.5, False, 5000.0, seen, open_causes=(seized, survey))
    found = causes_first(case, "return", (Zone(400, 450),), RULES)
    assert [placing_words(each, METRIC) for each in found] == [
        "Cure first: idler 203 is seized.",
        "Cure first: crooked splice, found at the survey of 2 Oct 2026.",
        "Cure first: 3 of 3 incidents in reach are put down to build-up.",
    ]
    told = put_aside(found[1:], Override("return", 0, 900, "rolls come in May.", "erin, 2 Nov 2026"))
    assert placing_words(told, METRIC) == (
        "Not cured: crooked splice, found at the survey of 2 Oct 2026; 3 of 3 incidents in reach are put down to "
        "build-up. "
        "To be fitted all the same, because: rolls come in May (erin, 2 Nov 2026)."
    )
    nobody = put_aside(found[:1], Override("return", 0, 900, "rolls come in May"))
    assert placing_words(nobody, METRIC) == (
        "Not cured: idler 203 is seized. To be fitted all the same, because: rolls come in May."
    )


def test_a_cause_that_was_overridden_is_said_with_the_reason():
    cause = OpenCause("belt is bowed", "return", 430, 430, "new belt comes in March")
    case = BeltCase(900.0, 1200, 4.5, False, 5000.0, open_causes=(cause,))
    assert placing_words(overridden_causes(case, "return", (Zone(400, 450),)), METRIC) == (
        "Not cured: belt is bowed; to be fitted all the same, because: new belt comes in March"
    )


def test_a_place_is_offered_with_its_reasons():
    seen = tuple(SeenIncident("return", 200.0 + each) for each in range(6))
    steered = (Steered("device 4", "return", Zone(150, 180)),)
    case = BeltCase(400.0, 1200, 4.5, False, 5000.0, seen, steered)
    best = candidates("A-1", case, (), effect_length_m=50)[0]
    said = placing_words(best.reasons, METRIC)
    assert said.startswith("6 of the 6 incidents of this strand lie at ")
    assert "where it would steer and no device reaches." in said
    assert "No model in the book suits this strand by direction, belt width and speed." in said


@pytest.mark.parametrize(
    ("rule", "values", "metric", "us"),
    [
        (
            CandidateRule.REACHES_ONE,
            {
                "n": 1,
                "incidents": Reason(ProofRule.ONE_INCIDENT, {"n": 1}),
                "stretch": Reason(
                    CandidateRule.TWO_ZONES,
                    {
                        "one": Reason(CandidateRule.ZONE, {"low_m": 100.0, "high_m": 150.0}),
                        "other": Reason(CandidateRule.ZONE, {"low_m": 150.0, "high_m": 200.0}),
                    },
                ),
            },
            "1 of the 1 incident of this strand lies at 100 to 150 m and 150 to 200 m, where it would steer and "
            "no device "
            "reaches.",
            "1 of the 1 incident of this strand lies at 328.1 to 492.1 ft and 492.1 to 656.2 ft, where it would "
            "steer and "
            "no device reaches.",
        ),
        (
            CandidateRule.IN_GAP,
            {"low_m": 300.0, "high_m": 710.0, "n": 23, "total": 38},
            "It lies in the stretch from 300 to 710 m, which no device reaches and where 23 of the 38 lie.",
            "It lies in the stretch from 984.3 to 2,329.4 ft, which no device reaches and where 23 of the 38 lie.",
        ),
        (
            CandidateRule.SHARED,
            {"shared_m": 20.0, "names": "device 4, device 9"},
            "20 m of it are steered by device 4, device 9 already.",
            "65.6 ft of it are steered by device 4, device 9 already.",
        ),
    ],
)
def test_reasons_of_a_candidate_are_said_in_the_reader_s_units(rule, values, metric, us):
    assert placing_words(Reason(rule, values), METRIC) == metric
    assert placing_words(Reason(rule, values), US) == us
