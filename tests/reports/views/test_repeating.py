"""A colleague repeats the three answers from the exported files alone, with scipy and statsmodels."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math

import numpy as np
import pytest
import statsmodels.api as sm
from django.urls import reverse
from django.utils import timezone
from scipy import optimize, special, stats

from tests import make

DAY = dt.timedelta(days=1)


@pytest.fixture
def plant(alder):
    """Twenty-four belts of two lengths, most without a device; more incidents on some than chance would bring."""
    now, rng = timezone.now(), np.random.default_rng(11)
    for k in range(24):
        is_wet = k % 3 == 0
        belt = make.conveyor(alder, tag=f"S-{k}", length_m=150.0 + 6.0 * k, duty="wet_abrasive" if is_wet else "")
        make.run_record(belt, now - 900 * DAY, now, 12.0 * 900)
        make.drift_switch(belt, 80.0)
        for days in rng.uniform(5, 895, rng.poisson(rng.gamma(3.0, 4.0) * (3.0 if is_wet else 1.0))):
            make.incident(belt, now - float(days) * DAY, strand="carry" if rng.random() < 0.3 else "return")
    belt = make.conveyor(alder, tag="T-1", duty="wet_abrasive")
    make.run_record(belt, now - 900 * DAY, now, 11.0 * 900)
    make.drift_switch(belt, 60.0)
    at = make.installation(belt, "20", installed_at=now - 300 * DAY)
    for i in range(24):
        make.incident(belt, at.installed_at - (9 + 14 * i) * DAY, chainage_m=70.0)
    for i in range(5):
        make.incident(belt, at.installed_at + (30 + 40 * i) * DAY, chainage_m=70.0)
    return at


class Files:
    """The two files as a colleague reads them; nothing else of the site is used."""

    def __init__(self, client, at):
        text = client.get(reverse("effect-data", args=[at.pk])).content.decode()
        self.rows = list(csv.DictReader(io.StringIO(text)))
        text = client.get(reverse("effect-reference", args=[at.pk])).content.decode()
        self.stretches = list(csv.DictReader(io.StringIO(text)))

    def row(self, part, item):
        return next(row for row in self.rows if (row["part"], row["item"]) == (part, item))

    def value(self, part, item):
        return float(self.row(part, item)["value"])

    def answer(self, item):
        return tuple(float(self.row("answer", item)[name]) for name in ("ratio", "low", "high"))

    def side(self, name):
        row = self.row("window", name)
        return int(row["incidents"]), float(row["running_h"])


@pytest.fixture
def files(client, plant, mona):
    client.force_login(mona)
    return Files(client, plant)


def beta_prime(mean, variance, n_after, hours_after, trend):
    """Median and limits by scipy's beta prime; the rate before has this mean and variance on the log scale."""
    a = optimize.brentq(lambda shape: special.polygamma(1, shape) - variance, 1e-3, 1e7)
    scale = math.exp(special.digamma(a) - mean) / (hours_after * trend)
    return tuple(stats.betaprime.ppf([0.5, 0.025, 0.975], n_after + 0.5, a) * scale)


def test_plain(files):
    (n0, t0), (n1, t1) = files.side("before"), files.side("after")
    share = stats.binomtest(n1, n0 + n1).proportion_ci(files.value("check", "level"), method="exact")
    odds = [p / (1 - p) * t0 / t1 for p in (share.low, share.high)]
    assert files.answer("plain, exact") == pytest.approx((n1 / t1 / (n0 / t0), *odds), abs=2e-6)
    listed = [row["item"] for row in files.rows if row["part"] == "incident"]
    assert (listed.count("before"), listed.count("after")) == (n0, n1)
    hours = sum(float(row["running_h"]) for row in files.rows if (row["part"], row["item"]) == ("day", "before"))
    assert hours == pytest.approx(t0, abs=1e-3)
    assert files.value("check", "drift switches in the zone") == 1
    assert files.value("check", "merge time [min]") == 10


def numbers(files, *names):
    return (np.array([float(row[name]) for row in files.stretches]) for name in names)


def trend_of(files, rate, phi):
    """Trend and level before at the highest likelihood, by scipy's own optimiser and a numeric curvature."""
    n, h = np.zeros((len(files.stretches), 3)), np.zeros((len(files.stretches), 3))
    n[:, 2], h[:, 2], n[:, 0], h[:, 0], n[:, 1], h[:, 1] = numbers(
        files, "incidents", "running_h", "incidents_before", "running_h_before", "incidents_after", "running_h_after"
    )
    n[:, 2] -= n[:, 0] + n[:, 1]
    h[:, 2] = np.maximum(h[:, 2] - h[:, 0] - h[:, 1], 0.0)

    def minus(levels):
        mean = (rate[:, None] * h * np.exp(levels)).sum(axis=1)
        return -float(np.sum(n * levels) - np.sum((n.sum(axis=1) + phi) * np.log(phi + mean)))

    found = optimize.minimize(minus, np.zeros(3), method="Nelder-Mead",
                              options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 5000}).x  # fmt: skip
    step, unit = 1e-3, np.eye(3)
    curvature = [[(minus(found + step * (i + j)) - minus(found + step * (i - j)) - minus(found - step * (i - j))
                   + minus(found - step * (i + j))) / (4 * step * step) for j in unit] for i in unit]  # fmt: skip
    contrast = np.array([-1.0, 1.0, 0.0])
    ratio = math.exp(contrast @ found)
    kept = np.array([row["until"] == "" for row in files.stretches]) & (n[:, 0] + n[:, 1] > 0)
    both, p = n[kept, 0] + n[kept, 1], ratio * h[kept, 1] / (ratio * h[kept, 1] + h[kept, 0])
    pearson = max(1.0, float(np.sum((n[kept, 1] - both * p) ** 2 / (both * p * (1 - p)))) / (kept.sum() - 1))
    return ratio, math.sqrt(pearson * contrast @ np.linalg.solve(curvature, contrast)), math.exp(found[0])


