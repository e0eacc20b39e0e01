"""One place judged: margins by hand, worked placements, and properties that must hold on every belt."""

import doctest
import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from installs.calc import clearance, open_causes
from installs.calc.belt_cases import BeltCase, BeltPlace, Fixture, Logged, OpenCause, SeenIncident, Steered
from installs.calc.clearance import Asked, ClearanceRule, Fit, PlacementLimits, clearance_lines, overall
from installs.calc.closeness import BeltEnd, ClosenessRule, closeness_lines
from installs.calc.effect_zones import Zone, effect_zone, strand_coverage
from installs.calc.open_causes import CauseRule, causes_first
from installs.calc.placement import judge_place
from installs.calc.placement_rules import PlacementRules
from installs.calc.provability import ProofRule, hours_until_shown, provability, reach_of
from installs.calc.wander import WanderRule, into_the_wander, wandering_stretches
from plant.calc.rate_power import hours_to_power, power_to_detect
from plant.calc.reasons import Reason

WORKED = json.loads((Path(__file__).parents[2] / "reference" / "fitup.json").read_text())["placement"]
FOOT_M = 0.3048
RP2 = PlacementLimits(
    "RP-2", "return", False, 900, 1600, 0.5, 4.5, clearance_below_mm=280, clearance_beside_mm=110, effect_length_m=50
)
HERE = BeltPlace("return", 560, 900, 1200, 4.5, clearance_below_mm=430, clearance_beside_mm=125)
RULES = PlacementRules()


def a_case(*positions, strand="return", steered=(), length_m=900.0, hours=5000.0, **given):
    return BeltCase(
        length_m, 1200, 4.5, given.pop("is_reversing", False), hours,
        tuple(SeenIncident(strand, each) for each in positions),
        tuple(Steered(name, strand, zone) for name, zone in steered), **given,
    )  # fmt: skip


def line(limits, place, rule):
    return next(each for each in clearance_lines(limits, place) if each.rule == rule)


@pytest.mark.parametrize("module", [clearance, open_causes])
def test_examples(module):
    found = doctest.testmod(module)
    assert found.attempted
    assert found.failed == 0


# --- clearance --------------------------------------------------------------------------------------------------------
def test_what_fits_says_what_is_to_spare():
    assert overall(clearance_lines(RP2, HERE)) is Fit.FITS
    below = line(RP2, HERE, "below")
    assert below.margin == 150
    known = {"model": "RP-2", "room": Asked.BELOW, "needs_mm": 280, "there_mm": 430, "spare_mm": 150}
    assert below.why == Reason(ClearanceRule.ROOM_FITS, known)
    assert line(RP2, HERE, "beside").margin == 15
    assert line(RP2, HERE, "width").margin == 300
    assert line(RP2, HERE, "speed").margin == 0


@pytest.mark.parametrize(
    ("rule", "changed", "why", "by"),
    [
        ("below", {"clearance_below_mm": 279.5}, ClearanceRule.ROOM_SHORT, {"short_mm": 0.5, "room": Asked.BELOW}),
        ("beside", {"clearance_beside_mm": 75}, ClearanceRule.ROOM_SHORT, {"short_mm": 35, "room": Asked.BESIDE}),
        ("width", {"belt_width_mm": 800}, ClearanceRule.WIDTH_OUTSIDE, {"outside_mm": 100}),
        ("width", {"belt_width_mm": 1800}, ClearanceRule.WIDTH_OUTSIDE, {"outside_mm": 200}),
        ("speed", {"speed_m_s": 4.6}, ClearanceRule.SPEED_OUTSIDE, {"outside_m_s": pytest.approx(0.1)}),
        ("speed", {"speed_m_s": 0.3}, ClearanceRule.SPEED_OUTSIDE, {"outside_m_s": pytest.approx(0.2)}),
        ("strand", {"strand": "carry"}, ClearanceRule.STRAND_DIFFERS, {"made_for": "return", "strand": "carry"}),
        ("direction", {"is_reversing": True}, ClearanceRule.ONE_DIRECTION, {"model": "RP-2"}),
    ],
)
def test_what_misses_a_limit_does_not_fit(rule, changed, why, by):
    place = replace(HERE, **changed)
    found = line(RP2, place, rule)
    assert (found.fit, found.why.rule) == (Fit.DOES_NOT_FIT, why)
    assert {name: found.why.values[name] for name in by} == by
    assert overall(clearance_lines(RP2, place)) is Fit.DOES_NOT_FIT


