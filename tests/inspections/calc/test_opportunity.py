"""Work that fits into the time for which a belt stands; worked by hand, no source: the rule is this product's own."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspections.calc.opportunity import Work, fill


def test_the_lockout_counts_once_and_the_way_is_that_along_the_belt():
    works = [Work(1, 20, 9, 0), Work(2, 20, 8, 60), Work(3, 20, 7, 30)]
    filled = fill(works, minutes=90, lockout_minutes=15, walking_m_s=1)
    assert filled.fits == (1, 2, 3)
    assert filled.minutes == pytest.approx(15 + 60 + 1)


def test_what_does_not_fit_is_passed_over_and_something_shorter_follows():
    works = [Work(1, 30, 9, 0), Work(2, 50, 8, 0), Work(3, 10, 1, 0)]
    assert fill(works, minutes=60, lockout_minutes=20, walking_m_s=1).fits == (1, 3)


def test_a_stop_shorter_than_the_lockout_takes_nothing():
    filled = fill([Work(1, 5, 1, 0)], minutes=20, lockout_minutes=20, walking_m_s=1)
    assert (filled.fits, filled.left, filled.minutes) == ((), (1,), 0)


# A busy machine draws slowly; that is no fault of the calculation.
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(
    st.lists(st.tuples(st.floats(1, 90), st.floats(0, 100), st.floats(0, 800)), max_size=12),
    st.floats(1, 600),
    st.floats(0, 60),
)
def test_the_time_is_never_exceeded_and_nothing_is_lost(rows, minutes, lockout):
    works = [Work(n, *row) for n, row in enumerate(rows)]
    filled = fill(works, minutes=minutes, lockout_minutes=lockout, walking_m_s=1.2)
    assert sorted(filled.fits + filled.left) == list(range(len(works)))
    chosen = [works[n] for n in filled.fits]
    if chosen:
        places = [each.chainage_m for each in chosen]
        needed = lockout + sum(each.minutes for each in chosen) + (max(places) - min(places)) / 1.2 / 60
        assert needed == pytest.approx(filled.minutes)
        assert needed <= minutes + 1e-6


def test_no_time_is_refused_with_words():
    with pytest.raises(ValueError, match="minutes is 0; give the minutes for which the belt stands"):
        fill([], minutes=0, lockout_minutes=1, walking_m_s=1)
