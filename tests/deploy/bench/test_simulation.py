"""The simulation: the truth that it makes, and what the methods say of it (small runs with a seed)."""

import math
from io import StringIO

import numpy as np
import pytest
from django.core.management import call_command

from deploy.bench.simulation import (
    DAYS,
    HOURS_A_DAY,
    METHODS,
    MONTH,
    SCENARIOS,
    Result,
    Scenario,
    Tally,
    as_table,
    daily_counts,
    make_plant,
    promise,
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
    (result,) = simulate([Scenario("none")], n_plants=12, seed=3)
    quarter, verdict = result.tallies["worst quarter"], result.tallies["verdict"]
    assert quarter.n == verdict.n == 12 * 12
    assert quarter.share("fewer") > 2 * 0.025
    # At most the nominal 5 % to one side, within the error of 144 devices.
    assert verdict.share("fewer") < quarter.share("fewer")
    assert verdict.share("fewer") <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / 144)


@pytest.mark.parametrize(("trend", "wrong"), [(0.67, "fewer"), (1.6, "more")])
def test_a_plant_that_changes_as_a_whole_is_no_effect_of_its_devices(trend, wrong):
    """Plain counts blame or praise the device; the shrunk answer keeps its level and the rule its promise."""
    (result,) = simulate([Scenario("changes", trend=trend, is_selected=trend < 1)], n_plants=16, seed=4)
    verdict, plain, shrunk = (result.tallies[each] for each in ("verdict", "plain", "shrunk"))
    assert plain.share(wrong) > 1.5 * verdict.share(wrong)
    assert verdict.share(wrong) <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / 192)
    assert shrunk.share("covered") >= 0.95 - 3 * math.sqrt(0.05 * 0.95 / 192)


def test_a_device_goes_in_on_the_day_of_the_trigger_and_has_a_year_on_either_side():
    made = make_plant(Scenario("trigger", trigger=4), np.random.default_rng(5))
    n_days = made.counts.shape[1]
    treated = made.installed < n_days
    assert 0 < treated.sum() < treated.size
    for each in np.flatnonzero(treated):
        day = made.installed[each]
        assert DAYS < day <= n_days - DAYS
        assert made.counts[each, day - MONTH : day].sum() >= 4
        # No earlier day on which a device could have gone in saw as many.
        months = [made.counts[each, one - MONTH : one].sum() for one in range(DAYS + 1, day)]
        assert not months or max(months) < 4
    n, hours = made.without_device(0, n_days)
    assert hours[~treated] == pytest.approx(n_days * HOURS_A_DAY)
    assert hours[treated] == pytest.approx(made.installed[treated] * HOURS_A_DAY)
    assert n[~treated] == pytest.approx(made.counts[~treated].sum(axis=1))


def test_a_small_plant_has_no_shrunk_answer_and_no_promise():
    (result,) = simulate([Scenario("small", n_stretches=14, n_treated=6)], n_plants=3, seed=1)
    assert (result.tallies["shrunk"].n, result.tallies["verdict"].n) == (0, 18)
    assert as_table([result]).splitlines()[-1].endswith("| none made |")


def test_the_promise_is_held_against_both_kinds_of_wrong_verdicts_together():
    def made(*fewer, more=0):
        plants = [{name: Tally(n=20, fewer=each, more=more) for name in METHODS} for each in fewer]
        return Result(Scenario("none"), len(plants), plants)

    assert promise(made(1, 1, 1, 0), 0.05) == "at most 5 % in all: kept"
    assert promise(made(0, 4, 0, 1), 0.05) == "at most 5 % in all: above it, by less than two errors"
    assert promise(made(4, 4, 4, 5), 0.05) == "at most 5 % in all: broken"
    # Each kind by itself is within 5 %, both together are not.
    assert promise(made(1, 1, 1, 1, more=1), 0.05) == "at most 5 % in all: broken"
    # By hand: shares 0.05 and 0.15 of equal plants lie 0.05 about their mean, error 0.05 * sqrt(2) / sqrt(2).
    assert made(1, 3).error("verdict", "fewer") == pytest.approx(0.05)


def test_a_true_halving_is_found_and_never_called_worse():
    (result,) = simulate([Scenario("half", effect=0.5)], n_plants=6, seed=1)
    assert result.tallies["verdict"].share("fewer") > 0.2
    assert result.tallies["verdict"].more == 0
    assert result.tallies["shrunk"].share("covered") > 0.9


def test_the_fleets_middle_allows_for_trend_and_choice_where_plain_counts_do_not():
    """16 plants without any effect in which everything falls by a third: one interval of the fleet for each (seed "
    "6)."""
    (result,) = simulate([Scenario("changes", trend=0.67)], n_plants=16, seed=6)
    plain, allowed = (result.tallies[each] for each in ("fleet, plain", "fleet, allowed for"))
    assert (plain.n, allowed.n) == (16, 16)
    assert plain.share("covered") < 0.2
    assert allowed.share("covered") >= 0.95 - 2 * math.sqrt(0.05 * 0.95 / 16)


def test_the_same_seed_gives_the_same_table_whatever_else_is_run():
    first = simulate([Scenario("a"), Scenario("b", effect=0.5)], n_plants=2, seed=7)
    again = simulate([Scenario("b", effect=0.5)], n_plants=2, seed=7)
    assert as_table(first[1:]) == as_table(again)
    assert as_table(again).count("\n") == 8


def test_no_plant_is_refused():
    with pytest.raises(ValueError, match="give 1 or more"):
        simulate([], n_plants=0, seed=1)


def test_the_command_prints_the_table_with_errors_and_the_level():
    said, told = StringIO(), StringIO()
    call_command("simulate_effect", plants=1, seed=3, stdout=said, stderr=told)
    page = said.getvalue()
    assert page.startswith("1 plants and 6 to ")
    assert "seed 3; intervals at 95 %, shares ± one standard error" in page
    assert all(each.name in page and each.name in told.getvalue() for each in SCENARIOS)
