"""Places ranked: against a count by hand at every chainage, the long belt's story, and properties of mirrored belts."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from installs.calc.belt_cases import BeltCase, Fixture, OpenCause, Override, SeenIncident, Steered
from installs.calc.candidates import CandidateRule, candidates, rank, scan_strand, suiting_models
from installs.calc.clearance import PlacementLimits
from installs.calc.effect_zones import Zone, effect_zone
from installs.calc.open_causes import CauseRule
from installs.calc.placement_rules import PlacementRules
from installs.calc.provability import incident_count
from plant.calc.reasons import Reason
from tests.growth import growth

RP2 = PlacementLimits("RP-2", "return", False, 900, 1600, None, 4.5, clearance_below_mm=280)
CT1 = PlacementLimits("CT-1", "carry", False, 800, 1400, None, 3.2)
RV2 = PlacementLimits("RV-2", "return", True, 800, 1400, None, 3.2)
MODELS = (RP2, CT1, RV2)

positions = st.lists(st.integers(0, 4000).map(lambda each: each / 10), max_size=40)
places = st.integers(0, 80).map(lambda each: 5.0 * each)
zones = st.lists(st.tuples(places, places).filter(lambda ends: ends[0] < ends[1]), max_size=3)


def a_case(seen=(), steered=(), length_m=400.0, is_reversing=False, hours=5000.0, speed_m_s=2.5, **given):
    return BeltCase(
        length_m, 1200, speed_m_s, is_reversing, hours,
        tuple(SeenIncident(strand, at) for strand, at in seen),
        tuple(Steered(name, strand, zone) for name, strand, zone in steered), **given,
    )  # fmt: skip


def chosen(case, **given):
    return [
        (each.judged.place.strand, each.judged.place.chainage_m, each.judged.reach.n_new)
        for each in candidates("A-1", case, MODELS, effect_length_m=50, **given)
    ]


def long_belt(**given):
    """900 m with devices at 60, 180, 300 and 760 m; 23 of 38 incidents lie where none of them steers."""
    steered = [
        (f"device {number}", "return", effect_zone("return", at, 50, 900)[0])
        for number, at in ((8, 60.0), (9, 180.0), (10, 300.0), (11, 760.0))
    ]
    # All of them at odd metres, so that hardly two lie at one place.
    gap = np.linspace(431, 609, 23)
    elsewhere = [("return", each) for each in (18, 39, 53, 149, 257, 266, 270, 296, 297, 715, 729, 757, 829, 840, 840)]
    return a_case(
        [*(("return", float(each)) for each in gap), *elsewhere], steered, 900.0, hours=5180.0, speed_m_s=4.5, **given
    )


@given(positions, positions, zones, st.booleans())
@settings(deadline=None)
def test_each_place_of_the_scan_equals_a_count_by_hand(carry, back, covered, is_reversing):
    steered = [("1", "return", Zone(low, high)) for low, high in covered]
    case = a_case(
        [*(("carry", at) for at in carry), *(("return", at) for at in back)], steered, is_reversing=is_reversing
    )
    for strand, at, others in (("carry", carry, ()), ("return", back, covered)):
        found = scan_strand(case, strand, 50.0)
        for chainage, n, rate in zip(found.chainages_m, found.n_new, found.per_1000_h, strict=True):
            low, high = (chainage, chainage + 50) if strand == "carry" else (chainage - 50, chainage)
            if is_reversing:
                low, high = chainage - 50, chainage + 50
            by_hand = sum(
                low - 1e-9 <= each <= high + 1e-9 and not any(a <= each <= b for a, b in others) for each in at
            )
            assert n == by_hand
            assert rate == pytest.approx(by_hand / 5.0)


def test_the_first_place_of_the_long_belt_lies_in_its_uncovered_stretch():
    first, *others = candidates("Q-11", long_belt(), MODELS, effect_length_m=50)
    place = first.judged.place
    assert place.strand == "return"
    assert 310 < place.chainage_m - 50 < place.chainage_m < 710
    assert first.judged.reach.n_new == 7
    assert first.rate == pytest.approx(7 / 5.18)
    assert first.judged.limits.name == "RP-2"
    assert first.has_model
    why = first.reasons[0]
    assert (why.rule, why.values["n"], why.values["incidents"]) == (CandidateRule.REACHES, 7, incident_count(38))
    gap = {"low_m": 300.0, "high_m": 710.0, "n": 23, "total": 38}
    assert first.reasons[1] == Reason(CandidateRule.IN_GAP, gap)
    assert [each.rate for each in others] == sorted((each.rate for each in others), reverse=True)


def test_few_incidents_in_few_hours_do_not_jump_the_queue():
    """3 in 1000 h are 3.0 per 1000 h, 12 in 5000 h only 2.4; but the first may be 0.6, the second hardly below 1.2."""
    short = candidates("A-1", a_case([("return", 100.0)] * 3, hours=1000.0), MODELS, effect_length_m=50)
    long = candidates("B-2", a_case([("return", 100.0)] * 12, hours=5000.0), MODELS, effect_length_m=50)
    assert short[0].rate > long[0].rate
    assert [each.belt for each in rank([*short, *long])] == ["B-2", "A-1"]


def test_candidates_of_a_strand_never_share_a_stretch():
    found = candidates("Q-11", long_belt(), MODELS, effect_length_m=50, most=8)
    at = sorted(each.judged.place.chainage_m for each in found)
    assert len(at) > 2
    assert np.diff(at).min() > 50


def test_what_a_device_reaches_already_is_no_reason_for_another():
    case = a_case([("return", 80.0)] * 9, [("device 1", "return", Zone(50, 100))])
    assert chosen(case) == []


def test_places_near_to_something_are_not_offered():
    fixtures = (Fixture("scraper", 100.0, "scraper", "return"), Fixture("scale", 200.0, "scale", "carry"))
    case = a_case(fixtures=fixtures)
    back = set(scan_strand(case, "return", 50.0, step_m=1.0).chainages_m)
    assert {10.0, 90.0, 110.0, 200.0, 390.0} <= back
    assert not {0.0, 9.0, 91.0, 109.0, 391.0, 400.0} & back
    carry = set(scan_strand(case, "carry", 50.0, step_m=1.0).chainages_m)
    assert {100.0, 196.0, 204.0} <= carry
    assert not {197.0, 203.0} & carry


def test_where_no_place_is_clear_those_not_too_near_are_offered():
    """15 m between the pulleys: nothing is 10 m from both, 5 to 10 m are at least 5 m from either."""
    assert scan_strand(a_case(length_m=15.0), "carry", 50.0).chainages_m.tolist() == [5.0, 10.0]


def test_a_short_belt_has_no_place():
    assert chosen(a_case([("return", 4.0)] * 9, length_m=8.0)) == []


def test_the_place_stands_in_the_wander_and_not_before_it():
    """Of 20 incidents from 100 to 119 m the place at 120 m reaches all, but stands before the wander begins; the one
    at 115 m, 4 m into it, reaches 16, which is less than nine tenths. With 40 more at 110 m it reaches 56 of 60.
    """
    spread = [("return", 100.0 + n) for n in range(20)]
    assert chosen(a_case(spread)) == [("return", 120.0, 20)]
    assert chosen(a_case(spread + [("return", 110.0)] * 40)) == [("return", 115.0, 56)]


def test_models_that_cannot_stand_on_the_belt_are_left_out():
    case = a_case(speed_m_s=4.5)
    assert [each.name for each in suiting_models(case, "return", MODELS)] == ["RP-2"]
    assert suiting_models(case, "carry", MODELS) == ()
    both_ways = a_case(is_reversing=True)
    assert [each.name for each in suiting_models(both_ways, "return", MODELS)] == ["RV-2"]


def test_a_place_that_no_model_fits_stands_below_one_that_a_model_fits():
    seen = [("carry", 100.0)] * 9 + [("return", 100.0)] * 4
    found = candidates("A-1", a_case(seen, speed_m_s=4.5), MODELS, effect_length_m=50)
    assert [(each.judged.place.strand, each.has_model) for each in found] == [("return", True), ("carry", False)]
    assert Reason(CandidateRule.NO_MODEL) in found[1].reasons


def test_a_place_with_an_open_cause_never_stands_above_one_without():
    seen = [("return", 100.0)] * 30 + [("return", 300.0)] * 2
    cause = OpenCause("idler 41 is seized", "return", 95, 105)
    case = a_case(seen, open_causes=(cause,))
    first, second = candidates("A-1", case, MODELS, effect_length_m=50)
    assert (first.is_cause_first, second.is_cause_first) == (False, True)
    seized = Reason(CauseRule.TYPED, {"cause": "idler 41 is seized"})
    assert second.reasons[0] == Reason(CauseRule.CURE_FIRST, {"cause": seized})
    assert second.rate > first.rate
    other = candidates("B-2", replace(case, open_causes=()), MODELS, effect_length_m=50)
    together = rank([second, *other, first])
    assert [each.is_cause_first for each in together] == [False, False, False, True]


@given(positions, positions, zones, st.booleans())
@settings(deadline=None)
def test_a_mirrored_belt_has_the_mirrored_places(carry, back, covered, is_reversing):
    """Tail for head and carry for return; the width is left open, since only the tail pulley asks for it."""
    turned = {"carry": "return", "return": "carry"}
    seen = [*(("carry", at) for at in carry), *(("return", at) for at in back)]
    steered = [("1", "return", Zone(low, high)) for low, high in covered]
    one = replace(a_case(seen, steered, is_reversing=is_reversing), belt_width_mm=None)
    other = replace(
        a_case(
            [(turned[strand], 400.0 - at) for strand, at in seen],
            [(name, turned[strand], Zone(400 - zone.high_m, 400 - zone.low_m)) for name, strand, zone in steered],
            is_reversing=is_reversing,
        ),
        belt_width_mm=None,
    )

    def places_of(case, is_turned):
        found = candidates("A-1", case, (), effect_length_m=50)
        return sorted(
            (turned[each.judged.place.strand], 400.0 - each.judged.place.chainage_m, each.judged.reach.n_new)
            if is_turned
            else (each.judged.place.strand, each.judged.place.chainage_m, each.judged.reach.n_new)
            for each in found
        )

    assert places_of(one, False) == places_of(other, True)


@given(positions, positions)
@settings(deadline=None)
def test_a_reversing_belt_reaches_at_least_as_much_at_every_place(carry, back):
    seen = [*(("carry", at) for at in carry), *(("return", at) for at in back)]
    both = a_case(seen, is_reversing=True)
    one = a_case(seen)
    for strand in ("carry", "return"):
        assert (scan_strand(both, strand, 50.0).n_new >= scan_strand(one, strand, 50.0).n_new).all()


def test_the_work_grows_no_faster_than_belt_and_incidents_together():
    rng = np.random.default_rng(7)

    def look(km):
        seen = [("return", float(at)) for at in rng.uniform(0, 1000 * km, 100 * km)]
        assert len(candidates("A-1", a_case(seen, length_m=1000.0 * km), MODELS, effect_length_m=50)) == 3

    assert growth(look, 5, 20) < 16  # every place against every incident


@pytest.mark.parametrize(
    ("strand", "given", "said"),
    [
        ("both", {}, "strand is 'both'; give one of carry, return"),
        ("carry", {"step_m": 0.0}, "step_m is 0.0 m; give a length above 0 m"),
    ],
)
def test_wrong_input_is_named(strand, given, said):
    with pytest.raises(ValueError, match=said):
        scan_strand(a_case(), strand, 50.0, rules=PlacementRules(), **given)


def test_a_cause_that_was_put_aside_holds_nothing_back_and_stays_said():
    """Found or suspected, on its stretch and strand only."""
    seen = [("return", 100.0)] * 30 + [("return", 300.0)] * 2
    cause = OpenCause("idler 41 is seized", "return", 95, 105)
    reason = Override("return", 80, 150, "rolls come in May.", "erin, 2026-11-02")
    case = a_case(seen, open_causes=(cause,), overrides=(reason,))
    first, _second = candidates("A-1", case, MODELS, effect_length_m=50)
    assert not first.is_cause_first
    seized = Reason(CauseRule.TYPED, {"cause": "idler 41 is seized"})
    known = {"causes": (seized,), "why": "rolls come in May", "by": "erin, 2026-11-02"}
    aside = Reason(CauseRule.PUT_ASIDE_BY, known)
    assert first.judged.overridden == (aside,)
    assert aside in first.reasons
    for other in (replace(reason, strand="carry"), replace(reason, low_m=0, high_m=20)):
        found = candidates("A-1", replace(case, overrides=(other,)), MODELS, effect_length_m=50)
        assert any(each.is_cause_first for each in found)


def test_suspected_causes_are_put_aside_likewise():
    case = a_case([("return", 100.0)] * 30)
    case = replace(case, incidents=tuple(replace(each, cause="build-up") for each in case.incidents))
    assert candidates("A-1", case, MODELS, effect_length_m=50)[0].is_cause_first
    case = replace(case, overrides=(Override("return", 0, 400, "cleaned daily since May"),))
    best = candidates("A-1", case, MODELS, effect_length_m=50)[0]
    assert not best.is_cause_first
    suspected = Reason(CauseRule.SUSPECTED, {"n": 30, "of": 30, "cause": "build-up"})
    (aside,) = best.judged.overridden
    assert aside == Reason(CauseRule.PUT_ASIDE, {"causes": (suspected,), "why": "cleaned daily since May"})
