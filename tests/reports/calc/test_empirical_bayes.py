import csv
import doctest
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, optimize, stats
from statsmodels.discrete.discrete_model import NegativeBinomial, Poisson

from plant.calc.reasons import Reason
from reports.calc import empirical_bayes, reference_model
from reports.calc.empirical_bayes import (
    IndexRule,
    expected_without_device,
    index_against,
    index_of_effect,
    posterior_ratio_many,
)
from reports.calc.reference_model import (
    NoReference,
    ReferenceModel,
    ReferenceRule,
    Trend,
    fit_reference,
    fit_trend,
    shape_weights,
    trend_of,
)
from tests.reference.effect import (
    HAUER,
    POSTERIOR,
    QUINE,
    QUINE_INTERCEPT,
    QUINE_SHAPE,
    QUINE_TWICE_LOG,
    SHIPS,
    SHIPS_DISPERSION,
)

FOLDER = Path(__file__).parents[2] / "reference"


def rows_of(name):
    with open(FOLDER / name, newline="") as file:
        return list(csv.DictReader(file))


def test_examples():
    assert doctest.testmod(empirical_bayes).failed == 0
    assert doctest.testmod(reference_model).failed == 0


def test_the_negative_binomial_model_is_the_published_one():
    rows = rows_of("quine.csv")
    days = np.array([float(row["Days"]) for row in rows])
    column = {"N": "Eth", "M": "Sex", "F1": "Age", "F2": "Age", "F3": "Age", "SL": "Lrn"}
    traits = {name: np.array([float(row[column[name]] == name) for row in rows]) for name in QUINE}
    model = reference_model._fit(days, np.ones(days.size), traits)
    assert model.coefficients[0] == pytest.approx(QUINE_INTERCEPT, abs=2e-4)
    assert dict(zip(model.names, model.coefficients[1:], strict=True)) == pytest.approx(QUINE, abs=2e-4)
    assert model.shape == pytest.approx(QUINE_SHAPE, abs=1e-3)
    assert 2 * model.log_likelihood == pytest.approx(QUINE_TWICE_LOG, abs=2e-3)


def test_the_exposure_enters_as_an_offset_and_uneven_counts_are_noticed():
    rows = [row for row in rows_of("ships.csv") if row["service"] not in ("NA", "0")]
    value = {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}
    traits = {f"ship {n}": (value["ship"] == n) * 1.0 for n in range(2, 6)}
    traits |= {name: value[name] for name in ("co.65.69", "co.70.74", "co.75.79", "op")}
    model = reference_model._fit(value["accident"], value["service"], traits)
    assert len(rows) == 34
    assert model.dispersion == pytest.approx(SHIPS_DISPERSION, abs=0.005)
    # The likelihood of the negative binomial is highest at no extra spread, so the Poisson coefficients stand, and the
    # unevenness is said and widens the errors.
    assert model.coefficients == pytest.approx(SHIPS, abs=2e-4)
    assert model.reasons == (Reason(ReferenceRule.UNEVEN, {"dispersion": pytest.approx(1.69, abs=0.005)}),)


def test_the_likelihoods_decide_between_the_models_and_no_statistic_beforehand():
    """Forty stretches that hardly ran and eight that differ: Pearson's statistic is below 1, yet they are uneven."""
    counts, hours = np.array([0.0] * 40 + [5, 15, 13, 8, 13, 0, 4, 2]), np.array([10.0] * 40 + [60_000.0] * 8)
    model = fit_reference(counts, hours)
    # Reference: scipy's negative binomial law at its highest likelihood, and both models of statsmodels.
    design, offset = np.ones((48, 1)), np.log(hours)
    poisson = Poisson(counts, design, offset=offset).fit(disp=0)

    def against(given):
        shape, mean = math.exp(given[1]), math.exp(given[0]) * hours
        return -stats.nbinom.logpmf(counts, shape, shape / (shape + mean)).sum()

    best = optimize.minimize(against, [-9.0, 0.5], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-9})
    assert model.dispersion < 1
    assert model.shape == pytest.approx(math.exp(best.x[1]), rel=1e-3) == pytest.approx(1.68, abs=0.01)
    assert model.log_likelihood == pytest.approx(-best.fun, abs=1e-4)
    assert model.log_likelihood > poisson.llf + 7.0
    negative = NegativeBinomial(counts, design, offset=offset).fit(disp=0, method="bfgs")
    assert model.shape == pytest.approx(1.0 / negative.params[-1], rel=1e-3)


