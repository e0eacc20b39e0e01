from __future__ import annotations

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from installs.calc import belt_offsets
from installs.calc.belt_offsets import propose_stations, summarise


def test_examples_run():
    assert doctest.testmod(belt_offsets).failed == 0


@given(
    strand=st.sampled_from(["carry", "return"]),
    length=st.floats(20, 2000),
    share=st.floats(0, 1),
    effect=st.floats(5, 100),
    reversing=st.booleans(),
)
def test_five_to_eight_stations_on_the_belt_whatever_the_place(strand, length, share, effect, reversing):
    found = propose_stations(strand, share * length, effect, length, reversing=reversing)
    assert 5 <= len(found) <= 8
    assert list(found) == sorted(set(found))
    assert found[0] > 0
    assert found[-1] < length


@given(
    strand=st.sampled_from(["carry", "return"]),
    length=st.floats(200, 2000),
    share=st.floats(0.3, 0.7),
    effect=st.floats(20, 60),
)
def test_who_reads_feet_is_sent_to_whole_feet(strand, length, share, effect):
    foot_m = 0.3048  # by definition, NIST SP 811 (2008), Appendix B
    found = propose_stations(strand, share * length, effect, length, step_m=foot_m)
    assert 5 <= len(found) <= 8
    assert 2 <= found[0] < found[-1] <= length - 2
    assert all(at / foot_m == pytest.approx(round(at / foot_m), abs=1e-9) for at in found)


def test_most_stations_lie_downstream():
    """Downstream on the return strand is towards the tail."""
    back = propose_stations("return", 120, 50, 260)
    ahead = propose_stations("carry", 120, 50, 260)
    assert sum(at < 120 for at in back) == 6
    assert sum(at > 120 for at in ahead) == 6


def test_a_reversing_belt_gets_as_many_on_both_sides():
    found = propose_stations("return", 100, 50, 200, reversing=True)
    assert sum(at < 100 for at in found) == sum(at > 100 for at in found) == 4


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="chainage_m is 300 m"):
        propose_stations("return", 300, 50, 260)
    with pytest.raises(ValueError, match="effect_length_m is 0 m"):
        propose_stations("return", 30, 0, 260)


def test_nothing_measured_has_no_summary():
    assert summarise([]) is None
