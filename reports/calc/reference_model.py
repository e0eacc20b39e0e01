"""What stretches do while no device reaches them: their rate by their traits, and the trend that all share.

Steps 1 and 4 of what `reports.calc.empirical_bayes` describes.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from plant.calc.reasons import Reason

FloatArray = NDArray[np.float64]

FEWEST_STRETCHES = 10
STRETCHES_PER_COEFFICIENT = 10
# Above this shape the counts are no more uneven than chance, and the model is as good as a Poisson one.
LARGEST_SHAPE = 1e6
# Fewer incidents on the untreated stretches in either window say nothing of a trend; own rule.
FEWEST_FOR_TREND = 20


class ReferenceRule(StrEnum):
    """What is not allowed for in a comparison and why, and what was found of the stretches without a device."""

    NO_STRETCH = "reference.no_stretch"
    ONE_STRETCH = "reference.one_stretch"
    TOO_FEW_STRETCHES = "reference.too_few_stretches"
    NO_INCIDENT = "reference.no_incident"
    UNEVEN = "reference.uneven"
    NO_TREND = "reference.no_trend"
    TRAIT_UNKNOWN = "reference.trait_unknown"


@dataclass(frozen=True)
class ReferenceModel:
    """Rate of untreated stretches: coefficients on the log scale, shape, and how it was chosen."""

    names: tuple[str, ...]
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    shape: float
    log_likelihood: float
    bic: float
    n_stretches: int
    n_incidents: int
    hours: float
    dispersion: float
    left_out: tuple[str, ...] = ()
    reasons: tuple[Reason, ...] = ()
    # Shapes that the counts allow, each with its weight; empty where only the likeliest is known.
    shapes: tuple[float, ...] = ()
    shape_weights: tuple[float, ...] = ()
    # Hours of each stretch with any, as the model took them: those of years in which all fared worse count for more.
    weighed_h: tuple[float, ...] = ()

    def rate_per_h(self, traits: Mapping[str, float]) -> float:
        """Incidents per running hour of a stretch with these traits [1/h]."""
        return math.exp(float(np.dot(self._row(traits), self.coefficients)))

    def log_error(self, traits: Mapping[str, float]) -> float:
        """Standard error of the logarithm of that rate [-]."""
        row = self._row(traits)
        return math.sqrt(max(0.0, float(row @ np.array(self.covariance) @ row)))

    def _row(self, traits: Mapping[str, float]) -> FloatArray:
        return np.array([1.0, *(traits[name] for name in self.names)])


@dataclass(frozen=True)
class NoReference:
    """Why no reference model could be made."""

    n_stretches: int
    reasons: tuple[Reason, ...]


def too_few_stretches(n: int) -> NoReference:
    """No model, because so few stretches are without a device.

    Parameters
    ----------
    n : int
        How many there are, fewer than `FEWEST_STRETCHES`.

    Returns
    -------
    NoReference
    """
    few = {0: ReferenceRule.NO_STRETCH, 1: ReferenceRule.ONE_STRETCH}.get(n, ReferenceRule.TOO_FEW_STRETCHES)
    return NoReference(n, (Reason(few, {"n": n, "n_needed": FEWEST_STRETCHES}),))


@dataclass(frozen=True)
class Trend:
    """What stretches without a device did between the two windows: rate after over rate before.

    The counts are those of stretches without a device throughout; their plain ratio is `as_counted`, while `ratio` has
    the choice of the worst stretches taken out, where a reference model allows it. `level_before` is the rate of the
    window before over the reference model's.
    """

    ratio: float
    log_error: float
    n_before: int
    hours_before: float
    n_after: int
    hours_after: float
    level_before: float = 1.0
    dispersion: float = 1.0

    @property
    def as_counted(self) -> float:
        """Rate after over rate before of those counts, half an incident added to each."""
        return (self.n_after + 0.5) / self.hours_after / ((self.n_before + 0.5) / self.hours_before)


def fit_reference(
    n: ArrayLike, hours: ArrayLike, candidates: Mapping[str, ArrayLike] | None = None
) -> ReferenceModel | NoReference:
    """Model of the rate of stretches while no device reached them.

    Parameters
    ----------
    n : array of int, shape (s,) or (s, w)
        Incidents of each stretch, year by year where there are w columns.
    hours : array of float, shape (s,) or (s, w)
        Running hours of the same; stretches without hours are left out [h]. With columns, hours of years in which
        all stretches fared worse count for more: else stretches that got a device early, and so lived in other years
        than the rest, would make stretches look more uneven than they are.
    candidates : mapping of str to array of float, shape (s,), optional
        Traits that may be taken in, in order of preference at equal merit.

    Returns
    -------
    ReferenceModel or NoReference
        NoReference with reasons where there are fewer than ten stretches, or no incident on any.

    Raises
    ------
    ValueError
        If lengths differ, a count is negative or hours are not finite.

    References
    ----------
    Negative binomial regression of type 2 as in Hauer, Observational Before-After Studies in Road Safety (1997), and
    FHWA-SA-10-032; fitted with statsmodels. Schwarz, G. (1978), Annals of Statistics 6, 461-464 (from memory).
    """
    counts, time = np.asarray(n, dtype=float), np.asarray(hours, dtype=float)
    if counts.shape != time.shape or counts.ndim not in {1, 2}:
        raise ValueError(f"n has shape {counts.shape}, hours {time.shape}; give one of each for every stretch")
    if np.any(counts < 0) or not np.all(np.isfinite(time)) or np.any(time < 0):
        raise ValueError("counts and hours of the stretches must be 0 or more; look for negative ones")
    kept = time.reshape(counts.shape[0], -1).sum(axis=1) > 0
    traits = {name: np.asarray(each, dtype=float)[kept] for name, each in (candidates or {}).items()}
    counts, time = counts[kept], time[kept]
    if counts.ndim == 1:
        return _with_hours(_chosen(counts, time, traits), time)
    counts, time = _merged_years(counts, time)
    total, weighed = counts.sum(axis=1), time.sum(axis=1)
    model = _chosen(total, weighed, traits)
    for _round in range(3 if counts.shape[1] > 1 else 0):
        if isinstance(model, NoReference):
            break
        levels, _information = _levels(counts, time * _rates(model, traits)[:, None], min(model.shape, LARGEST_SHAPE))
        weighed = time @ np.exp(levels)
        # The average level stays 1, so that the model's rate is that of all the years.
        weighed = weighed * time.sum() / weighed.sum()
        model = _chosen(total, weighed, traits)
    return _with_hours(model, weighed)


def _with_hours(model: ReferenceModel | NoReference, weighed: FloatArray) -> ReferenceModel | NoReference:
    return model if isinstance(model, NoReference) else replace(model, weighed_h=tuple(weighed.tolist()))


def _merged_years(counts: FloatArray, hours: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Years put together with the next until each has enough incidents to have a level of its own."""
    ends, since = [], 0
    for year in range(1, counts.shape[1] + 1):
        if counts[:, since:year].sum() >= FEWEST_FOR_TREND:
            ends.append(year)
            since = year
    starts = [0, *ends[:-1]] if ends else [0]
    return np.add.reduceat(counts, starts, axis=1), np.add.reduceat(hours, starts, axis=1)


