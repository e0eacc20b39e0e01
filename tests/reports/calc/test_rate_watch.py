import doctest

import numpy as np
import pytest

from reports.calc import rate_watch
from reports.calc.rate_watch import (
    WatchRules,
    average_run_length,
    chance_of_alarm,
    expected_between_alarms,
    learn,
    reference_value,
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


def test_unequal_hours_looked_at_once_a_day_keep_the_distance_at_least():
    """1500 runs (seed 8); days of up to 0.09 expected incidents make it longer, by a tenth or so."""
    rng = np.random.default_rng(8)
    h, alarms, expected = threshold_for(15.0), 0, 0.0
    for _ in range(1500):
        m = rng.choice([0.0, 0.01, 0.05, 0.09], 3000)
        found = watch_rate(rng.poisson(m), m, h)
        if found.signal is not None:
            alarms += 1
            m = m[: found.signal + 1]
        expected += m.sum()
    error = 15.0 / np.sqrt(alarms)
    assert 15.0 - 3 * error < expected / alarms < 15.0 * 1.12 + 3 * error


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
    # No higher than it must be: beyond the least threshold the distance is the wanted one.
    assert kept[3:] == pytest.approx(distances[3:], rel=1e-6)


@pytest.mark.parametrize(("h", "actual"), [(1.5, 1), (2, 1), (3, 1), (4, 1), (3, 3), (6, 3)])
def test_the_distance_is_the_limit_of_the_published_chain_with_ever_shorter_steps(h, actual):
    """Brook & Evans's chain, which the known cases hold: its error falls with the step, so two draw on to none."""
    k = reference_value(3.0)
    fine, finer = (average_run_length(actual / (n * k), 1.0 / n, h) / (n * k) for n in (24, 48))
    assert expected_between_alarms(h, actual=actual) == pytest.approx(2 * finer - fine, rel=5e-4)
    # A step of 1/24, which stood for "at every moment" before, sees alarms farther apart than they are.
    assert actual > 1 or fine > 1.02 * expected_between_alarms(h)


def test_the_distance_agrees_with_a_belt_that_is_watched_at_every_moment():
    """Incident by incident, 40,000 runs (seed 4): between two of them S falls by k per expected incident, to 0."""
    rng, h, k = np.random.default_rng(4), threshold_for(25.0), reference_value(3.0)
    s, waited, runs = np.zeros(40_000), np.zeros(40_000), np.arange(40_000)
    while runs.size:
        gap = rng.exponential(size=runs.size)
        waited[runs] += gap
        s[runs] = np.maximum(0.0, s[runs] - k * gap) + 1.0
        runs = runs[s[runs] < h]
    assert waited.mean() == pytest.approx(25.0, abs=3 * waited.std() / 200)


def test_odd_thresholds_are_refused():
    with pytest.raises(ValueError, match="h is 0; give a number above 0"):
        expected_between_alarms(0)
    with pytest.raises(ValueError, match="actual is inf"):
        expected_between_alarms(3.0, actual=float("inf"))


def test_an_alarm_is_over_once_the_rate_came_back_and_a_new_climb_is_a_new_alarm():
    """k is 1.8205 per expected incident: two bad steps alarm at 1.9, a long good time ends it, a further climb "
    "counts."""
    back = watch_rate([1, 1, 0], [0.01, 0.01, 2.0], 1.9)
    assert (back.signal, back.climbing_since, back.standing, back.standing_since) == (1, 0, None, None)
    anew = watch_rate([1, 1, 0, 0, 1, 1, 0], [0.01, 0.01, 2.0, 0.1, 0.01, 0.01, 0.1], 1.9)
    assert (anew.signal, anew.climbing_since) == (1, 0)
    assert (anew.standing, anew.standing_since) == (5, 4)
    stays = watch_rate([1, 1, 0], [0.01, 0.01, 0.1], 1.9)
    assert (stays.standing, stays.standing_since) == (1, 0)
    none = watch_rate([], [], 1.9)
    assert (none.signal, none.standing) == (None, None)


RULES = WatchRules(learn_h=1500.0, least_rate_per_h=0.0007, alarm_years=5.0)


def test_the_good_rate_is_learnt_from_the_first_hours_and_has_a_floor():
    hours, bad = np.full(400, 13.0), np.zeros(400)
    bad[[10, 50, 90, 300]] = 1
    found = learn(bad, hours, RULES)
    assert (found.steps, found.n, found.hours) == (116, 3, pytest.approx(1508))
    assert found.rate_per_h == pytest.approx(3 / 1508)
    assert found.h == threshold_for(3 / 1508 * 13 * 365.25 * 5)
    # One at least is taken for learnt, and no less than the floor.
    assert learn(np.zeros(400), hours, RULES).rate_per_h == pytest.approx(0.0007)
    assert learn(np.zeros(400), hours, WatchRules(1500.0, 0.0, 5.0)).rate_per_h == pytest.approx(1 / 1508)
    assert learn(bad[:100], hours[:100], RULES) is None
    with pytest.raises(ValueError, match="one of each for every day"):
        learn(bad, hours[:9], RULES)


def standing_alarms(n_bad, hours, first, rng, runs):
    """Bad days drawn by numpy's choice without putting back, each run watched by itself."""
    found = 0
    for _each in range(runs):
        bad = np.zeros(hours.size)
        bad[rng.choice(hours.size, n_bad, replace=False, p=hours / hours.sum())] = 1.0
        learnt = learn(bad, hours, RULES)
        begin = max(first, learnt.steps)
        found += watch_rate(bad[begin:], learnt.rate_per_h * hours[begin:], learnt.h).standing is not None
    return found / runs


@pytest.mark.parametrize(("n_bad", "first"), [(8, 0), (16, 0), (16, 400)])
def test_the_chance_of_an_alarm_is_that_of_bad_days_laid_anew(n_bad, first):
    rng = np.random.default_rng(11)
    hours = rng.choice([0.0, 6.0, 13.0, 20.0], 900)
    told = chance_of_alarm(n_bad, hours, RULES, first=first, runs=2000)
    seen = standing_alarms(n_bad, hours, first, rng, 600)
    assert told == pytest.approx(seen, abs=3 * np.sqrt(0.25 / 600 + 0.25 / 2000))
    # The same seed, the same answer; fewer runs within their error.
    assert chance_of_alarm(n_bad, hours, RULES, first=first, runs=2000) == told
    assert chance_of_alarm(n_bad, hours, RULES, first=first) == pytest.approx(told, abs=3 * 0.5 / np.sqrt(200))


def test_nothing_watched_or_nothing_bad_has_no_chance_of_an_alarm():
    hours = np.full(400, 13.0)
    assert chance_of_alarm(0, hours, RULES) == 0.0
    assert chance_of_alarm(9, hours[:100], RULES) == 0.0
    assert chance_of_alarm(9, hours, RULES, first=400) == 0.0
    # More bad days than days that ran are as many as those.
    assert 0.0 <= chance_of_alarm(900, hours, RULES) <= 1.0
