"""The plant's rate month by month, as a drawing of the server."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from reports.charts.incidents_by_month import LEAST_SHOWN_COVERAGE, TREND_FOOT, TREND_HEIGHT, TREND_TOP

TREND_GAP = 0.14


@dataclass(frozen=True)
class TrendBar:
    """One month: where its bar and interval stand, and what they say."""

    month: str
    label: str
    year: str  # under the first month and each January
    value: str  # on the bar; empty where no rate is known
    words: str
    x: str
    width: str
    middle: str
    column: str
    column_width: str
    y: float
    height: float
    y_low: float
    y_high: float
    y_value: float
    is_last: bool
    is_hatched: bool


@dataclass(frozen=True)
class TrendDrawing:
    """Bars from zero with exact intervals, the last one dark, months of which less is known hatched."""

    bars: tuple[TrendBar, ...]
    ticks: tuple[tuple[float, str], ...]
    height: float = TREND_HEIGHT
    foot: float = TREND_HEIGHT - TREND_FOOT
    middle: float = (TREND_HEIGHT - TREND_FOOT) / 2


def trend_top(trend: Sequence[Mapping[str, Any]]) -> float:
    """Top of the axis: every bar whole, and intervals whole unless one would flatten all bars."""
    rates = [each["per_1000_h"] for each in trend if each["per_1000_h"] is not None]
    highs = [each["high"] for each in trend if each["high"] is not None]
    return max(1.0, min(1.02 * max(highs, default=0.0), 3.0 * max(rates, default=0.0)))


def nice_ticks(top: float) -> list[float]:
    """Round numbers from zero, four to six of them."""
    step = next(unit * 10.0**power for power in range(-2, 5) for unit in (1, 2, 5) if top / (unit * 10.0**power) <= 5.0)
    return [n * step for n in range(int(top / step) + 1)]


def month_words(each: Mapping[str, Any]) -> str:
    said = _("%(month)s: %(n)s in %(hours).0f h; hours known for %(share).0f %%") % {
        "month": each["month"],
        "n": each["n"],
        "hours": each["running_h"],
        "share": 100 * each["coverage"],
    }
    if each["per_1000_h"] is None:
        return f"{said}; {_('no rate')}"
    return f"{said}; " + _("%(rate).1f per 1000 h (%(low).1f-%(high).1f)") % {
        "rate": each["per_1000_h"],
        "low": each["low"],
        "high": each["high"],
    }


def trend_drawing(trend: Sequence[Mapping[str, Any]]) -> TrendDrawing:
    """The plant's rate month by month, from plain values."""
    top, foot = trend_top(trend), TREND_HEIGHT - TREND_FOOT
    column = 100.0 / max(len(trend), 1)

    def y(rate: float) -> float:
        return round(foot - (foot - TREND_TOP) * min(rate, top) / top, 1)

    bars = []
    for at, each in enumerate(trend):
        rate, first = each["per_1000_h"], dt.date.fromisoformat(f"{each['month']}-01")
        low, high = y(each["low"] or 0.0), y(each["high"] or 0.0)
        bars.append(
            TrendBar(
                month=each["month"],
                label=date_format(first, "M"),
                year=str(first.year) if at == 0 or first.month == 1 else "",
                value="" if rate is None else f"{rate:.1f}",
                words=month_words(each),
                x=f"{column * (at + TREND_GAP):.3f}%",
                width=f"{column * (1 - 2 * TREND_GAP):.3f}%",
                middle=f"{column * (at + 0.5):.3f}%",
                column=f"{column * at:.3f}%",
                column_width=f"{column:.3f}%",
                y=y(rate or 0.0),
                height=round(foot - y(rate or 0.0), 1),
                y_low=low,
                y_high=high,
                y_value=round(min(high, y(rate or 0.0)) - 4, 1),
                is_last=at == len(trend) - 1,
                is_hatched=each["coverage"] < LEAST_SHOWN_COVERAGE,
            )
        )
    return TrendDrawing(tuple(bars), tuple((y(tick), f"{tick:g}") for tick in nice_ticks(top)))
