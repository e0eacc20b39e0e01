"""Months of the year of two periods."""

from __future__ import annotations

import pytest

from reports.calc.seasons import compare_seasons

YEAR = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]


def test_whole_years_are_alike_whatever_their_number():
    found = compare_seasons(YEAR, [3 * each for each in YEAR])
    assert found.alike == pytest.approx(1.0)
    assert found.is_alike
    assert (found.more_in_first, found.more_in_second) == ((), ())


def test_half_years_share_nothing_and_order_does_not_matter():
    first, second = YEAR[:6] + [0] * 6, [0] * 6 + YEAR[6:]
    found, back = compare_seasons(first, second), compare_seasons(second, first)
    assert found.alike == back.alike == 0.0
    assert found.more_in_first == back.more_in_second == (1, 2, 3, 4, 5, 6)


def test_fifteen_months_against_twelve():
    """By hand: three of fifteen months are twice there; 1 - 3/15 of the days are alike, about."""
    found = compare_seasons(YEAR, [2 * each for each in YEAR[:3]] + YEAR[3:])
    assert found.alike == pytest.approx(0.8 + 3 / 15 * 0.25, abs=0.01)
    assert found.more_in_second == (1, 2, 3)


@pytest.mark.parametrize("days", [[0] * 12, [1] * 11, [-1] + [1] * 11])
def test_what_it_refuses(days):
    with pytest.raises(ValueError, match="twelve values from 0 up"):
        compare_seasons(YEAR, days)
