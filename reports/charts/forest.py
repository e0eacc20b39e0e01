"""Ratios with their intervals on one scale."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from plant.calc.rates import RateRatio
from reports.calc.empirical_bayes import EffectIndex
from reports.calc.pooled import RandomEffects
from reports.charts.incidents_by_month import FOREST_LEAST, FOREST_MOST, FOREST_WIDTH

FOREST_TICKS = (0.1, 0.25, 0.5, 1.0, 2.0, 4.0)


@dataclass(frozen=True)
class ForestRow:
    """Places along the axis of a ratio and its interval; arrows where an end lies off the axis."""

    x: float | None
    x_low: float
    x_high: float
    goes_on_left: bool
    goes_on_right: bool
    x_one: float
    # The answer after allowing for devices being put where it was worst, or the range of the next device.
    x_second: float | None = None
    x_second_low: float | None = None
    x_second_high: float | None = None


def forest_x(ratio: float) -> float:
    """Place of a ratio on the logarithmic axis, held inside it."""
    if ratio <= FOREST_LEAST:
        return 10.0
    share = math.log(min(ratio, FOREST_MOST) / FOREST_LEAST) / math.log(FOREST_MOST / FOREST_LEAST)
    return 10.0 + share * (FOREST_WIDTH - 20.0)


def forest_row(ratio: RateRatio, shrunk: EffectIndex | None = None) -> ForestRow | None:
    """The counted ratio, and below it the shrunk one where there is one."""
    if ratio.ratio is None or ratio.low is None or ratio.high is None:
        return None
    row = forest_line(ratio.ratio, ratio.low, ratio.high)
    return row if shrunk is None else with_second(row, shrunk.ratio, shrunk.low, shrunk.high)


def forest_pool(effects: RandomEffects) -> ForestRow | None:
    """The middle of several devices, and below it the range of the next one."""
    if effects.ratio is None or effects.low is None or effects.high is None:
        return None
    row = forest_line(effects.ratio, effects.low, effects.high)
    if effects.next_low is None or effects.next_high is None:
        return row
    return with_second(row, None, effects.next_low, effects.next_high)


def forest_line(ratio: float, low: float, high: float) -> ForestRow:
    on_axis = FOREST_LEAST <= ratio <= FOREST_MOST
    return ForestRow(
        x=round(forest_x(ratio), 1) if on_axis else None,
        x_low=round(forest_x(low), 1),
        x_high=round(forest_x(high), 1),
        goes_on_left=low < FOREST_LEAST,
        goes_on_right=high > FOREST_MOST,
        x_one=round(forest_x(1.0), 1),
    )


def with_second(row: ForestRow, ratio: float | None, low: float, high: float) -> ForestRow:
    on_axis = ratio is not None and FOREST_LEAST <= ratio <= FOREST_MOST
    return replace(
        row,
        x_second=round(forest_x(ratio), 1) if on_axis and ratio is not None else None,
        x_second_low=round(forest_x(low), 1),
        x_second_high=round(forest_x(high), 1),
    )


def forest_ticks() -> list[tuple[float, str]]:
    return [(round(forest_x(tick), 1), f"{tick:g}") for tick in FOREST_TICKS]
