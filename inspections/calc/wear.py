"""Wear of sensor rollers: rate per 1000 running hours, and the hours at which the limit is reached, with a band.

A line is laid through the diameters since the last part change. From five readings on it is ordinary least squares with
Student's t; with two to four readings the rate of like devices (`fleet_rate`) and the reading error are taken in as
prior knowledge, and the answer says so. Nothing is ever read out of a single reading, and a line that shows no wear
beyond its scatter gives no date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from plant.calc.reasons import Reason

FloatArray = NDArray[np.float64]

# From so many readings on a line stands on its own; own rule.
ENOUGH_READINGS = 5
# Readings closer together than this tell of reading error, not of wear; own rule.
LEAST_SPAN_H = 100.0
# A diameter is read to about 0.2 mm: common practice, no source.
READING_ERROR_MM = 0.2
# A forecast further ahead than so many times the hours that were watched is not given; own rule.
MOST_SPANS_AHEAD = 4.0
# A fleet rate needs so many rollers; own rule.
ENOUGH_ROLLERS = 3


class WearRule(StrEnum):
    """Why there is no rate or no date of the limit, or how the rate is to be taken."""

    NO_READING = "wear.no_reading"
    ONE_READING = "wear.one_reading"
    TOO_CLOSE = "wear.too_close"
    NO_FLEET = "wear.no_fleet"
    ONE_PULLS = "wear.one_pulls"
    FLEET_TAKEN_IN = "wear.fleet_taken_in"
    NO_WEAR_SEEN = "wear.no_wear_seen"
    TOO_FAR_AHEAD = "wear.too_far_ahead"
    NO_LIMIT = "wear.no_limit"
    LEFT_OUT = "wear.left_out"
    NO_RECENT_HOURS = "wear.no_recent_hours"
    FEW_HOURS = "wear.few_hours"


class Since(StrEnum):
    """What a roller is known to be new from."""

    INSTALLATION = "wear.since_installation"
    VISIT = "wear.since_visit"
    PART_CHANGE = "wear.since_part_change"


@dataclass(frozen=True)
class FittedLine:
    """A straight line through points, by least squares.

    Attributes
    ----------
    n : int
        Points.
    intercept, slope : float
        y at x = 0, and change of y for one unit of x.
    residual_sd : float
        Standard deviation of the residuals with n - 2 degrees of freedom; 0 for two points.
    slope_se : float
        Standard error of the slope.
    r_squared : float
        Share of the variance of y that the line takes up.
    x_mean, s_xx : float
        Mean of x and sum of squared distances from it.
    """

    n: int
    intercept: float
    slope: float
    residual_sd: float
    slope_se: float
    r_squared: float
    x_mean: float
    s_xx: float

    def at(self, x: float) -> float:
        return self.intercept + self.slope * x

    def band(self, x: float, *, level: float = 0.95, one_reading: bool = True) -> tuple[float, float]:
        """Interval for one further reading at x, or for the mean there; needs three points.

        Raises
        ------
        ValueError
            If there are fewer than three points.
        """
        if self.n < 3:
            raise ValueError(f"a band needs at least 3 points; given {self.n}")
        share = 1 / self.n + (x - self.x_mean) ** 2 / self.s_xx + one_reading
        half = float(scipy.stats.t.ppf(0.5 + level / 2, self.n - 2)) * self.residual_sd * np.sqrt(share)
        return float(self.at(x) - half), float(self.at(x) + half)


def fit_line(x: ArrayLike, y: ArrayLike) -> FittedLine:
    """Ordinary least squares.

    Parameters
    ----------
    x, y : array of float, shape (n,)
        At least two different x.

    Raises
    ------
    ValueError
        If lengths differ, or fewer than two different x are given.

    References
    ----------
    Checked against NIST StRD, data set Norris (certified intercept, slope, residual standard deviation, R squared).
    """
    xs, ys = np.asarray(x, float), np.asarray(y, float)
    if xs.shape != ys.shape:
        raise ValueError(f"x has {xs.size} values and y {ys.size}; give pairs")
    if np.unique(xs).size < 2:
        raise ValueError("a line needs at least two different x")
    n = xs.size
    x_mean, y_mean = float(xs.mean()), float(ys.mean())
    s_xx = float(((xs - x_mean) ** 2).sum())
    slope = float(((xs - x_mean) * (ys - y_mean)).sum() / s_xx)
    intercept = y_mean - slope * x_mean
    residual_ss = float(((ys - intercept - slope * xs) ** 2).sum())
    residual_sd = float(np.sqrt(residual_ss / (n - 2))) if n > 2 else 0.0
    total_ss = float(((ys - y_mean) ** 2).sum())
    return FittedLine(
        n=n,
        intercept=intercept,
        slope=slope,
        residual_sd=residual_sd,
        slope_se=residual_sd / float(np.sqrt(s_xx)),
        r_squared=1 - residual_ss / total_ss if total_ss > 0 else 1.0,
        x_mean=x_mean,
        s_xx=s_xx,
    )


def theil_sen(x: ArrayLike, y: ArrayLike, *, level: float = 0.95) -> tuple[float, float, float]:
    """Median of the slopes between all pairs, with its interval: one bad reading hardly moves it.

    Returns
    -------
    slope, low, high : float
        In units of y for one of x.

    References
    ----------
    Sen, J. Am. Stat. Assoc. 63 (1968) 1379; as scipy.stats.theilslopes.
    """
    found = scipy.stats.theilslopes(np.asarray(y, float), np.asarray(x, float), alpha=level)
    return float(found.slope), float(found.low_slope), float(found.high_slope)


@dataclass(frozen=True)
class FleetRate:
    """Rate of wear of rollers of like devices.

    Attributes
    ----------
    n : int
        Rollers; both of a device are in it, each with a rate of its own.
    per_1000_h : float
        Their mean rate [mm per 1000 h].
    sd : float
        Spread from roller to roller, reading error taken out [mm per 1000 h].
    """

    n: int
    per_1000_h: float
    sd: float


def fleet_rate(rates: Sequence[float], standard_errors: Sequence[float]) -> FleetRate | None:
    """Mean rate of wear of rollers of like devices and how it differs among them; None for fewer than three.

    Parameters
    ----------
    rates, standard_errors : sequences of float
        Of each roller [mm per 1000 h]; errors above 0.

    References
    ----------
    DerSimonian & Laird, Controlled Clinical Trials 7 (1986) 177: moment estimate of the spread between.
    """
    values, errors = np.asarray(rates, float), np.asarray(standard_errors, float)
    usable = np.isfinite(values) & np.isfinite(errors) & (errors > 0)
    values, errors = values[usable], errors[usable]
    if values.size < ENOUGH_ROLLERS:
        return None
    weights = errors**-2
    mean = float((weights * values).sum() / weights.sum())
    q = float((weights * (values - mean) ** 2).sum())
    scale = float(weights.sum() - (weights**2).sum() / weights.sum())
    between = max(0.0, (q - (values.size - 1)) / scale)
    weights = 1 / (errors**2 + between)
    return FleetRate(
        n=int(values.size), per_1000_h=float((weights * values).sum() / weights.sum()), sd=float(np.sqrt(between))
    )


@dataclass(frozen=True)
class WearTrend:
    """Diameter against running hours since the part was changed.

    Attributes
    ----------
    n : int
        Readings behind it.
    per_1000_h, low, high : float or None
        Loss of diameter [mm per 1000 h] with its interval; None where nothing can be told.
    at_zero_mm : float or None
        Diameter of the line at the part change [mm].
    noise_mm : float
        Scatter of one reading [mm].
    way : {"readings", "fleet", "none"}
        What the rate rests on: the readings alone, the readings with the rate of like devices, or nothing.
    reasons : tuple of Reason
        Why there is no rate, no date, or how the rate is to be taken.
    """

    n: int
    per_1000_h: float | None
    low: float | None
    high: float | None
    at_zero_mm: float | None
    noise_mm: float
    way: Literal["readings", "fleet", "none"]
    reasons: tuple[Reason, ...]
    level: float
    # Mean and covariance of (diameter at zero, slope per hour) and the quantile that bands use.
    _mean: tuple[float, float]
    _covariance: tuple[tuple[float, float], tuple[float, float]]
    _quantile: float
    first_h: float
    last_h: float

    def at(self, hours: float) -> float:
        """Diameter of the line [mm]."""
        return self._mean[0] + self._mean[1] * hours

    def half_band(self, hours: float) -> float:
        """Half of the prediction band of one reading at these hours [mm]."""
        (aa, ab), (_ba, bb) = self._covariance
        variance = aa + 2 * ab * hours + bb * hours**2 + self.noise_mm**2
        return self._quantile * float(np.sqrt(max(variance, 0.0)))

    def spread(self, hours: float) -> float:
        """Standard deviation of one further reading at these hours, not below the error of a reading [mm]."""
        return max(self.half_band(hours) / self._quantile, READING_ERROR_MM) if self._quantile else READING_ERROR_MM

    @property
    def shows_wear(self) -> bool:
        return self.low is not None and self.low > 0


def nothing(n: int, reason: Reason, level: float) -> WearTrend:
    """The answer where no trend can be told, with the reason."""
    return WearTrend(
        n=n,
        per_1000_h=None,
        low=None,
        high=None,
        at_zero_mm=None,
        noise_mm=READING_ERROR_MM,
        way="none",
        reasons=(reason,),
        level=level,
        _mean=(0.0, 0.0),
        _covariance=((0.0, 0.0), (0.0, 0.0)),
        _quantile=0.0,
        first_h=0.0,
        last_h=0.0,
    )


def wear_trend(
    hours: ArrayLike,
    diameter_mm: ArrayLike,
    *,
    new_mm: float | None = None,
    fleet: FleetRate | None = None,
    reading_error_mm: float = READING_ERROR_MM,
    level: float = 0.95,
) -> WearTrend:
    """Loss of roller diameter per 1000 running hours since the last part change.

    Parameters
    ----------
    hours : array of float, shape (n,)
        Running hours since the part change at each reading [h].
    diameter_mm : array of float, shape (n,)
        Diameter read [mm].
    new_mm : float, optional
        Diameter of a new roller [mm]: holds the line at 0 h where readings are few.
    fleet : FleetRate, optional
        Rate of like devices: used with two to four readings.
    reading_error_mm : float, optional
        Standard deviation of one reading [mm], where readings are too few to show it.
    level : float, optional
        Coverage of the two-sided intervals, 0 < level < 1 [-].

    Returns
    -------
    WearTrend
        With `reasons` where nothing, or little, can be told.

    Raises
    ------
    ValueError
        If lengths differ or hours are negative.

    Notes
    -----
    With few readings: normal prior on slope (fleet mean, spread and error) and on the diameter at 0 h (new diameter,
    reading error), normal readings with `reading_error_mm`; the posterior is normal in closed form.
    """
    x, y = np.asarray(hours, float), np.asarray(diameter_mm, float)
    if x.shape != y.shape:
        raise ValueError(f"hours has {x.size} values and diameter_mm {y.size}; give pairs")
    if x.size and x.min() < 0:
        raise ValueError(f"hours has {x.min():g}; give hours since the part change, 0 or more")
    n = int(x.size)
    if n == 0:
        return nothing(0, Reason(WearRule.NO_READING), level)
    if n == 1:
        return nothing(1, Reason(WearRule.ONE_READING), level)
    span = float(np.ptp(x))
    if span < LEAST_SPAN_H:
        return nothing(n, Reason(WearRule.TOO_CLOSE, {"hours": round(span), "least": round(LEAST_SPAN_H)}), level)
    if n >= ENOUGH_READINGS:
        return trend_of_readings(x, y, reading_error_mm, level)
    if fleet is None:
        return nothing(n, Reason(WearRule.NO_FLEET, {"n": n, "enough": ENOUGH_READINGS}), level)
    return trend_with_fleet(x, y, new_mm, fleet, reading_error_mm, level)


def trend_of_readings(x: FloatArray, y: FloatArray, reading_error_mm: float, level: float) -> WearTrend:
    """Least-squares line through the readings of one device, with Student's t for its limits."""
    line = fit_line(x, y)
    # Rounded readings can lie on a line by chance: never claim less scatter than a third of a reading's error.
    noise = max(line.residual_sd, reading_error_mm / 3)
    slope_var = noise**2 / line.s_xx
    covariance = (
        (noise**2 / line.n + line.x_mean**2 * slope_var, -line.x_mean * slope_var),
        (-line.x_mean * slope_var, slope_var),
    )
    quantile = float(scipy.stats.t.ppf(0.5 + level / 2, line.n - 2))
    reasons = []
    robust, low, high = theil_sen(x, y, level=level)
    if not low <= line.slope <= high:
        reasons.append(Reason(WearRule.ONE_PULLS, {"rate_mm": -1000 * robust}))
    return finished((line.intercept, line.slope), covariance, quantile, noise, x, "readings", reasons, level)