@pytest.mark.parametrize(
    ("rule", "silent", "why"),
    [
        ("below", {"clearance_below_mm": None}, ClearanceRule.ROOM_THERE_NOT_STATED),
        ("beside", {"clearance_beside_mm": None}, ClearanceRule.ROOM_THERE_NOT_STATED),
        ("width", {"belt_width_least_mm": None, "belt_width_most_mm": None}, ClearanceRule.NOT_STATED),
        ("width", {"belt_width_least_mm": None}, ClearanceRule.WIDTH_ONE_END),
        ("speed", {"speed_least_m_s": None, "speed_most_m_s": None}, ClearanceRule.NOT_STATED),
    ],
)
def test_what_the_model_does_not_state_is_no_pass(rule, silent, why):
    found = line(replace(RP2, **silent), HERE, rule)
    assert (found.fit, found.why.rule) == (Fit.NOT_STATED, why)
    assert overall(clearance_lines(replace(RP2, **silent), HERE)) is Fit.NOT_STATED


def test_one_stated_end_still_refuses():
    assert line(replace(RP2, belt_width_most_mm=None), replace(HERE, belt_width_mm=800), "width").margin == -100


@pytest.mark.parametrize("rule", ["below", "beside"])
def test_what_nobody_measured_is_no_pass(rule):
    place = replace(HERE, **{f"clearance_{rule}_mm": None})
    assert line(RP2, place, rule).fit is Fit.NOT_MEASURED
    assert overall(clearance_lines(RP2, place)) is Fit.NOT_MEASURED


def test_the_trough_is_asked_on_the_carry_strand():
    model = replace(RP2, strand="carry", trough_angle_deg=35)
    carry = replace(HERE, strand="carry")
    assert [each.rule for each in clearance_lines(RP2, HERE)] == [
        "strand", "direction", "width", "speed", "below", "beside",
    ]  # fmt: skip
    assert line(model, carry, "trough").fit is Fit.NOT_MEASURED
    assert line(model, replace(carry, trough_angle_deg=35), "trough").fit is Fit.FITS
    assert line(model, replace(carry, trough_angle_deg=45), "trough").fit is Fit.DOES_NOT_FIT
    assert line(replace(model, trough_angle_deg=None), carry, "trough").fit is Fit.NOT_STATED


def test_nothing_asked_is_an_error():
    with pytest.raises(ValueError, match="ask at least one rule"):
        overall([])


@given(st.floats(0, 2000), st.floats(0, 2000))
def test_the_sign_of_the_margin_is_the_verdict(there, needed):
    found = line(replace(RP2, clearance_below_mm=needed), replace(HERE, clearance_below_mm=there), "below")
    assert (found.fit is Fit.FITS) == (found.margin >= 0) == (there >= needed)


# --- closeness --------------------------------------------------------------------------------------------------------
def closeness(case, strand, chainage_m):
    return {each.rule: each for each in closeness_lines(case, strand, chainage_m, RULES)}


def test_ends_of_the_belt_are_pulleys_though_none_is_in_the_book():
    found = closeness(a_case(length_m=95.0), "return", 4.0)["pulley"]
    assert (found.fit, found.measured) == (Fit.DOES_NOT_FIT, 4.0)
    known = {"distance_m": 4.0, "what": BeltEnd.TAIL_PULLEY, "least_m": 5.0}
    assert found.why == Reason(ClosenessRule.TOO_NEAR, known)
    assert closeness(a_case(length_m=95.0), "carry", 88.0)["pulley"].fit is Fit.CONDITION
    assert closeness(a_case(length_m=95.0), "carry", 40.0)["pulley"].fit is Fit.FITS


