"""Direction, cutting at the pulleys, belt revolution and tags."""

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.calc import chainage
from plant.calc.chainage import clip_to_belt, downstream, format_chainage, normalise_tag, revolution_time_s, tag_key
from plant.calc.units import UnitSystem


def test_examples():
    assert doctest.testmod(chainage).failed == 0


def test_downstream_follows_belt_travel():
    assert downstream("carry", False) == (1,)
    assert downstream("return", False) == (-1,)
    assert downstream("carry", True) == downstream("return", True) == (1, -1)
    with pytest.raises(ValueError, match="strand is “top”; give carry or return"):
        downstream("top", False)


def test_zones_stop_at_the_pulley():
    # About 150 to 200 ft downstream: common practice, no source.
    assert clip_to_belt(230, 280, 260) == (230, 260)
    assert clip_to_belt(-45.72, 5, 260) == (0, 5)
    assert clip_to_belt(10, 20, 260) == (10, 20)
    assert clip_to_belt(-20, -1, 260) is None
    assert clip_to_belt(260, 300, 260) == (260, 260)
    with pytest.raises(ValueError, match="lower chainage first"):
        clip_to_belt(20, 10, 260)
    with pytest.raises(ValueError, match="length_m is 0 m"):
        clip_to_belt(0, 10, 0)


def test_time_of_a_revolution():
    # 340 m at 3.15 m/s: 216 s, worked by hand.
    assert revolution_time_s(340, 3.15) == pytest.approx(215.873, abs=1e-3)
    with pytest.raises(ValueError, match="speed_m_s is 0 m/s"):
        revolution_time_s(340, 0)


def test_chainage_in_words():
    assert format_chainage(46.53) == "46.5 m"
    assert format_chainage(1250) == "1,250 m"
    assert format_chainage(60, UnitSystem.US) == "196.9 ft"
    assert format_chainage(None) == "not stated"


SPELLINGS = [
    "S12",
    "S-12",
    "CV-S12",
    "s 12",
    "s-12",
    "S_12",
    " S–12 ",
    "cv s-12",
    "Conveyor S12",
    "belt S 12",
    "S-012",
    "Ｓ１２",
]


@pytest.mark.parametrize("spelt", SPELLINGS)
def test_one_belt_spelt_many_ways(spelt):
    assert tag_key(spelt) == tag_key("S-12")


def test_tags_of_different_belts_stay_apart():
    tags = ["S-12", "S-120", "S-1", "S-2", "S-12A", "S-12-1", "S-121", "SS-12", "CV-12", "12", "CVS-12", "K-12"]
    assert len({tag_key(tag) for tag in tags}) == len(tags)


@pytest.mark.parametrize(
    ("spelt", "tag"),
    [
        ("s12", "S-12"),
        ("CV-S12", "S-12"),
        ("S-03", "S-03"),
        ("CV-12", "CV-12"),
        ("S12a", "S-12A"),
        ("S-12-1", "S-12-1"),
    ],
)
def test_one_spelling(spelt, tag):
    assert normalise_tag(spelt) == tag


def test_a_tag_of_nothing_is_refused():
    with pytest.raises(ValueError, match="“--” is no tag"):
        normalise_tag("--")
    assert tag_key("--") == ""


@given(st.from_regex(r"[A-Z]{1,4}-?[0-9]{1,4}[A-Z]?", fullmatch=True))
def test_the_spelling_keeps_the_key(tag):
    assert tag_key(normalise_tag(tag)) == tag_key(tag)
    assert normalise_tag(normalise_tag(tag)) == normalise_tag(tag)
