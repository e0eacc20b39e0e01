"""The usual suspects. Order and signs are common practice without a source; what is tested is that they are kept."""

from dataclasses import replace
from datetime import date

import pytest

from inspections.calc.grading import Aside
from inspections.calc.suspects import DeviceEvent, Evidence, GivenAnswer, Sign, SuspectRule, suspects
from installs.calc.belt_cases import BeltCase, Fixture
from installs.calc.closeness import closeness_lines
from installs.calc.fit_up import judge_fit_up
from installs.calc.fit_up_measures import Measures, ModelFigures
from installs.calc.placement_rules import PlacementRules

DAY = date(2026, 5, 4)


def sign(evidence, key):
    return next(each for each in suspects(evidence) if each.key == key)


def test_every_suspect_is_asked_in_the_same_order_and_nothing_known_leaves_it_open():
    keys = [
        "pivot", "restraint", "direction", "near", "lift", "fouls", "sensors", "square", "each-other", "arm", "crown",
        "worn",
    ]  # fmt: skip
    bare = suspects(Evidence())
    assert [each.key for each in bare] == keys
    assert {each.key: each.sign for each in bare if each.sign is not Sign.OPEN} == {"each-other": Sign.AGAINST}
    assert all(each.said for each in bare)


@pytest.mark.parametrize(
    ("key", "known", "expected"),
    [
        ("pivot", {"pivot": GivenAnswer("seized", DAY)}, Sign.POINTS),
        ("pivot", {"pivot": GivenAnswer("stiff", DAY)}, Sign.POINTS),
        ("pivot", {"pivot": GivenAnswer("free", DAY)}, Sign.AGAINST),
        # Worn on one side only: 3 mm against 0.
        ("pivot", {"worn_drive_mm": 3.0, "worn_off_mm": 0.0, "wear_on": DAY}, Sign.POINTS),
        # 1.0 against 0.7: the difference is 30 % of the greater, on the limit, so not beyond it.
        ("pivot", {"worn_drive_mm": 1.0, "worn_off_mm": 0.7, "wear_on": DAY}, Sign.OPEN),
        ("restraint", {"restraint": GivenAnswer("confirmed", DAY)}, Sign.AGAINST),
        ("restraint", {"restraint": GivenAnswer("passed over", DAY, "seen by crew")}, Sign.OPEN),
        ("restraint", {"worn_drive_mm": 0.1, "worn_off_mm": -0.1, "hours_since_new": 4900.0}, Sign.POINTS),
        ("restraint", {"worn_drive_mm": 0.1, "worn_off_mm": 0.1, "hours_since_new": 300.0}, Sign.OPEN),
        ("direction", {"strand": "return", "strand_wanted": "carry"}, Sign.POINTS),
        ("direction", {"strand": "return", "is_reversing": True, "suits_reversing": False}, Sign.POINTS),
        ("direction", {"strand": "return", "strand_wanted": "return"}, Sign.OPEN),
        ("fouls", {"touched": GivenAnswer("touches", DAY)}, Sign.POINTS),
        ("fouls", {"touched": GivenAnswer("clear", DAY)}, Sign.AGAINST),
        ("square", {"torque": GivenAnswer("act", DAY)}, Sign.POINTS),
        ("square", {"torque": GivenAnswer("watch", DAY)}, Sign.OPEN),
        ("each-other", {"overlapping": ("57",)}, Sign.POINTS),
        ("arm", {"frame": GivenAnswer("off", DAY)}, Sign.POINTS),
        ("crown", {"carry_back": GivenAnswer("found", DAY)}, Sign.POINTS),
        ("crown", {"carry_back": GivenAnswer("not_found", DAY)}, Sign.AGAINST),
        ("worn", {"left_drive_mm": 0.0, "left_off_mm": 4.0, "wear_on": DAY}, Sign.POINTS),
        ("worn", {"left_drive_mm": 0.5, "left_off_mm": 4.0, "wear_on": DAY}, Sign.AGAINST),
    ],
)
def test_what_is_known_decides_each_suspect(key, known, expected):
    assert sign(Evidence(**known), key).sign is expected


def test_a_pivot_that_was_free_before_the_one_sided_wear_is_suspected_again():
    free = Evidence(pivot=GivenAnswer("free", DAY), worn_drive_mm=0.0, worn_off_mm=3.0, wear_on=date(2026, 8, 1))
    found = sign(free, "pivot")
    assert found.sign is Sign.POINTS
    free_once, since = found.said
    assert free_once.values["event"] == DeviceEvent.PIVOT_FREE
    assert (since.rule, since.values["side"], since.values["more_mm"]) == (
        SuspectRule.ONE_SIDED_SINCE,
        Aside.OFF_SIDE,
        3,
    )
    assert sign(replace(free, wear_on=DAY), "pivot").sign is Sign.AGAINST


def test_swapping_the_sides_swaps_nothing_but_the_side_named():
    one = Evidence(worn_drive_mm=3.0, worn_off_mm=0.2, left_drive_mm=-1.0, left_off_mm=2.0, wear_on=DAY)
    other = replace(one, worn_drive_mm=0.2, worn_off_mm=3.0, left_drive_mm=2.0, left_off_mm=-1.0)
    assert [each.sign for each in suspects(one)] == [each.sign for each in suspects(other)]


def test_the_place_and_the_fit_up_are_asked_by_their_own_rules():
    fixtures = (Fixture("loading", 60.0, "chute"),)
    case = BeltCase(
        length_m=200, belt_width_mm=1200, speed_m_s=2.5, is_reversing=False, hours=5000.0, fixtures=fixtures
    )
    near = Evidence(close_by=closeness_lines(case, "return", 5.0 - 1.0, PlacementRules()))
    clear = Evidence(close_by=closeness_lines(case, "return", 100.0, PlacementRules()))
    assert sign(near, "near").sign is Sign.POINTS
    assert [each.rule for each in sign(near, "near").said] == ["pulley"]
    assert sign(clear, "near").sign is Sign.AGAINST
    # Heights: wanted is underside + lift + drop = 600 + 13 + 100 = 713 mm.
    figures = ModelFigures(roller_drop_mm=100.0)

    def lines(height):
        measures = Measures(
            belt_mark_drive_mm=600.0, belt_mark_off_mm=600.0, wanted_lift_mm=13.0, bracket_height_drive_mm=height,
            bracket_height_off_mm=height,
        )  # fmt: skip
        result = judge_fit_up(measures, figures, nominal_belt_width_mm=1200.0)
        return Evidence(fit_up={line.key: line for line in result.lines})

    assert sign(lines(713.0), "lift").sign is Sign.AGAINST
    assert sign(lines(680.0), "lift").sign is Sign.POINTS
    assert sign(lines(713.0), "sensors").sign is Sign.OPEN