def trend_with_fleet(
    x: FloatArray, y: FloatArray, new_mm: float | None, fleet: FleetRate, reading_error_mm: float, level: float
) -> WearTrend:
    """A line whose slope leans on the fleet's: normal prior and normal readings, combined by precision.

    The fewer readings there are, the more the fleet's rate counts.
    """

    design = np.column_stack([np.ones_like(x), x])
    precision = design.T @ design / reading_error_mm**2
    shift = design.T @ y / reading_error_mm**2
    # How one roller differs from the fleet's mean; never surer than a tenth of the mean.
    spread = max(fleet.sd, 0.1 * abs(fleet.per_1000_h)) / 1000
    precision[1, 1] += spread**-2
    shift[1] += -fleet.per_1000_h / 1000 * spread**-2
    if new_mm is not None:
        precision[0, 0] += reading_error_mm**-2
        shift[0] += new_mm * reading_error_mm**-2
    covariance = np.linalg.inv(precision)
    mean = covariance @ shift
    ((aa, ab), (ba, bb)) = covariance.tolist()
    leaning = {"n": int(x.size), "rollers": fleet.n, "rate_mm": fleet.per_1000_h}
    reasons = [Reason(WearRule.FLEET_TAKEN_IN, leaning)]
    quantile = float(scipy.stats.norm.ppf(0.5 + level / 2))
    line = (float(mean[0]), float(mean[1]))
    return finished(line, ((aa, ab), (ba, bb)), quantile, reading_error_mm, x, "fleet", reasons, level)


