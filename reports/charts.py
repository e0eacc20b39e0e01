"""Figures of this app: a result in, a Plotly figure or the figures of a small drawing out."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import plotly.graph_objects as go
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from reports.calc.empirical_bayes import EffectIndex
from reports.calc.life import WeibullLife
from reports.calc.pooled import RandomEffects
from reports.calc.rate_ratio import RateRatio
from reports.selectors import Bar, Mark

# Tokens of the sheet.
INK, SOFT, GREY, PALE, RULE = "#1a1d21", "#4f5863", "#9aa0a6", "#dedad2", "#d8d4cb"
SAND, SAND_EDGE, LINK = "#f3d9b8", "#a4651a", "#0a5566"
WHISKER = "#7d848c"  # seen on white and on ink
FILLS = {"before": GREY, "after": INK, "settling": PALE, "out": PALE}
# Months of which less is known are hatched; the plant's own share decides the verdict, not this drawing.
LEAST_SHOWN_COVERAGE = 0.8
# Marks nearer than this share one line of words, of so many at most; the page lists them all.
NEAR = dt.timedelta(days=50)
MOST_WORDS = 2


@dataclass(frozen=True)
class Timeline:
    """Incidents per 1000 running hours by month, with what happened meanwhile."""

    title: str
    bars: tuple[Bar, ...]
    marks: tuple[Mark, ...]
    zone: dt.tzinfo

    @property
    def unknown(self) -> list[Bar]:
        return [bar for bar in self.bars if bar.coverage < LEAST_SHOWN_COVERAGE]


def incidents_by_month(timeline: Timeline) -> go.Figure:
    """Bars from zero with exact intervals; unknown hours hatched; installations as dashed lines with words."""
    top = highest_shown(timeline.bars)
    figure = go.Figure()
    for side in ("before", "settling", "after", "out"):
        mine = [bar for bar in timeline.bars if bar.side == side and bar.per_1000_h is not None]
        if mine:
            figure.add_trace(bar_trace(side, mine, timeline.zone))
    if timeline.unknown:
        figure.add_trace(hatched_trace(timeline.unknown, top, timeline.zone))
    for mark in timeline.marks:
        draw_line(figure, mark, timeline.zone)
    for group in near_marks(timeline.marks):
        draw_words(figure, group, timeline.zone)
    figure.update_layout(
        template=go.layout.Template(),
        font={"family": "system-ui, Segoe UI, Roboto, Noto Sans, sans-serif", "size": 13, "color": INK},
        paper_bgcolor="#ffffff",
        plot_bgcolor="#ffffff",
        barmode="overlay",
        showlegend=False,
        height=380,
        margin={"l": 46, "r": 10, "t": 12, "b": 40},
        hoverlabel={"bgcolor": "#ffffff", "bordercolor": INK, "font": {"color": INK, "size": 13}},
        dragmode=False,
    )
    figure.update_xaxes(type="date", showgrid=False, linecolor=INK, tickformat="%b\n%Y", fixedrange=True)
    figure.update_yaxes(
        title={"text": _("incidents per 1000 running hours"), "font": {"size": 13, "color": SOFT}},
        range=[0, top],
        rangemode="tozero",
        gridcolor=RULE,
        zeroline=True,
        zerolinecolor=INK,
        fixedrange=True,
    )
    return figure


def highest_shown(bars: Sequence[Bar]) -> float:
    """Top of the axis: every bar whole, most intervals whole; a day's interval does not flatten a year."""
    rates = [bar.per_1000_h for bar in bars if bar.per_1000_h is not None]
    highs = sorted(bar.high for bar in bars if bar.high is not None)
    if not rates:
        return 1.0
    usual = highs[int(0.75 * (len(highs) - 1))] if highs else 0.0
    return max(1.0, 1.12 * max(rates), 1.05 * usual)


def local(moment: dt.datetime, zone: dt.tzinfo) -> str:
    """Wall time of the plant; the chart knows no zones."""
    return moment.astimezone(zone).replace(tzinfo=None).isoformat(timespec="seconds")


def middle(bar: Bar, zone: dt.tzinfo) -> str:
    return local(bar.window.start + (bar.window.end - bar.window.start) / 2, zone)


