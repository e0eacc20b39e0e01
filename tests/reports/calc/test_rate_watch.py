import doctest

import numpy as np
import pytest

from reports.calc import rate_watch
from reports.calc.rate_watch import (
    STEPS_PER_UNIT,
    average_run_length,
    expected_between_alarms,
    threshold_for,
    watch_rate,
)
from tests.reference.effect import RUN_LENGTHS


def test_examples():
    assert doctest.testmod(rate_watch).failed == 0


@pytest.mark.parametrize(("mean", "k", "h", "length"), RUN_LENGTHS)
def test_published_method_on_the_known_cases(mean, k, h, length):
    assert average_run_length(mean, k, h) == pytest.approx(length, abs=6e-4)


def test_the_threshold_keeps_the_chosen_distance_and_finds_a_tripling_in_six_incidents():
    h = threshold_for(25.0)
    assert expected_between_alarms(h) >= 25.0
    assert 3 * expected_between_alarms(h, actual=3.0) < 6.0


def test_the_distance_holds_for_unequal_hours_in_a_simulation():
    rng = np.random.default_rng(8)
    h, alarms, expected = threshold_for(15.0), 0, 0.0
    for _ in range(500):
        m = rng.choice([0.0, 0.01, 0.05, 0.09], 3000)
        found = watch_rate(rng.poisson(m), m, h)
        if found.signal is not None:
            alarms += 1
            m = m[: found.signal + 1]
        expected += m.sum()
    assert expected / alarms == pytest.approx(expected_between_alarms(h), rel=0.12)


def test_the_path_by_hand():
    """k is 1.8205 per expected incident."""
    found = watch_rate([1, 0, 0, 2, 2], [0.1, 0.5, 0.1, 0.1, 0.1], 3.0)
    assert found.s == pytest.approx((0.81795, 0, 0, 1.81795, 3.6359), abs=1e-4)
    assert (found.signal, found.climbing_since) == (4, 3)
    calm = watch_rate([0, 0], [0.1, 0.1], 3.0)
    assert (calm.signal, calm.climbing_since) == (None, None)
    with pytest.raises(ValueError, match="one of each"):
        watch_rate([1], [0.1, 0.2], 3.0)
    with pytest.raises(ValueError, match="look for negative ones"):
        watch_rate([1, float("nan")], [0.1, 0.1], 3.0)


@pytest.mark.parametrize(("mean", "k", "h"), [(4.0, 3.0, 7.0), (1.0, 1.5, 5.0)])
def test_run_lengths_agree_with_the_recursion_itself(mean, k, h):
    """Lucas's recursion step by step, 3000 runs (seed 12), apart from the chain that the product solves."""
    rng, lengths = np.random.default_rng(12), []
    for _each in range(3000):
        s, steps = 0.0, 0
        while s < h:
            s, steps = max(0.0, s + rng.poisson(mean) - k), steps + 1
        lengths.append(steps)
    error = np.std(lengths) / np.sqrt(len(lengths))
    assert average_run_length(mean, k, h) == pytest.approx(np.mean(lengths), abs=3 * error)


def test_a_single_incident_is_no_alarm_and_a_longer_distance_never_lowers_the_threshold():
    distances = [0.01, 1, 3, 10, 30, 100, 1000]
    thresholds = [threshold_for(each) for each in distances]
    assert min(thresholds) > 1.0
    assert thresholds == sorted(thresholds)
    kept = [expected_between_alarms(h) for h in thresholds]
    assert all(each >= wanted for each, wanted in zip(kept, distances, strict=True))
    # A step of the grid lower would break the promise.
    assert all(
        expected_between_alarms(h - 1 / STEPS_PER_UNIT) < wanted
        for h, wanted in zip(thresholds[3:], distances[3:], strict=True)
    )