def test_before_the_tail_pulley_a_wide_belt_wants_its_width_and_an_idler_pitch():
    """3 m of pitch and 2.4 m of belt: 5.4 m."""
    wide = replace(a_case(), belt_width_mm=2400)
    assert closeness(wide, "return", 5.2)["pulley"].least == pytest.approx(5.4)
    assert closeness(wide, "return", 5.2)["pulley"].fit is Fit.DOES_NOT_FIT
    assert closeness(wide, "carry", 5.2)["pulley"].fit is Fit.CONDITION


def test_only_what_stands_on_the_strand_counts():
    case = a_case(
        fixtures=(
            Fixture("loading", 6.0, "loading point", "carry"),
            Fixture("scraper", 891.0, "scraper", "return"),
            Fixture("scale", 100.0, "belt scale", "carry"),
        )
    )
    assert set(closeness(case, "return", 103.0)) == {"pulley", "scraper"}
    carry = closeness(case, "carry", 103.0)
    assert set(carry) == {"pulley", "loading", "scale"}
    # Three idlers at 1.2 m.
    assert (carry["scale"].least, carry["scale"].fit) == (pytest.approx(3.6), Fit.DOES_NOT_FIT)
    assert closeness(case, "carry", 104.0)["scale"].fit is Fit.FITS


# --- into the wander --------------------------------------------------------------------------------------------------
WANDER = (400.0, 420.0, 450.0, 480.0)


@pytest.mark.parametrize(
    ("strand", "chainage_m", "distance_m", "fit"),
    [
        ("carry", 406.0, 6.0, Fit.FITS),
        ("carry", 395.0, -5.0, Fit.CONDITION),
        ("carry", 403.0, 3.0, Fit.CONDITION),
        ("carry", 450.0, 50.0, Fit.CONDITION),
        ("return", 474.0, 6.0, Fit.FITS),
        ("return", 490.0, -10.0, Fit.CONDITION),
        ("return", 406.0, 74.0, Fit.CONDITION),
    ],
)
def test_depth_is_counted_along_travel(strand, chainage_m, distance_m, fit):
    wanders = wandering_stretches(a_case(*WANDER, strand=strand), strand, RULES)
    assert [each.zone for each in wanders] == [Zone(400, 480)]
    (found,) = into_the_wander(wanders, strand, chainage_m, False, RULES)
    assert (found.distance_m, found.fit) == (distance_m, fit)


def test_a_reversing_belt_has_a_depth_for_each_way():
    wanders = wandering_stretches(a_case(*WANDER), "return", RULES)
    back, forth = into_the_wander(wanders, "return", 430.0, True, RULES)
    assert (back.towards, back.distance_m) == ("tail", 50.0)
    assert (forth.towards, forth.distance_m) == ("head", 30.0)


def test_behind_the_last_stretch_nothing_is_said():
    wanders = wandering_stretches(a_case(*WANDER), "return", RULES)
    assert into_the_wander(wanders, "return", 300.0, False, RULES) == ()


@pytest.mark.parametrize("case", WORKED, ids=lambda case: case["strand"])
def test_worked_placements_stand_twenty_feet_into_the_stretch(case):
    strand = case["strand"]
    sign = 1 if strand == "carry" else -1
    start = case["stretch_start_m"]
    known = a_case(start, start + sign * 20, start + sign * 40, strand=strand, length_m=400.0)
    (found,) = into_the_wander(wandering_stretches(known, strand, RULES), strand, case["device_m"], False, RULES)
    assert found.distance_m == pytest.approx(20 * FOOT_M, abs=1e-6)
    assert found.fit is Fit.FITS