def finished(
    line: tuple[float, float],
    covariance: tuple[tuple[float, float], tuple[float, float]],
    quantile: float,
    noise_mm: float,
    x: FloatArray,
    way: Literal["readings", "fleet"],
    reasons: list[Reason],
    level: float,
) -> WearTrend:
    """The trend with its limits and the reasons why a date may not follow from it."""
    rate, half = -1000 * line[1], 1000 * quantile * float(np.sqrt(covariance[1][1]))
    if rate - half <= 0:
        reasons.append(Reason(WearRule.NO_WEAR_SEEN))
    return WearTrend(
        n=int(x.size),
        per_1000_h=rate,
        low=rate - half,
        high=rate + half,
        at_zero_mm=line[0],
        noise_mm=noise_mm,
        way=way,
        reasons=tuple(reasons),
        level=level,
        _mean=line,
        _covariance=covariance,
        _quantile=quantile,
        first_h=float(x.min()),
        last_h=float(x.max()),
    )


@dataclass(frozen=True)
class LimitForecast:
    """When a diameter reaches its limit, in running hours since the part change.

    Attributes
    ----------
    at_h : float or None
        Hours at which the line meets the limit [h]; None where the reasons say why not.
    early_h, late_h : float or None
        Where the prediction band of one reading meets it; `late_h` is None where it never does.
    reasons : tuple of Reason
        Those of the trend, and why there is no date.
    """

    at_h: float | None
    early_h: float | None
    late_h: float | None
    reasons: tuple[Reason, ...]


