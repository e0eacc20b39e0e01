"""Effect zones against hand-worked placements, the demo plant's geometry and properties that must always hold."""

import doctest
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from installs.calc import effect_zones
from installs.calc.effect_zones import (
    Placed,
    Zone,
    detectors_in,
    effect_zone,
    inside,
    overlap_groups,
    overlaps,
    stretch_with_most,
    uncovered,
    union,
)
from tests.reference.effect_zones import BELTS, OVERLAPPING, REVERSING, UNSEEN, ZONE_M

FOOT_M = 0.3048
PLACEMENT = json.loads((Path(__file__).parents[2] / "reference" / "fitup.json").read_text())["placement"]
LENGTH_M = 400.0

# Chainages to a millimetre, as a tape would have them at best.
chainages = st.integers(0, 1000 * int(LENGTH_M)).map(lambda mm: mm / 1000)
zone_lists = st.lists(
    st.tuples(chainages, chainages)
    .map(lambda ends: Zone(min(ends), max(ends)))
    .filter(lambda zone: zone.length_m > 0.01),
    max_size=6,
)


def switches(length_m):
    between = [60.0 * k for k in range(1, 100) if 60 * k < length_m] if length_m > 150 else []
    return [2.0, *between, length_m - 2.0]


def placed_devices():
    for tag, (length_m, devices) in BELTS.items():
        for number, chainage_m, strand in devices:
            zones = effect_zone(strand, chainage_m, ZONE_M, length_m, tag in REVERSING)
            yield Placed(number, tag, strand, zones)


def test_examples():
    assert doctest.testmod(effect_zones).failed == 0


# --- one device -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("case", "feet"), [(case, feet) for case in PLACEMENT for feet in (150, 200) if f"zone_{feet}ft_end_m" in case]
)
def test_zone_ends_of_worked_placements(case, feet):
    (zone,) = effect_zone(case["strand"], case["device_m"], feet * FOOT_M, case.get("conveyor_length_m", 400))
    start, end = (zone.low_m, zone.high_m) if case["strand"] == "carry" else (zone.high_m, zone.low_m)
    assert start == case["device_m"]
    assert end == pytest.approx(case[f"zone_{feet}ft_end_m"], abs=1e-9)


def test_zone_follows_belt_travel_and_ends_at_the_pulleys():
    assert effect_zone("return", 120, 50, 260) == (Zone(70, 120),)
    assert effect_zone("carry", 120, 50, 260) == (Zone(120, 170),)
    assert effect_zone("return", 5, 50, 95) == (Zone(0, 5),)
    assert effect_zone("carry", 240, 50, 260) == (Zone(240, 260),)
    assert effect_zone("return", 0, 50, 260) == ()


def test_on_a_reversing_belt_the_device_acts_both_ways():
    assert effect_zone("return", 30, 20, 60, reversing=True) == (Zone(10, 30), Zone(30, 50))
    assert effect_zone("carry", 30, 20, 60, reversing=True) == (Zone(30, 50), Zone(10, 30))
    assert union(effect_zone("return", 38, 50, 75, reversing=True)) == (Zone(0, 75),)
    assert effect_zone("return", 0, 50, 75, reversing=True) == (Zone(0, 50),)


@given(chainages, st.floats(0.1, 500))
def test_seen_from_the_other_end_carry_and_return_change_over(chainage, effect):
    """Measured from the head instead of the tail, one strand becomes the other."""
    one = effect_zone("carry", chainage, effect, LENGTH_M)
    other = effect_zone("return", LENGTH_M - chainage, effect, LENGTH_M)
    turned = tuple(Zone(max(0.0, LENGTH_M - zone.high_m), LENGTH_M - zone.low_m) for zone in other)
    assert len(one) == len(turned)
    for a, b in zip(one, turned, strict=True):
        assert (a.low_m, a.high_m) == pytest.approx((b.low_m, b.high_m), abs=1e-6)


@given(chainages, st.floats(0.1, 500), st.sampled_from(["carry", "return"]))
def test_reversing_covers_both_strands_zones_and_no_zone_leaves_the_belt(chainage, effect, strand):
    both = effect_zone(strand, chainage, effect, LENGTH_M, reversing=True)
    single = effect_zone("carry", chainage, effect, LENGTH_M) + effect_zone("return", chainage, effect, LENGTH_M)
    assert union(both) == union(single)
    assert all(0 <= zone.low_m <= zone.high_m <= LENGTH_M for zone in both)
    assert all(zone.length_m <= effect + 1e-9 for zone in both)
    assert inside(both, [chainage]).all()


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: effect_zone("top", 10, 50, 100), "strand is 'top'; give one of carry, return"),
        (lambda: effect_zone("carry", 101, 50, 100), "chainage_m is 101 m; give 0 to 100 m, the length of the belt"),
        (lambda: effect_zone("carry", math.nan, 50, 100), "chainage_m is nan m; give 0 to 100 m"),
        (lambda: effect_zone("carry", 10, 0, 100), "effect_length_m is 0 m; give a length above 0 m"),
        (lambda: effect_zone("carry", 10, 50, -1), "belt_length_m is -1 m; give a length above 0 m"),
        (lambda: uncovered([], 0), "belt_length_m is 0 m; give a length above 0 m"),
        (lambda: Zone(5, 4), "zone runs from 5 to 4 m; give the low chainage before the high one"),
    ],
)
def test_wrong_places_are_named_with_what_is_allowed(call, said):
    with pytest.raises(ValueError, match="give") as refused:
        call()
    assert said in str(refused.value)


# --- the demo plant -------------------------------------------------------------------------------------------------


