"""Numbers in sentences: no more digits than tell something, and never a p-value of nought."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.calc.wording import as_many_as_fit, figure, full_stop, p_words, said_once


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (39.9966, "40"),  # 29.5 lbf·ft as it is stored
        (101.68634612485503, "101.69"),
        (75.0, "75"),
        (73.025, "73.03"),  # 2 7/8 in
        (73.125, "73.12"),  # a tie goes to the even digit
        (1308.1, "1308.1"),
        (120000.0, "120000"),
        (0.5, "0.5"),
        (0.012345, "0.0123"),
        (0.0, "0"),
        (-0.004, "-0.004"),
    ],
)
def test_a_figure_has_the_digits_that_tell_something(value, said):
    assert figure(value) == said


@settings(deadline=None)
@given(st.floats(-1e6, 1e6).filter(lambda value: abs(value) > 1e-9))
def test_a_figure_is_within_half_a_hundredth_or_half_a_per_cent_of_the_value(value):
    assert abs(float(figure(value)) - value) <= max(0.005, 0.005 * abs(value)) + 1e-12
    assert abs(float(figure(value)) - value) <= 0.0051 * max(abs(value), 1)


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0.0, "p < 0.0001"),
        (9.9e-5, "p < 0.0001"),
        (0.0001, "p 0.0001"),
        (0.0496, "p 0.0496"),
        (0.19102, "p 0.19"),
        (1, "p 1.00"),
    ],
)
def test_a_p_value_is_never_nought(p, said):
    assert p_words(p) == said
    with pytest.raises(ValueError, match="give a probability from 0 to 1"):
        p_words(1.5)


def test_a_sentence_ends_with_one_full_stop_and_two_names_alike_are_said_once():
    assert full_stop("113.7 % of the permitted wear.") == "113.7 % of the permitted wear."
    assert full_stop("belt is rebuilt") == "belt is rebuilt."
    assert full_stop("by hand..") == "by hand."
    assert full_stop("is it read right?") == "is it read right?"
    assert full_stop("") == ""
    assert said_once("Quarry", "Quarry") == "Quarry"
    assert said_once("Q", "Quarry") == "Q Quarry"


@settings(deadline=None)
@given(st.lists(st.text("abc ", min_size=1, max_size=30), max_size=12), st.integers(min_value=10, max_value=200))
def test_of_more_parts_than_fit_the_first_stay_whole_and_the_others_are_counted(parts, most):
    said = as_many_as_fit(parts, most, joint="; ", rest=lambda n: f"{n} more")
    assert len(said) <= most
    if said != "; ".join(parts):
        kept, left = said.split("; ")[:-1], int(said.split("; ")[-1].removesuffix(" more"))
        assert kept == parts[: len(kept)]
        assert len(kept) + left == len(parts)
        # One more would not have fitted.
        longer = parts[: len(kept) + 1] + ([f"{left - 1} more"] if left > 1 else [])
        assert len("; ".join(longer)) > most