def test_incidents_at_a_switch_do_not_tell_where_the_wander_begins():
    case = a_case(540.0, 540.0, 540.0, 551.0, detectors_m=(480.0, 540.0))
    (wander,) = wandering_stretches(case, "return", RULES)
    assert wander.n_at_detector == 3
    (found,) = into_the_wander((wander,), "return", 545.0, False, RULES)
    assert found.why[1:] == (Reason(WanderRule.AT_SWITCH, {"n": 3, "of": 4}),)


@pytest.mark.parametrize("at", [(0.0, 32.4, 72.4), (327.6, 367.6, 400.0)])
def test_incidents_just_as_far_apart_as_a_stretch_allows_make_one_on_either_half_of_the_belt(at):
    """72.4 - 32.4 is 40.00000000000001 in binary, 367.6 - 327.6 is 40: both are the 40 m that join two incidents."""
    (wander,) = wandering_stretches(a_case(*at), "return", RULES)
    assert wander.n == 3


def test_a_depth_that_is_the_usual_one_to_the_last_bit_fits():
    case = a_case(64.1, 60.0, 50.0)  # 64.1 - 58.1 is 5.999999999999993 in binary
    (found,) = into_the_wander(wandering_stretches(case, "return", RULES), "return", 58.1, False, RULES)
    assert found.distance_m < RULES.into_wander_least_m
    assert found.fit is Fit.FITS


def test_few_incidents_make_no_stretch():
    assert wandering_stretches(a_case(10.0, 20.0, 300.0), "return", RULES) == ()


# --- reach ------------------------------------------------------------------------------------------------------------
def test_reach_counts_what_no_device_reaches_yet():
    """Zone 500 to 550 m; another device steers 480 to 520 m: 510 m is reached already."""
    case = a_case(499.9, 500.0, 510.0, 530.0, 550.0, 550.1, steered=[("device 4", Zone(480, 520))], hours=5000.0)
    found = reach_of(case, "return", 550.0, 50.0)
    assert (found.n_in_zone, found.n_new) == (4, 2)
    assert (found.shared_m, found.shared_with) == (20.0, ("device 4",))
    # 2 in 5000 h: 0.4 per 1000 h, 0.0484 to 1.4449 (Garwood's limits 0.2422 and 7.2247 of a count of 2).
    assert (found.rate.per_1000_h, found.rate.low, found.rate.high) == pytest.approx((0.4, 0.04844, 1.44494), abs=1e-5)


positions = st.lists(st.integers(0, 4000).map(lambda each: each / 10), max_size=40)
places = st.integers(0, 4000).map(lambda each: each / 10)
zones = st.lists(st.tuples(places, places).filter(lambda ends: ends[0] < ends[1]), max_size=4)
SAYS = {"clearance_below_mm": 430, "clearance_beside_mm": 125}


def on(strand, at, covered, is_reversing=False, mirrored=False):
    def place(each):
        return 400.0 - each if mirrored else each

    steered = [(str(n), Zone(*sorted((place(low), place(high))))) for n, (low, high) in enumerate(covered)]
    case = a_case(*map(place, at), strand=strand, steered=steered, length_m=400.0, is_reversing=is_reversing)
    return replace(case, belt_width_mm=None, detectors_m=tuple(place(each) for each in (2.0, 60.0, 120.0, 398.0)))


@given(positions, zones, places, st.booleans())
@settings(deadline=None)
def test_a_mirrored_belt_has_the_mirrored_answers(at, covered, chainage_m, is_reversing):
    """Tail for head and carry for return: travel turns with them, so nothing else may change."""
    one, other = on("carry", at, covered, is_reversing), on("return", at, covered, is_reversing, mirrored=True)
    here = judge_place(one, one.place("carry", chainage_m), RP2, effect_length_m=50)
    there = judge_place(other, other.place("return", 400.0 - chainage_m), RP2, effect_length_m=50)
    assert (here.reach.n_new, here.reach.n_in_zone) == (there.reach.n_new, there.reach.n_in_zone)
    assert here.reach.shared_m == pytest.approx(there.reach.shared_m, abs=1e-6)
    assert here.reach.rate == there.reach.rate
    assert [each.distance_m for each in here.into_wander] == pytest.approx(
        [each.distance_m for each in there.into_wander], abs=1e-6
    )
    assert len(here.proof.detectors_m) == len(there.proof.detectors_m)
    assert here.proof.hours == there.proof.hours
    assert [each.measured for each in here.closeness] == pytest.approx([each.measured for each in there.closeness])