def test_six_devices_of_the_demo_plant_have_no_switch_in_their_zone():
    unseen = [one.key for one in placed_devices() if not detectors_in(one.zones, switches(BELTS[one.conveyor][0]))]
    assert tuple(unseen) == UNSEEN
    assert len(list(placed_devices())) == 60


def test_devices_of_the_demo_plant_whose_zones_overlap():
    assert overlap_groups(placed_devices()) == OVERLAPPING
    zones = [zone for one in placed_devices() if one.conveyor == "L-06" for zone in one.zones]
    (shared,) = overlaps(zones)
    assert (shared.first, shared.second, shared.zone) == (0, 1, Zone(110, 130))
    assert shared.zone.length_m == 20


def test_the_long_belt_has_an_uncovered_stretch_with_most_incidents():
    zones = [zone for one in placed_devices() if one.conveyor == "Q-11" for zone in one.zones]
    gaps = uncovered(zones, 900)
    assert gaps == (Zone(0, 10), Zone(60, 130), Zone(180, 250), Zone(300, 710), Zone(760, 900))
    # All of 310 to 710 m is uncovered; ten incidents, six of them there.
    assert not inside(zones, np.linspace(310, 709.9, 500)).any()
    found = stretch_with_most([320, 400, 480, 555.5, 630, 709, 40, 100, 280, 800], zones, 900)
    assert found.most.zone == Zone(300, 710)
    assert (found.most.n, found.most.share) == (6, 0.6)
    assert found.n_inside == 2
    assert [stretch.n for stretch in found.stretches] == [0, 1, 0, 6, 1]


# --- many zones -----------------------------------------------------------------------------------------------------


def test_touching_zones_are_one_stretch_but_no_overlap():
    zones = (Zone(10, 60), Zone(60, 110))
    assert union(zones) == (Zone(10, 110),)
    assert overlaps(zones) == ()
    assert uncovered(zones, 110) == (Zone(0, 10),)


def test_without_devices_the_whole_belt_is_uncovered():
    assert uncovered([], 120) == (Zone(0, 120),)
    found = stretch_with_most([0, 5, 120], [], 120)
    assert (found.most.zone, found.most.n, found.most.share) == (Zone(0, 120), 3, 1.0)


def test_zones_off_the_belt_cover_nothing_of_it():
    assert uncovered([Zone(-10, -5), Zone(130, 140)], 120) == (Zone(0, 120),)
    assert uncovered([Zone(-10, 5), Zone(110, 140)], 120) == (Zone(5, 110),)


def test_no_incident_outside_leaves_no_stretch_with_most():
    found = stretch_with_most([20, 50], [Zone(10, 60)], 120)
    assert found.most is None
    assert [stretch.n for stretch in found.stretches] == [0, 0]
    assert stretch_with_most([], [Zone(10, 60)], 120).stretches[0].share is None
    assert stretch_with_most([1], [Zone(0, 120)], 120).stretches == ()


def test_incidents_on_an_end_belong_to_the_zone_and_those_without_a_place_are_told():
    found = stretch_with_most([10, 60, math.nan, 130, -1, 0, 120], [Zone(10, 60)], 120)
    assert (found.n_inside, found.n_without_place) == (2, 3)
    assert [stretch.n for stretch in found.stretches] == [1, 1]
    assert found.most.zone == Zone(60, 120)  # the longer one at a tie
    assert inside([Zone(10, 60)], [9.99, 10, 60, 60.01, math.nan]).tolist() == [False, True, True, False, False]


def test_detectors_inside_come_in_order():
    assert detectors_in([Zone(0, 50), Zone(100, 130)], [128, 2, 60, 120]) == (2.0, 120.0, 128.0)
    assert detectors_in([Zone(10, 60)], []) == ()


def test_chains_of_overlaps_are_one_group_and_other_strands_and_belts_stay_apart():
    def placed(key, low, high, conveyor="A", strand="return"):
        return Placed(key, conveyor, strand, (Zone(low, high),))

    chain = [placed(1, 0, 50), placed(2, 200, 250), placed(3, 80, 130), placed(4, 40, 90)]
    assert overlap_groups(chain) == ((1, 3, 4),)
    assert overlap_groups([placed(1, 0, 50), placed(2, 40, 90, strand="carry")]) == ()
    assert overlap_groups([placed(1, 0, 50), placed(2, 40, 90, conveyor="B")]) == ()
    assert overlap_groups([]) == ()


@given(zone_lists)
def test_zones_and_gaps_share_out_the_belt(zones):
    covered, gaps = union(zones), uncovered(zones, LENGTH_M)
    assert sum(zone.length_m for zone in covered) + sum(gap.length_m for gap in gaps) == pytest.approx(LENGTH_M)
    assert union([*covered, *gaps]) == (Zone(0, LENGTH_M),)
    assert overlaps([*covered, *gaps]) == ()
    assert union(covered) == covered
    assert union(reversed(zones)) == covered


@given(zone_lists, st.lists(st.floats(-10, LENGTH_M + 10), max_size=30))
def test_every_incident_is_counted_once(zones, positions):
    found = stretch_with_most(positions, zones, LENGTH_M)
    assert sum(s.n for s in found.stretches) + found.n_inside + found.n_without_place == len(positions)
    assert inside(zones, positions).tolist() == inside(union(zones), positions).tolist()
    if found.most:
        assert found.most.n == max(stretch.n for stretch in found.stretches)


@given(zone_lists)
def test_overlaps_do_not_depend_on_the_order_and_agree_with_the_lengths(zones):
    pairs = {(zones[o.first], zones[o.second], o.zone) for o in overlaps(zones)}
    turned = list(reversed(zones))
    assert {(turned[o.second], turned[o.first], o.zone) for o in overlaps(turned)} == pairs
    if not pairs:
        assert sum(zone.length_m for zone in zones) == pytest.approx(sum(zone.length_m for zone in union(zones)))