def test_counts_as_even_as_chance_or_more_so_keep_the_poisson_model():
    model = fit_reference(np.full(40, 5.0), np.full(40, 2000.0))
    assert math.isinf(model.shape)
    assert model.rate_per_h({}) == pytest.approx(0.0025)
    assert model.reasons == ()


def test_a_trait_is_taken_in_only_if_it_tells():
    rng = np.random.default_rng(5)
    wet, idle = rng.integers(0, 2, 80).astype(float), rng.normal(size=80)
    hours = rng.uniform(3000, 6000, 80)
    counts = rng.poisson(rng.gamma(2.0, 1 / 2.0, 80) * np.exp(-6.3 + 1.2 * wet) * hours)
    model = fit_reference(counts, hours, {"idle": idle, "wet": wet})
    assert (model.names, model.left_out) == (("wet",), ("idle",))
    assert model.coefficients[1] == pytest.approx(1.2, abs=3 * math.sqrt(model.covariance[1][1]))
    assert model.shape == pytest.approx(2.0, rel=0.6)
    assert model.rate_per_h({"wet": 1.0}) > model.rate_per_h({"wet": 0.0})


def test_years_that_were_worse_for_all_do_not_make_stretches_look_uneven():
    """Half of the stretches are known in a bad year only; alike but for that, the model must find them alike."""
    rng = np.random.default_rng(8)
    level, n = np.array([3.0, 1.0]), 80
    hours = np.column_stack([np.full(n, 4000.0), np.where(np.arange(n) < n // 2, 0.0, 4000.0)])
    own = rng.gamma(20.0, 1 / 20.0, n)
    counts = rng.poisson(0.003 * own[:, None] * level * hours)
    lumped = fit_reference(counts.sum(axis=1), hours.sum(axis=1))
    by_year = fit_reference(counts, hours)
    assert lumped.shape < 12 < by_year.shape
    # The rate is that of all hours together, as counted.
    assert by_year.rate_per_h({}) == pytest.approx(counts.sum() / hours.sum(), rel=0.1)
    assert by_year.hours == pytest.approx(hours.sum())
    one = fit_reference(counts.sum(axis=1)[:, None], hours.sum(axis=1)[:, None])
    assert one == lumped


def test_years_with_too_few_incidents_are_put_together_with_the_next():
    counts, hours = np.array([[5.0, 18, 2, 19, 3]]), np.array([[1.0, 2, 3, 4, 5]])
    merged = reference_model._merged_years(counts, hours)
    assert [each.tolist() for each in merged] == [[[23, 24]], [[3, 12]]]
    assert [each.tolist() for each in reference_model._merged_years(counts[:, :1], hours[:, :1])] == [[[5]], [[1]]]


def test_too_few_stretches_are_said():
    found = fit_reference([1, 2, 3], [100, 100, 100])
    assert isinstance(found, NoReference)
    assert found.reasons == (Reason(ReferenceRule.TOO_FEW_STRETCHES, {"n": 3, "n_needed": 10}),)
    assert isinstance(fit_reference(np.zeros(20), np.ones(20)), NoReference)


@pytest.mark.parametrize("case", HAUER)
def test_hauers_index_by_hand(case):
    (n0, t0, n1, t1, rate, shape, trend), expected = HAUER[case]
    found = index_of_effect(n0, t0, n1, t1, rate_per_h=rate, shape=shape, trend=trend)
    shown = (
        found.weight,
        found.expected_before,
        found.expected_after,
        found.variance_after,
        found.theta,
        found.error,
    )
    assert shown == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("case", POSTERIOR)
def test_posterior_ratio_of_the_stories(case):
    sides, expected = POSTERIOR[case]
    found = index_of_effect(*sides, rate_per_h=0.0025, shape=2)
    assert (found.ratio, found.low, found.high) == pytest.approx(expected, abs=0.0065)


def test_with_none_after_there_is_an_interval_and_no_standard_error():
    found = index_of_effect(14, 4900, 0, 95, rate_per_h=0.0025, shape=2)
    assert found.error is None
    assert 0 < found.low < found.ratio < found.high < math.inf
    assert found.reasons == (Reason(IndexRule.NO_ERROR),)


def test_limits_of_the_weight():
    assert expected_without_device(10, 4, math.inf).expected == 4
    assert expected_without_device(10, 4, 0).expected == 10


@pytest.mark.parametrize(("n0", "n1"), [(29, 6), (3, 3), (12, 1)])
def test_the_interval_is_that_of_drawn_rates(n0, n1):
    """Shape, reference rate and trend each with an error: the limits against a million draws."""
    rng = np.random.default_rng(3)
    shapes, weights = np.array([0.7, 2.0, 9.0]), np.array([0.3, 0.5, 0.2])
    phi = rng.choice(shapes, 1_000_000, p=weights)
    rate = 0.0025 * np.exp(rng.normal(0, 0.25, phi.size))
    before = rng.gamma(phi + n0, 1 / (4800 + phi / 0.0025)) * (rate / 0.0025) ** (phi / 0.0025 / (4800 + phi / 0.0025))
    drawn = rng.gamma(n1 + 0.5, 1 / 4700, phi.size) / before / (0.9 * np.exp(rng.normal(0, 0.2, phi.size)))
    told = posterior_ratio_many(
        n0, 4800, n1, 4700, rate_per_h=0.0025, shape=shapes, shape_weights=weights, trend=0.9, log_error=0.2,
        rate_log_error=0.25,
    )  # fmt: skip
    assert told == pytest.approx(np.quantile(drawn, [0.5, 0.025, 0.975]), rel=0.02)


def test_without_errors_the_posterior_is_a_beta_prime():
    found = posterior_ratio_many(29, 4800, 6, 4700, rate_per_h=0.0025, shape=2)
    exact = stats.betaprime.ppf([0.5, 0.025, 0.975], 6.5, 31) * (4800 + 800) / 4700
    assert found == pytest.approx(exact, rel=1e-9)


def test_weights_of_the_shape_are_its_likelihood_and_hold_the_truth():
    """Against scipy's negative binomial, under the prior of equal shrinkage; no mean of a stretch is far off."""
    rng = np.random.default_rng(9)
    mean = rng.uniform(5, 15, 60)
    counts = rng.poisson(rng.gamma(3.0, mean / 3.0))
    shapes, weights = shape_weights(counts, mean)
    assert weights.sum() == pytest.approx(1.0)
    share = shapes / (shapes + np.median(mean))
    by_scipy = np.array([stats.nbinom.logpmf(counts, phi, phi / (phi + mean)).sum() for phi in shapes])
    expected = by_scipy + np.log(share * (1 - share))
    assert np.log(weights / weights[0]) == pytest.approx(expected - expected[0], abs=1e-6)
    assert shapes[np.cumsum(weights) < 0.025][-1] < 3.0 < shapes[np.cumsum(weights) > 0.975][0]
    # Counts that are no more uneven than chance allow any large shape, and not one alone.
    even, _weights = shape_weights(np.full(30, 8), np.full(30, 8.0))
    assert even.max() > 1000 > even.min()


def test_an_index_against_a_model_carries_all_of_its_errors():
    model = ReferenceModel(("wet",), (math.log(0.002), 0.5), ((0.04, 0.0), (0.0, 0.09)), 2.0, 0, 0, 60, 500, 1e5, 3.0)
    trend = Trend(0.8, 0.1, 200, 1e5, 160, 1e5, level_before=1.2)
    found = index_against(model, {"wet": 1.0}, 20, 4000, 8, 5000, trend=trend, dispersion=1.5)
    by_hand = index_of_effect(
        20, 4000, 8, 5000, rate_per_h=0.0024 * math.exp(0.5), shape=2.0, trend=0.8, log_error=0.1,
        rate_log_error=math.sqrt(0.13), dispersion=1.5,
    )  # fmt: skip
    assert found.ratio == pytest.approx(by_hand.ratio)
    assert (found.low, found.high) == pytest.approx((by_hand.low, by_hand.high))
    without = index_against(model, {"wet": 1.0}, 20, 4000, 8, 5000, trend=None)
    assert without.ratio < found.ratio
    with pytest.raises(ValueError, match="2 shapes have 1 weights"):
        index_of_effect(1, 1, 1, 1, rate_per_h=1.0, shape=(1.0, 2.0))


def stretches_with_the_worst_chosen(rng, *, trend, n=60, n_treated=12, mean=10.0, shape=8.0):
    rates = rng.gamma(shape, mean / shape, n)
    before, after = rng.poisson(rates), rng.poisson(rates * trend)
    treated = np.argsort(-before, kind="stable")[:n_treated]
    untreated = np.ones(n, bool)
    untreated[treated] = False
    counts = np.column_stack([before, np.where(untreated, after, 0)])
    hours = np.column_stack([np.full(n, 1000.0), np.where(untreated, 1000.0, 0.0)])
    return counts, hours, untreated


@pytest.mark.parametrize("truth", [0.67, 1.0, 1.5])
def test_choosing_the_worst_does_not_bias_the_trend(truth):
    """200 plants (seed 6): the plain ratio of untreated stretches leans upwards, the fitted one does not."""
    rng, plain, fitted, inside = np.random.default_rng(6), [], [], 0
    for _each in range(200):
        counts, hours, untreated = stretches_with_the_worst_chosen(rng, trend=truth)
        found = fit_trend(counts, hours, rate_per_h=np.full(60, 0.01), shape=8.0, is_untreated=untreated)
        plain.append(found.as_counted)
        fitted.append(found.ratio)
        inside += abs(math.log(found.ratio / truth)) < 1.96 * found.log_error
    assert np.mean(plain) > 1.05 * truth
    assert np.exp(np.mean(np.log(fitted))) == pytest.approx(truth, rel=0.012)
    assert 0.91 <= inside / 200 <= 0.99


def test_the_trend_is_where_the_marginal_likelihood_is_highest():
    """Each stretch's own rate summed out on a fine grid, with scipy's laws; four stretches, three windows."""
    n = np.array([[19, 9, 30], [2, 1, 5], [0, 22, 3], [14, 0, 9]])
    hours = np.array([[900, 800, 3000], [1000, 900, 2500], [700, 1500, 400], [800, 0, 700]], float)
    rate, shape = np.array([0.008, 0.003, 0.01, 0.012]), 1.7

    own = np.linspace(1e-4, 20.0, 4001)
    prior = stats.gamma.pdf(own, shape, scale=1 / shape)

    def against(levels):
        mean = own[:, None, None] * hours * rate[:, None] * np.exp(levels)
        seen = np.exp(stats.poisson.logpmf(n, mean).sum(axis=2))
        return -np.log(integrate.simpson(seen * prior[:, None], x=own, axis=0)).sum()

    best = optimize.minimize(against, np.zeros(3), method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-10})
    found = fit_trend(n, hours, rate_per_h=rate, shape=shape, is_untreated=[True, True, True, False])
    assert math.log(found.ratio) == pytest.approx(best.x[1] - best.x[0], abs=1e-4)
    assert math.log(found.level_before) == pytest.approx(best.x[0], abs=1e-4)
    assert (found.n_before, found.n_after, found.hours_after) == (21, 32, 3200)


def test_alike_stretches_that_all_stay_untreated_have_their_plain_ratio_as_trend():
    rng = np.random.default_rng(2)
    n = rng.poisson(6.0, (50, 2))
    found = fit_trend(
        n, np.full((50, 2), 500.0), rate_per_h=np.full(50, 0.01), shape=math.inf, is_untreated=np.ones(50, bool)
    )
    before, after = n.sum(axis=0)
    assert found.ratio == pytest.approx(after / before, rel=1e-3)
    assert found.log_error == pytest.approx(math.sqrt(found.dispersion * (1 / before + 1 / after)), rel=1e-3)


def test_stretches_that_change_more_than_chance_widen_the_error_of_the_trend():
    rng = np.random.default_rng(2)
    n = rng.poisson(6.0 * rng.gamma(3.0, 1 / 3.0, (200, 2)))  # each stretch draws a new rate each year
    found = fit_trend(
        n, np.full((200, 2), 500.0), rate_per_h=np.full(200, 0.012), shape=1e5, is_untreated=np.ones(200, bool)
    )
    assert found.dispersion == pytest.approx(1 + 6 / 3, rel=0.25)


def test_no_trend_from_a_handful_of_incidents_and_wrong_input_is_named():
    few = {"rate_per_h": np.full(3, 0.01), "shape": 2.0, "is_untreated": np.ones(3, bool)}
    assert fit_trend(np.full((3, 2), 6), np.full((3, 2), 500.0), **few) is None
    assert fit_trend(np.full((3, 2), 7), np.full((3, 2), 500.0), **few).ratio == pytest.approx(1.0)
    with pytest.raises(ValueError, match="a row for every stretch and a column for every window"):
        fit_trend(np.ones((2, 2)), np.ones((3, 2)), **few)
    with pytest.raises(ValueError, match="must be above 0"):
        fit_trend(np.ones((3, 2)), np.ones((3, 2)), **few | {"shape": 0.0})


def test_trend_of_untreated_stretches():
    found = trend_of(400, 1e5, 380, 1e5)
    assert found.ratio == pytest.approx(380.5 / 400.5)
    assert found.log_error == pytest.approx(math.sqrt(1 / 400 + 1 / 380), rel=0.01)
    assert trend_of(1, 0, 1, 1) is None