@given(positions, places)
def test_on_a_reversing_belt_the_reach_is_that_of_both_ways(at, chainage_m):
    both = reach_of(on("return", at, (), is_reversing=True), "return", chainage_m, 50)
    tailwards = reach_of(on("return", at, ()), "return", chainage_m, 50)
    headwards = reach_of(on("carry", at, ()), "carry", chainage_m, 50)
    assert set(both.zones) == {*tailwards.zones, *headwards.zones}
    here = sum(each == chainage_m for each in at)
    twice = here if tailwards.zones and headwards.zones else 0
    assert both.n_in_zone == tailwards.n_in_zone + headwards.n_in_zone - twice


@given(positions, zones)
def test_covered_and_uncovered_make_the_length(at, covered):
    known = [Zone(low, high) for low, high in covered]
    found = strand_coverage(at, known, 400.0)
    assert found.covered_m + found.uncovered_m == pytest.approx(400.0, abs=1e-6)
    assert found.n_reached + found.n_not_reached + found.n_without_place == len(at)
    assert -1e-6 <= found.overlap_m <= found.covered_m + 1e-6
    assert sum(gap.zone.length_m for gap in found.gaps) == pytest.approx(found.uncovered_m, abs=1e-6)


# --- proof ------------------------------------------------------------------------------------------------------------
def test_without_a_detector_it_can_never_be_proven():
    case = a_case(*[530.0] * 20, detectors_m=(480.0, 600.0))
    found = provability(case, reach_of(case, "return", 550.0, 50.0))
    assert (found.detectors_m, found.hours, found.can_be_proven) == ((), None, False)
    assert found.why == (Reason(ProofRule.UNSEEN),)


def test_a_station_that_people_log_sees_its_own_strand_only():
    case = a_case(*[530.0] * 50, hours=5000.0, logged=(Logged("return", 520.0), Logged("carry", 525.0)))
    found = provability(case, reach_of(case, "return", 550.0, 50.0))
    assert (found.detectors_m, found.can_be_proven) == ((520.0,), True)
    assert provability(case, reach_of(case, "carry", 500.0, 50.0), strand="carry").detectors_m == (525.0,)
    assert case.detectors_on("return") == (520.0,)


def test_hours_until_a_halving_shows_do_reach_that_power():
    """50 before in equal hours have 81 % power for a halving (exact test); so a little less than equal hours do."""
    case = a_case(*[530.0] * 50, detectors_m=(540.0,), hours=5000.0)
    found = provability(case, reach_of(case, "return", 550.0, 50.0))
    assert found.hours == pytest.approx(hours_to_power(0.01, 5000.0), rel=2e-3)
    assert power_to_detect(50, 5000.0, found.hours, 0.5) >= 0.8
    assert found.can_be_proven


def test_few_incidents_can_never_show_a_halving():
    case = a_case(530.0, 531.0, detectors_m=(540.0,))
    found = provability(case, reach_of(case, "return", 550.0, 50.0))
    assert (found.hours, found.can_be_proven) == (None, False)
    few = Reason(ProofRule.TOO_FEW, {"n": 2, "before_h": 5000})
    assert found.why[1] == Reason(ProofRule.HARDLY, {"few": few})
    assert hours_until_shown(0, 5000.0) is None
    assert hours_until_shown(5, 0.0) is None


