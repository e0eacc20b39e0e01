"""The simulation: the truth that it makes, and what the methods say of it (small runs with a seed)."""

import math

import numpy as np
import pytest

from reports.calc.simulation import (
    DAYS,
    HOURS_A_DAY,
    Scenario,
    as_table,
    daily_counts,
    simulate,
)


def test_counts_have_the_mean_and_spells_the_dispersion_that_was_asked_for():
    rates = np.full(400, 2.5 / 1000)
    single, spells = (daily_counts(rates, DAYS, spell, np.random.default_rng(3)) for spell in (1.0, 2.0))
    expected = 2.5 / 1000 * DAYS * HOURS_A_DAY
    assert single.sum(axis=1).mean() == pytest.approx(expected, rel=0.05)
    assert spells.sum(axis=1).mean() == pytest.approx(expected, rel=0.1)
    assert single.sum(axis=1).var() / expected == pytest.approx(1.0, abs=0.2)
    assert spells.sum(axis=1).var() / spells.sum(axis=1).mean() > 1.8


def test_a_bad_quarter_as_before_sees_an_effect_that_is_not_there_and_the_verdict_does_not():
    (result,) = simulate([Scenario("none")], n_plants=12, seed=1)
    quarter, verdict = result.tallies["worst quarter"], result.tallies["verdict"]
    assert quarter.n == verdict.n == 12 * 12
    assert quarter.share("fewer") > 2 * 0.025
    # At most the nominal 2.5 % to one side, within the error of 144 devices.
    assert verdict.share("fewer") < quarter.share("fewer")
    assert verdict.share("fewer") <= 0.025 + 2 * math.sqrt(0.025 * 0.975 / 144)


def test_a_true_halving_is_found_and_never_called_worse():
    (result,) = simulate([Scenario("half", effect=0.5)], n_plants=6, seed=1)
    assert result.tallies["verdict"].share("fewer") > 0.2
    assert result.tallies["verdict"].more == 0
    assert result.tallies["shrunk"].coverage > 0.9


def test_the_same_seed_gives_the_same_table_whatever_else_is_run():
    first = simulate([Scenario("a"), Scenario("b", effect=0.5)], n_plants=2, seed=7)
    again = simulate([Scenario("b", effect=0.5)], n_plants=2, seed=7)
    assert as_table(first[1:]) == as_table(again)
    assert as_table(again).count("\n") == 6


def test_no_plant_is_refused():
    with pytest.raises(ValueError, match="give 1 or more"):
        simulate([], n_plants=0, seed=1)