def width_ms(bar: Bar) -> float:
    return 0.86 * (bar.window.end - bar.window.start) / dt.timedelta(milliseconds=1)


def bar_words(bar: Bar, zone: dt.tzinfo) -> str:
    first, last = bar.window.start.astimezone(zone), (bar.window.end - dt.timedelta(seconds=1)).astimezone(zone)
    said = _("%(month)s, day %(first)s to %(last)s: %(n)s in %(hours).0f h") % {
        "month": bar.month,
        "first": first.day,
        "last": last.day,
        "n": bar.n,
        "hours": bar.running_h,
    }
    if bar.per_1000_h is None:
        return f"{said}<br>{_('no running hours known')}"
    rate = _("%(rate).1f per 1000 h (%(low).1f-%(high).1f)") % {
        "rate": bar.per_1000_h,
        "low": bar.low,
        "high": bar.high,
    }
    known = _("hours known for %(share).0f %%") % {"share": 100 * bar.coverage}
    return f"{said}<br>{rate}<br>{known}"


def bar_trace(side: str, bars: Sequence[Bar], zone: dt.tzinfo) -> go.Bar:
    rates = [bar.per_1000_h or 0.0 for bar in bars]
    return go.Bar(
        name=side,
        x=[middle(bar, zone) for bar in bars],
        y=rates,
        width=[width_ms(bar) for bar in bars],
        marker={"color": FILLS[side], "line": {"width": 0}},
        error_y={
            "type": "data",
            "symmetric": False,
            "array": [(bar.high or 0.0) - rate for bar, rate in zip(bars, rates, strict=True)],
            "arrayminus": [rate - (bar.low or 0.0) for bar, rate in zip(bars, rates, strict=True)],
            "color": WHISKER,
            "thickness": 1.2,
            "width": 2,
        },
        customdata=[bar.url for bar in bars],
        hovertext=[bar_words(bar, zone) for bar in bars],
        hoverinfo="text",
    )


def hatched_trace(bars: Sequence[Bar], top: float, zone: dt.tzinfo) -> go.Bar:
    return go.Bar(
        name="unknown",
        x=[middle(bar, zone) for bar in bars],
        y=[top] * len(bars),
        width=[width_ms(bar) / 0.86 for bar in bars],
        marker={
            "color": SAND,
            "line": {"width": 0},
            "pattern": {"shape": "/", "fgcolor": SAND_EDGE, "bgcolor": SAND, "size": 7, "solidity": 0.15},
        },
        opacity=0.55,
        customdata=[bar.url for bar in bars],
        hovertext=[f"{_('hours not known')}<br>{bar_words(bar, zone)}" for bar in bars],
        hoverinfo="text",
    )


def near_marks(marks: Sequence[Mark]) -> list[list[Mark]]:
    """Marks so near to each other that their words would lie on top of each other on a phone."""
    groups: list[list[Mark]] = []
    for mark in marks:
        if groups and mark.at - groups[-1][0].at < NEAR:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return groups


def draw_line(figure: go.Figure, mark: Mark, zone: dt.tzinfo) -> None:
    at = local(mark.at, zone)
    colour, width, dash = (LINK, 2, "dash") if mark.is_installation else (SOFT, 1, "dot")
    figure.add_shape(
        type="line", x0=at, x1=at, y0=0, y1=1, yref="paper", line={"color": colour, "width": width, "dash": dash}
    )


def draw_words(figure: go.Figure, marks: Sequence[Mark], zone: dt.tzinfo) -> None:
    words = [mark.words for mark in marks]
    if len(words) > MOST_WORDS:
        words = [*words[:MOST_WORDS], _("%(n)s more") % {"n": len(marks) - MOST_WORDS}]
    figure.add_annotation(
        x=local(marks[0].at, zone),
        y=1,
        yref="paper",
        text=", ".join(words),
        textangle=-90,
        xanchor="right",
        yanchor="top",
        showarrow=False,
        font={"color": LINK if any(mark.is_installation for mark in marks) else SOFT, "size": 13},
        bgcolor="rgba(255,255,255,0.8)",
    )


def as_json(figure: go.Figure) -> dict[str, Any]:
    """What the page hands to the script, without binary arrays."""
    return {"data": [trace.to_plotly_json() for trace in figure.data], "layout": figure.layout.to_plotly_json()}