def limit_forecast(trend: WearTrend, limit_mm: float) -> LimitForecast:
    """Running hours since the part change at which the limit is reached, with the prediction band.

    Parameters
    ----------
    trend : WearTrend
    limit_mm : float
        Smallest diameter that is permitted [mm].
    """
    if trend.per_1000_h is None or not trend.shows_wear:
        return LimitForecast(None, None, None, trend.reasons)
    at_h = (limit_mm - trend._mean[0]) / trend._mean[1]
    furthest = trend.last_h + MOST_SPANS_AHEAD * max(trend.last_h - trend.first_h, LEAST_SPAN_H)
    early = crossing(trend, limit_mm, -1, furthest)
    if early is None or at_h > furthest:
        too_far = Reason(WearRule.TOO_FAR_AHEAD, {"hours": round(furthest - trend.last_h)})
        return LimitForecast(None, early, None, (*trend.reasons, too_far))
    return LimitForecast(max(at_h, 0.0), early, crossing(trend, limit_mm, +1, 20 * furthest), trend.reasons)


def crossing(trend: WearTrend, limit_mm: float, sign: int, furthest_h: float) -> float | None:
    """First hours at which the lower (sign -1) or upper (+1) edge of the band meets the limit; None if not by then."""

    def above(hours: float) -> float:
        return trend.at(hours) + sign * trend.half_band(hours) - limit_mm

    # The edge is not straight: look for its first change of sign on a grid, then close in.
    grid = np.linspace(0.0, furthest_h, 400)
    values = np.array([above(float(each)) for each in grid])
    if values[0] <= 0:
        return 0.0
    below = np.flatnonzero(values <= 0)
    if not below.size:
        return None
    i = int(below[0])
    return float(scipy.optimize.brentq(above, grid[i - 1], grid[i]))
