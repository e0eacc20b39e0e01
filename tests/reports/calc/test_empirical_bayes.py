import csv
import doctest
import math
from pathlib import Path

import numpy as np
import pytest

from reports.calc import empirical_bayes
from reports.calc.empirical_bayes import (
    NoReference,
    expected_without_device,
    fit_reference,
    index_of_effect,
    posterior_ratio_many,
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


def test_the_negative_binomial_model_is_the_published_one():
    rows = rows_of("quine.csv")
    days = np.array([float(row["Days"]) for row in rows])
    column = {"N": "Eth", "M": "Sex", "F1": "Age", "F2": "Age", "F3": "Age", "SL": "Lrn"}
    traits = {name: np.array([float(row[column[name]] == name) for row in rows]) for name in QUINE}
    model = empirical_bayes._fit(days, np.ones(days.size), traits)
    assert model.coefficients[0] == pytest.approx(QUINE_INTERCEPT, abs=2e-4)
    assert dict(zip(model.names, model.coefficients[1:], strict=True)) == pytest.approx(QUINE, abs=2e-4)
    assert model.shape == pytest.approx(QUINE_SHAPE, abs=1e-3)
    assert 2 * model.log_likelihood == pytest.approx(QUINE_TWICE_LOG, abs=2e-3)


def test_the_exposure_enters_as_an_offset_and_uneven_counts_are_noticed():
    rows = [row for row in rows_of("ships.csv") if row["service"] not in ("NA", "0")]
    value = {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}
    traits = {f"ship {n}": (value["ship"] == n) * 1.0 for n in range(2, 6)}
    traits |= {name: value[name] for name in ("co.65.69", "co.70.74", "co.75.79", "op")}
    model = empirical_bayes._fit(value["accident"], value["service"], traits)
    assert len(rows) == 34
    assert model.dispersion == pytest.approx(SHIPS_DISPERSION, abs=0.005)
    # The likelihood of the negative binomial is highest at no extra spread, so the Poisson coefficients stand, and the
    # unevenness is said and widens the errors.
    assert model.coefficients == pytest.approx(SHIPS, abs=2e-4)
    assert "1.69 times" in model.reasons[0]


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


def test_too_few_stretches_are_said():
    found = fit_reference([1, 2, 3], [100, 100, 100])
    assert isinstance(found, NoReference)
    assert "Only 3 stretches" in found.reasons[0]
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
    assert "Hauer" in found.reasons[0]


def test_limits_of_the_weight():
    assert expected_without_device(10, 4, math.inf).expected == 4
    assert expected_without_device(10, 4, 0).expected == 10


def test_the_interval_is_that_of_two_drawn_gammas():
    rng = np.random.default_rng(3)
    drawn = rng.gamma(6.5, 1 / 4700, 400_000) / rng.gamma(31, 1 / (4800 + 800), 400_000)
    drawn /= np.exp(rng.normal(0, 0.2, 400_000))
    _middle, low, high = posterior_ratio_many(29, 4800, 6, 4700, rate_per_h=0.0025, shape=2, log_error=0.2)
    assert (low, high) == pytest.approx(np.quantile(drawn, [0.025, 0.975]), rel=0.04)


def test_trend_of_untreated_stretches():
    found = trend_of(400, 1e5, 380, 1e5)
    assert found.ratio == pytest.approx(380.5 / 400.5)
    assert found.log_error == pytest.approx(math.sqrt(1 / 400 + 1 / 380), rel=0.01)
    assert trend_of(1, 0, 1, 1) is None