def test_trend_and_compared(files):
    (n0, t0), (n1, t1) = files.side("before"), files.side("after")
    rate, _traits, _model, phi = fitted(files)
    trend, error, _level = trend_of(files, rate, phi)
    assert files.value("trend", "ratio") == pytest.approx(trend, rel=1e-3)
    assert files.value("trend", "log error") == pytest.approx(error, rel=1e-2)
    d = files.value("check", "dispersion")
    mean = special.digamma(n0 / d + 0.5) - math.log(t0 / d)
    variance = special.polygamma(1, n0 / d + 0.5) + error**2
    assert files.answer("compared") == pytest.approx(beta_prime(mean, variance, n1 / d, t1 / d, trend), rel=5e-3)


def fitted(files):
    """The reference model fitted anew to the file of stretches, with the traits that were chosen.

    By another way than the site's: a generalised linear model for each shape, and the shape by its likelihood.
    """
    names = [row["item"] for row in files.rows if row["part"] == "coefficient"][1:]
    kept = [row for row in files.stretches if float(row["running_h"]) > 0]
    assert len(kept) == len(files.stretches)
    n, hours = numbers(files, "incidents", "weighed_h")
    design = np.column_stack([np.ones(n.size), *([float(row[name]) for row in kept] for name in names)])

    def fit(log_alpha):
        family = sm.families.NegativeBinomial(alpha=math.exp(log_alpha))
        return sm.GLM(n, design, family=family, offset=np.log(hours)).fit()

    best = optimize.minimize_scalar(lambda log_alpha: -fit(log_alpha).llf, bounds=(-5, 3), method="bounded",
                                    options={"xatol": 1e-8})  # fmt: skip
    model = fit(best.x)
    return np.exp(design @ model.params), names, model, math.exp(-best.x)


def test_the_model(files):
    _rate, names, model, phi = fitted(files)
    assert "wet abrasive duty" in names
    k = len(names) + 1
    stated = [float(row["value"]) for row in files.rows if row["part"] == "coefficient"]
    assert stated == pytest.approx(model.params, abs=2e-3)
    assert files.value("model", "phi") == pytest.approx(phi, rel=5e-3)
    covariance = [float(row["value"]) for row in files.rows if row["part"] == "covariance"]
    # The site takes the observed information and this the expected one: the standard errors differ a little.
    mine = np.sqrt(np.diag(model.cov_params()))
    assert np.sqrt(np.diag(np.array(covariance).reshape(k, k))) == pytest.approx(mine, rel=0.1)


def test_shrunk(files):
    (n0, t0), (n1, t1) = files.side("before"), files.side("after")
    rates, names, model, phi = fitted(files)
    traits = np.array([1.0, *(files.value("trait here", name) for name in names)])
    rate, spread = math.exp(traits @ model.params), math.sqrt(traits @ model.cov_params() @ traits)
    assert files.value("model", "rate per running hour here") == pytest.approx(rate, rel=5e-3)
    assert files.value("model", "log error of that rate") == pytest.approx(spread, rel=0.1)
    trend, error, level = trend_of(files, rates, phi)
    # Shapes and their weights: scipy's negative binomial likelihood times a flat share of shrinkage.
    n, hours = numbers(files, "incidents", "weighed_h")
    mu = rates * hours
    shapes = np.median(mu) * np.exp(np.arange(-8.0, 8.01, 0.1))
    log_weight = np.array([stats.nbinom.logpmf(n, each, each / (each + mu)).sum() for each in shapes])
    share = shapes / (shapes + np.median(mu))
    weight = np.exp(log_weight - log_weight.max()) * share * (1 - share)
    weight /= weight.sum()
    stated = {float(row["item"]): float(row["value"]) for row in files.rows if row["part"] == "weight of phi"}
    assert max(stated.values()) == pytest.approx(weight.max(), rel=0.01)
    d, here = files.value("check", "dispersion"), rate * level
    a0, b0 = n0 / d + shapes, t0 / d + shapes / here
    middles = special.digamma(a0) - np.log(b0)
    spreads = special.polygamma(1, a0) + (shapes / here / b0 * spread) ** 2
    mean = weight @ middles
    variance = weight @ (spreads + (middles - mean) ** 2) + error**2
    # The model was fitted by another method here, so the figures agree to two or three digits and not to the last.
    assert files.answer("shrunk") == pytest.approx(beta_prime(mean, variance, n1 / d, t1 / d, trend), rel=0.01)


def test_other_plants_get_nothing(client, plant, otto):
    client.force_login(otto)
    assert client.get(reverse("effect-reference", args=[plant.pk])).status_code == 404
