"""Readings that are hard to believe: what is odd about one, and what it would be without a usual slip."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from installs.calc.fasteners import SLACK
from plant.calc.reasons import Reason, in_kind


class PlausibleRule(StrEnum):
    """Why a reading is asked about."""

    NO_TORQUE = "plausible.no_torque"
    INCHES = "plausible.inches"
    MILLIMETRES = "plausible.millimetres"
    DECIMAL_POINT = "plausible.decimal_point"
    GROWN = "plausible.grown"
    BELOW_TREND = "plausible.below_trend"
    ABOVE_TREND = "plausible.above_trend"
    BELOW_LEAST = "plausible.below_least"
    ABOVE_MOST = "plausible.above_most"


# Questions about a reading: common practice, no source. A diameter is read to about 0.2 mm.
GROWTH_ALLOWANCE_MM = 0.5
# What a reading is to be multiplied by where inches were typed as millimetres or millimetres as inches, or where a
# decimal point slipped.
SLIPS = {
    25.4: PlausibleRule.INCHES,
    1 / 25.4: PlausibleRule.MILLIMETRES,
    10.0: PlausibleRule.DECIMAL_POINT,
    0.1: PlausibleRule.DECIMAL_POINT,
}
# Only of a length, or where nobody knows of what: nobody reads a torque in inches.
OF_LENGTHS = {PlausibleRule.INCHES, PlausibleRule.MILLIMETRES}
# The stored unit of a reading, where the quantity tells it.
KINDS = {"diameter": "mm", "torque": "nm", "other": ""}
# Without limits a slip is looked for within this share of the reading before.
LIKE_BEFORE = 0.3
# Distance from the device's own trend, in standard deviations of one reading, from which it is asked back.
MOST_SIGMA = 4.0


def implausible(
    value: float,
    previous: float | None = None,
    *,
    quantity: Literal["diameter", "torque", "other"] = "other",
    low: float | None = None,
    high: float | None = None,
    growth_allowance: float = GROWTH_ALLOWANCE_MM,
    expected: float | None = None,
    sigma: float | None = None,
    kind: str = "",
) -> Reason | None:
    """A question about a reading that is hard to believe, asked once; the reading is kept either way.

    Parameters
    ----------
    value : float
        The reading, 0 or more.
    previous : float, optional
        The reading before, since the last part change, above 0, in the same unit.
    quantity : {"diameter", "torque", "other"}, optional
        A diameter cannot grow; a torque of 0 is a fastener that was not read, or is missing.
    low, high : float, optional
        What a reading can be at all.
    growth_allowance : float, optional
        Growth of a diameter that reading error explains, 0 or more [mm].
    expected, sigma : float, optional
        What the device's own trend expects now, and the standard deviation of one reading about it, above 0.
    kind : str, optional
        The stored unit of the reading as a column's name ends with it, such as "mm"; a diameter or a torque tells its
        own.

    Returns
    -------
    Reason or None
        What is odd; None where nothing is.

    Raises
    ------
    ValueError
        If the value is negative or not finite.

    Examples
    --------
    >>> implausible(2.9, 73.9, quantity="diameter", low=60, high=78).rule
    <PlausibleRule.INCHES: 'plausible.inches'>
    """
    if not 0 <= value < math.inf:
        raise ValueError(f"value is {value}; give a finite number from 0 up")
    if quantity == "torque" and value == 0:
        return Reason(PlausibleRule.NO_TORQUE)
    kind = kind or KINDS[quantity]
    found = {in_kind("found", kind): value}
    slip = slip_of(value, previous, low, high, kind)
    if slip is not None:
        return Reason(slip.rule, {**found, in_kind("meant", kind): slip.value})
    if quantity == "diameter" and previous is not None and value > previous + growth_allowance + SLACK:
        return Reason(PlausibleRule.GROWN, {**found, "more_mm": value - previous, "before_mm": previous})
    if expected is not None and sigma is not None and abs(value - expected) > MOST_SIGMA * sigma + SLACK:
        rule = PlausibleRule.BELOW_TREND if value < expected else PlausibleRule.ABOVE_TREND
        away = {in_kind("away", kind): abs(value - expected), in_kind("trend", kind): expected, "times": MOST_SIGMA}
        return Reason(rule, {**found, **away})
    if low is not None and value < low:
        return Reason(PlausibleRule.BELOW_LEAST, {**found, in_kind("limit", kind): low})
    if high is not None and value > high:
        return Reason(PlausibleRule.ABOVE_MOST, {**found, in_kind("limit", kind): high})
    return None


@dataclass(frozen=True)
class Slip:
    """What a reading would be without a usual slip, and the rule that asks about that slip."""

    value: float
    rule: PlausibleRule


def slip_of(value: float, previous: float | None, low: float | None, high: float | None, kind: str = "") -> Slip | None:
    """The first factor that makes an impossible reading possible.

    Parameters
    ----------
    value, previous, low, high : float or None
        As for `implausible`; without bounds a value like the one before is possible.
    kind : str, optional
        The stored unit; inches are looked for in lengths, and where it is not known.

    Returns
    -------
    Slip or None
        None where the reading is possible as it is, where nothing is known, or where no factor helps.

    Examples
    --------
    >>> slip_of(7.5, 74.0, None, None)
    Slip(value=75.0, rule=<PlausibleRule.DECIMAL_POINT: 'plausible.decimal_point'>)
    """
    if low is None or high is None:
        if previous is None or previous <= 0:
            return None
        low, high = previous * (1 - LIKE_BEFORE), previous * (1 + LIKE_BEFORE)
    if low <= value <= high:
        return None
    usual = {factor: rule for factor, rule in SLIPS.items() if kind in ("", "mm") or rule not in OF_LENGTHS}
    return next((Slip(value * factor, rule) for factor, rule in usual.items() if low <= value * factor <= high), None)