def _rates(model: ReferenceModel, traits: Mapping[str, FloatArray]) -> FloatArray:
    """Rate of each stretch; one for all where there are no traits."""
    slopes = zip(model.names, model.coefficients[1:], strict=True)
    return np.atleast_1d(np.exp(model.coefficients[0] + sum(b * traits[name] for name, b in slopes)))


def _chosen(counts: FloatArray, time: FloatArray, traits: Mapping[str, FloatArray]) -> ReferenceModel | NoReference:
    """The model with the traits that tell."""
    if counts.size < FEWEST_STRETCHES:
        return too_few_stretches(int(counts.size))
    if counts.sum() == 0:
        return NoReference(int(counts.size), (Reason(ReferenceRule.NO_INCIDENT),))
    # A trait that all stretches share, or that is not known of some, cannot be told apart.
    usable = [name for name, each in traits.items() if np.all(np.isfinite(each)) and np.ptp(each) > 0]
    chosen: list[str] = []
    best = _fit(counts, time, {})
    while usable and (len(chosen) + 2) * STRETCHES_PER_COEFFICIENT <= counts.size:
        tried = {name: _fit(counts, time, {each: traits[each] for each in [*chosen, name]}) for name in usable}
        name = min(tried, key=lambda each: tried[each].bic)
        if not tried[name].bic < best.bic:
            break
        best = tried[name]
        chosen.append(name)
        usable.remove(name)
    shapes, weights = shape_weights(counts, time * _rates(best, traits))
    return replace(
        best,
        left_out=tuple(name for name in traits if name not in chosen),
        shapes=tuple(shapes.tolist()),
        shape_weights=tuple(weights.tolist()),
    )