def test_where_a_halving_cannot_be_shown_a_greater_fall_may_be():
    """With 12 before no number of hours shows a halving; a fall to a quarter it does."""
    case = a_case(*[530.0] * 12, detectors_m=(540.0,))
    found = provability(case, reach_of(case, "return", 550.0, 50.0))
    assert (found.hours, found.can_be_proven) == (None, False)
    needed = hours_until_shown(12, 5000.0, 0.25)
    assert power_to_detect(12, 5000.0, needed, 0.25) >= 0.8
    assert found.why[1].rule is ProofRule.FALL_TO_QUARTER
    assert found.why[1].values["about_hours"] == pytest.approx(needed, rel=0.05)


# --- causes first -----------------------------------------------------------------------------------------------------
def cure_first(cause):
    return Reason(CauseRule.CURE_FIRST, {"cause": Reason(CauseRule.TYPED, {"cause": cause})})


def test_an_open_cause_in_reach_comes_first():
    seized = OpenCause("idler 203 is seized", "return", 430, 430)
    case = a_case(420.0, 425.0, open_causes=(seized,))
    assert causes_first(case, "return", (Zone(400, 450),), RULES) == (cure_first("idler 203 is seized"),)
    assert causes_first(case, "return", (Zone(500, 550),), RULES) == ()
    assert causes_first(case, "carry", (Zone(400, 450),), RULES) == ()
    whole = replace(case, open_causes=(OpenCause("splice is crooked"),))
    assert causes_first(whole, "carry", (Zone(0, 50),), RULES) == (cure_first("splice is crooked"),)


def test_a_cause_that_was_overridden_holds_nothing_back_but_stays_said():
    cause = OpenCause("belt is bowed", "return", 430, 430, "new belt comes in March")
    case = a_case(420.0, 425.0, open_causes=(cause,))
    found = judge_place(case, case.place("return", 450, **SAYS), RP2, effect_length_m=50)
    assert found.causes_first == ()
    bowed = Reason(CauseRule.TYPED, {"cause": "belt is bowed"})
    assert found.overridden == (Reason(CauseRule.NOT_CURED, {"cause": bowed, "why": "new belt comes in March"}),)


def test_a_suspected_cause_counts_when_half_of_the_incidents_name_it():
    seen = tuple(
        SeenIncident("return", 420.0, cause) for cause in ("build-up", "build-up", "build-up", "", "load off centre")
    )
    case = replace(a_case(), incidents=seen)
    suspected = Reason(CauseRule.SUSPECTED, {"n": 3, "of": 5, "cause": "build-up"})
    assert causes_first(case, "return", (Zone(400, 450),), RULES) == (
        Reason(CauseRule.CURE_FIRST, {"cause": suspected}),
    )
    fewer = replace(case, incidents=seen[1:])
    assert causes_first(fewer, "return", (Zone(400, 450),), RULES) == ()


def test_a_trial_on_a_place_off_the_belt_is_refused_with_words():
    with pytest.raises(ValueError, match="chainage_m is 901 m; give 0 to 900 m"):
        judge_place(a_case(), a_case().place("return", 901), RP2, effect_length_m=50)


def test_least_and_most_length_of_effect_bracket_the_reach():
    case = a_case(*range(480, 550, 10))
    model = replace(RP2, effect_length_least_m=45, effect_length_most_m=60)
    found = judge_place(case, case.place("return", 550, **SAYS), model, effect_length_m=50)
    assert (found.n_least, found.reach.n_in_zone, found.n_most) == (4, 5, 6)
    assert effect_zone("return", 550, 45, 900) == (Zone(505, 550),)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"into_wander_least_m": 10}, "give 0 m or more, the lesser first"),
        ({"close_m": 20}, "give 0 <= close_m <= clear_m"),
        ({"joined_m": 0}, "joined_m is 0 m; give a length above 0 m"),
        ({"least_cause_share": 0}, "least_cause_share is 0; give a share above 0"),
        ({"least_incidents": 0}, "least_incidents must be 1 or more"),
    ],
)
def test_rules_check_themselves(given, said):
    with pytest.raises(ValueError, match=said):
        PlacementRules(**given)