# --- the rate of the plant by month -----------------------------------------------------------------------------------
# Across in percent of the width, so that words keep their size on every screen; down in pixels.
TREND_HEIGHT, TREND_TOP, TREND_FOOT = 250.0, 18.0, 40.0
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


# --- the small drawing of a ratio in a list ---------------------------------------------------------------------------
FOREST_WIDTH, FOREST_LEAST, FOREST_MOST = 330.0, 0.05, 10.0
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


# --- the probability plot of a life -----------------------------------------------------------------------------------
PLOT_HEIGHT, PLOT_TOP, PLOT_FOOT = 260.0, 10.0, 28.0
PLOT_EDGE = 3.0  # percent of the width that stays free at both sides
SHARE_TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.9)
# From coarse to fine; a finer one comes in where a phone has room for its words beside the others.
HOUR_STEPS = ((1,), (1, 3), (1, 2, 5), (1, 2, 3, 5, 7), (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 9))
WORD_SHARE = 0.18  # of the width


@dataclass(frozen=True)
class LifePlot:
    """Failures and fitted line on axes on which a Weibull life is straight: log hours, log(-log(1 - share)).

    Across in percent of the width, so that words keep their size on every screen; down in pixels.
    """

    points: tuple[tuple[str, float, str, str], ...]  # x, y, hours, share failed by then
    line: tuple[str, float, str, float]
    x_ticks: tuple[tuple[str, str], ...]
    y_ticks: tuple[tuple[float, str], ...]
    b10_h: float
    height: float = PLOT_HEIGHT
    top: float = PLOT_TOP
    foot: float = PLOT_HEIGHT - PLOT_FOOT


def life_plot(fit: WeibullLife) -> LifePlot | None:
    """None where no life can be told."""
    if fit.shape is None or fit.scale_h is None or not fit.points:
        return None
    hours = [each.hours for each in fit.points]
    low_h, high_h = min(hours) / 1.3, max(*hours, fit.scale_h) * 1.2
    bends = [bend(each.share) for each in fit.points]
    low, high = min(*bends, bend(0.01)), max(*bends, bend(0.9))

    def x(value: float) -> str:
        share = math.log(value / low_h) / math.log(high_h / low_h)
        return f"{PLOT_EDGE + (100.0 - 2 * PLOT_EDGE) * share:.2f}%"

    def y(value: float) -> float:
        held = min(max(value, low), high)
        return round(PLOT_HEIGHT - PLOT_FOOT - (PLOT_HEIGHT - PLOT_FOOT - PLOT_TOP) * (held - low) / (high - low), 1)

    def on_line(value: float) -> float:
        return fit.shape * math.log(value / fit.scale_h)  # type: ignore[operator]

    # The line is drawn where it lies inside the drawing.
    ends = [fit.scale_h * math.exp(edge / fit.shape) for edge in (low, high)]
    first, last = max(low_h, ends[0]), min(high_h, ends[1])
    return LifePlot(
        points=tuple(
            (x(each.hours), y(bend(each.share)), f"{each.hours:,.0f} h", f"{100 * each.share:.0f} %")
            for each in fit.points
        ),
        line=(x(first), y(on_line(first)), x(last), y(on_line(last))),
        x_ticks=tuple((x(step), f"{step:,.0f} h") for step in hour_ticks(low_h, high_h)),
        y_ticks=tuple((y(bend(share)), f"{100 * share:.0f} %") for share in SHARE_TICKS if low <= bend(share) <= high),
        b10_h=fit.life_h(0.1) or 0.0,
    )


def hour_ticks(low_h: float, high_h: float) -> list[float]:
    """Round hours inside the drawing, as far apart as their words need on a phone."""
    room = WORD_SHARE * math.log(high_h / low_h)
    kept: list[float] = []
    for steps in HOUR_STEPS:
        for each in (step * 10.0**power for power in range(7) for step in steps):
            if low_h <= each <= high_h and all(abs(math.log(each / other)) >= room for other in kept):
                kept.append(each)
    return sorted(kept)


def bend(share: float) -> float:
    return math.log(-math.log1p(-share))