def shape_weights(n: ArrayLike, mean: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Shapes that the counts of stretches allow, and how much each of them is to be believed.

    Parameters
    ----------
    n : array of int, shape (s,)
        Incidents of each stretch.
    mean : array of float, shape (s,)
        What the model expects of each, above 0.

    Returns
    -------
    tuple of array of float
        Shapes, ascending, and their weights, which sum to 1.

    Notes
    -----
    Likelihood of the counts with the means held (mean and shape of a negative binomial are orthogonal), times a prior
    under which the weight ``phi / (phi + mu)`` of a middling stretch is equally likely anywhere from 0 to 1.

    References
    ----------
    Christiansen, C. L. & Morris, C. N. (1997), Hierarchical Poisson regression modeling, JASA 92, 618-632: the uniform
    prior on shrinkage (from memory).
    """
    counts, mu = np.asarray(n, dtype=float), np.asarray(mean, dtype=float)
    logit = np.arange(-8.0, 8.01, 0.1)
    phi = float(np.median(mu)) * np.exp(logit)
    each = (
        scipy.special.gammaln(counts + phi[:, None])
        - scipy.special.gammaln(phi[:, None])
        - (counts + phi[:, None]) * np.log1p(mu / phi[:, None])
        - counts * np.log(phi[:, None])
    )
    share = scipy.special.expit(logit)
    log_weight = each.sum(axis=1) + np.log(share * (1.0 - share))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    kept = weight > 1e-4
    return phi[kept], weight[kept] / weight[kept].sum()


def _fit(counts: FloatArray, hours: FloatArray, traits: Mapping[str, FloatArray]) -> ReferenceModel:
    """One negative binomial fit; a Poisson one where that is no less likely."""
    # The library takes a second to load, and only reference models need it.
    from statsmodels.discrete.discrete_model import NegativeBinomial, Poisson

    design = np.column_stack([np.ones(counts.size), *traits.values()])
    offset = np.log(hours)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        poisson = Poisson(counts, design, offset=offset).fit(disp=0, maxiter=200)
        mean = poisson.predict()
        pearson = float(np.sum((counts - mean) ** 2 / mean)) / max(1, counts.size - design.shape[1])
        excess = float(np.sum((counts - mean) ** 2 - mean) / np.sum(mean**2))
        fit, shape, k = poisson, math.inf, design.shape[1]
        # The likelihoods decide, and no statistic beforehand: stretches of which little is to be expected pull
        # Pearson's below 1 while those with long hours differ greatly.
        negative = NegativeBinomial(counts, design, offset=offset).fit(
            start_params=np.append(poisson.params, max(excess, 0.05)), method="bfgs", disp=0, maxiter=500
        )
        alpha = float(negative.params[-1])
        if alpha > 1.0 / LARGEST_SHAPE and negative.llf > poisson.llf:
            fit, shape, k = negative, 1.0 / alpha, design.shape[1] + 1
        covariance = np.asarray(fit.cov_params())[: design.shape[1], : design.shape[1]]
    reasons: tuple[Reason, ...] = ()
    if math.isinf(shape) and pearson > 1.0:
        # Uneven, yet not in the way of a negative binomial: the errors are widened, as for a quasi-Poisson model.
        covariance = covariance * pearson
        reasons = (Reason(ReferenceRule.UNEVEN, {"dispersion": pearson}),)
    return ReferenceModel(
        names=tuple(traits),
        coefficients=tuple(float(each) for each in fit.params[: design.shape[1]]),
        covariance=tuple(tuple(float(each) for each in row) for row in covariance),
        shape=shape,
        log_likelihood=float(fit.llf),
        bic=k * math.log(counts.size) - 2.0 * float(fit.llf),
        n_stretches=int(counts.size),
        n_incidents=int(counts.sum()),
        hours=float(hours.sum()),
        dispersion=pearson,
        reasons=reasons,
    )


def trend_of(n_before: int, hours_before: float, n_after: int, hours_after: float) -> Trend | None:
    """Rate after over rate before of stretches without a device; half an incident added to each count.

    Parameters
    ----------
    n_before, n_after : int
        Incidents of all of them together.
    hours_before, hours_after : float
        Running hours, summed over the stretches [h].

    Returns
    -------
    Trend or None
        None where a side has no hours.
    """
    if hours_before <= 0 or hours_after <= 0:
        return None
    before, after = n_before + 0.5, n_after + 0.5
    ratio = (after / hours_after) / (before / hours_before)
    error = math.sqrt(float(scipy.special.polygamma(1, before) + scipy.special.polygamma(1, after)))
    return Trend(ratio, error, n_before, hours_before, n_after, hours_after)


def fit_trend(
    n: ArrayLike, hours: ArrayLike, *, rate_per_h: ArrayLike, shape: float, is_untreated: ArrayLike
) -> Trend | None:
    """Rate after over rate before without a device, where the worst stretches were chosen for devices.

    Parameters
    ----------
    n : array of int, shape (s, w)
        Incidents of each stretch while no device reached it: before, after and, if there are more columns, in other
        time, which tells more of each stretch's own rate.
    hours : array of float, shape (s, w)
        Running hours of the same, 0 where a device was there [h].
    rate_per_h : array of float, shape (s,)
        Rate of each stretch by the reference model, above 0 [1/h].
    shape : float
        phi of the model, above 0; infinite where stretches do not differ [-].
    is_untreated : array of bool, shape (s,)
        Stretches that no device has reached; their counts are told.

    Returns
    -------
    Trend or None
        None where untreated stretches have fewer than `FEWEST_FOR_TREND` incidents in either window. Its error is
        widened by how much more than chance untreated stretches changed between the windows.

    Raises
    ------
    ValueError
        If shapes do not agree or a rate is not above 0.

    Notes
    -----
    Incidents of stretch i in window t are Poisson with mean ``lambda_i r_i s_t h_it``, lambda_i gamma with mean 1 and
    shape phi. The marginal likelihood is concave in the logarithms of s_t and solved by Newton's steps; the error comes
    from its curvature. The choice of stretches by earlier counts cancels from the likelihood as long as those counts
    are in it (Rubin 1976, Biometrika 63, ignorable selection; from memory).
    """
    counts, time, rate = np.asarray(n, dtype=float), np.asarray(hours, dtype=float), np.asarray(rate_per_h, dtype=float)
    untreated = np.asarray(is_untreated, dtype=bool)
    if counts.ndim != 2 or counts.shape != time.shape or not counts.shape[0] == rate.size == untreated.size:
        raise ValueError(
            f"n has shape {counts.shape}, hours {time.shape}, rate_per_h {rate.shape}, is_untreated {untreated.shape}; "
            "give a row for every stretch and a column for every window"
        )
    if not np.all(rate > 0) or not shape > 0:
        raise ValueError("rates of the stretches and shape must be above 0")
    (n_before, n_after), (h_before, h_after) = counts[untreated, :2].sum(axis=0), time[untreated, :2].sum(axis=0)
    if min(n_before, n_after) < FEWEST_FOR_TREND or min(h_before, h_after) <= 0:
        return None
    # Windows without any incident have no level; what they say of the stretches is little and left out.
    told = np.flatnonzero(counts.sum(axis=0) > 0)
    levels, information = _levels(counts[:, told], time[:, told] * rate[:, None], min(shape, LARGEST_SHAPE))
    contrast = np.zeros(told.size)
    contrast[:2] = -1.0, 1.0
    ratio = math.exp(float(contrast @ levels))
    dispersion = _dispersion_of_change(counts[untreated, :2], time[untreated, :2], ratio)
    error = math.sqrt(dispersion * float(contrast @ np.linalg.solve(information, contrast)))
    sides = (int(n_before), float(h_before), int(n_after), float(h_after))
    return Trend(ratio, error, *sides, level_before=math.exp(float(levels[0])), dispersion=dispersion)


def _levels(counts: FloatArray, mean: FloatArray, shape: float) -> tuple[FloatArray, FloatArray]:
    """Logarithm of each window's level against the model, and the information on it."""
    total = counts.sum(axis=1)
    levels = np.log(counts.sum(axis=0) / mean.sum(axis=0))
    information = np.eye(levels.size)
    for _step in range(100):
        here = mean * np.exp(levels)
        own = (shape + total) / (shape + here.sum(axis=1))
        pulled = own @ here
        information = np.diag(pulled) - (here * (own / (shape + here.sum(axis=1)))[:, None]).T @ here
        step = np.linalg.solve(information, counts.sum(axis=0) - pulled)
        levels = levels + np.clip(step, -1.0, 1.0)
        if np.abs(step).max() < 1e-10:
            break
    return levels, information


def _dispersion_of_change(counts: FloatArray, hours: FloatArray, ratio: float) -> float:
    """Pearson's statistic of the stretches' counts after, given both, over its degrees of freedom; never below 1."""
    both = counts.sum(axis=1)
    p = ratio * hours[:, 1] / np.maximum(ratio * hours[:, 1] + hours[:, 0], 1e-12)
    kept = (both > 0) & (p > 0) & (p < 1)
    if kept.sum() < 2:
        return 1.0
    both, p, after = both[kept], p[kept], counts[kept, 1]
    return max(1.0, float(np.sum((after - both * p) ** 2 / (both * p * (1.0 - p)))) / float(kept.sum() - 1))
