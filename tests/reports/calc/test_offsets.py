"""Belt offsets before and after, against scipy's paired t test."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from plant.calc.reasons import Reason
from reports.calc.offsets import OffsetAnswer, OffsetChangeRule, OffsetReading, offset_changes

BEFORE = [42.0, -38.0, 55.0, -61.0, 30.0]
AFTER = [20.0, -25.0, 18.0, 33.0, -12.0]


def readings(before, after, *, is_loaded=False):
    sides = ((before, False), (after, True))
    return [OffsetReading(10.0 * i, mm, late, is_loaded) for side, late in sides for i, mm in enumerate(side)]


@pytest.mark.parametrize("level", [0.8, 0.95])
def test_as_scipy_pairs_them(level):
    # Reference: scipy.stats.ttest_rel on the sizes, so a belt that changed sides counts by its distance alone.
    empty, loaded = offset_changes(readings(BEFORE, AFTER), level=level)
    reference = stats.ttest_rel(np.abs(AFTER), np.abs(BEFORE))
    interval = reference.confidence_interval(level)
    assert empty.p == pytest.approx(reference.pvalue, rel=1e-12)
    assert (empty.low_mm, empty.high_mm) == pytest.approx((interval.low, interval.high), rel=1e-12)
    assert empty.change_mm == pytest.approx(-23.6)
    assert loaded.n_stations == 0
    assert loaded.change_mm is None


def test_empty_and_loaded_stay_apart():
    rows = readings(BEFORE, AFTER) + readings(AFTER, BEFORE, is_loaded=True)
    empty, loaded = offset_changes(rows)
    assert empty.change_mm == pytest.approx(-loaded.change_mm)


def test_repeats_of_a_station_are_averaged_and_lone_ones_left_out():
    rows = [*readings(BEFORE[:3], AFTER[:3]), OffsetReading(0.2, 52.0, False, False)]
    rows.append(OffsetReading(90.0, 500.0, True, False))
    empty, _loaded = offset_changes(rows)
    assert empty.n_stations == 3
    assert empty.mean_before_mm == pytest.approx((47.0 + 38.0 + 55.0) / 3)


def test_too_few_stations_are_an_answer_with_a_reason():
    empty, _loaded = offset_changes(readings(BEFORE[:2], AFTER[:2]))
    assert empty.low_mm is None
    assert empty.reasons == (Reason(OffsetChangeRule.TOO_FEW_STATIONS, {"n": 2, "n_needed": 3}),)


def test_the_same_change_everywhere_has_no_interval():
    empty, _loaded = offset_changes(readings([10.0, 20.0, 30.0], [5.0, 15.0, 25.0]))
    assert empty.change_mm == pytest.approx(-5.0)
    assert empty.p is None
    assert empty.reasons == (Reason(OffsetChangeRule.EVEN),)
    assert empty.answer == OffsetAnswer.EVEN
    assert offset_changes(readings(BEFORE[:2], AFTER[:2]))[0].answer == OffsetAnswer.TOO_FEW


@pytest.mark.parametrize(("level", "mm"), [(1.0, 1.0), (0.95, float("nan"))])
def test_what_it_refuses(level, mm):
    with pytest.raises(ValueError, match=r"give a share|not finite"):
        offset_changes([OffsetReading(1.0, mm, True, False)], level=level)
