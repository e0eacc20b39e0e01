"""Figures of this app: a result in, a Plotly figure or the figures of a small drawing out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go
from django.utils.translation import gettext as _

from reports.selectors.incidents_by_month import BeltMark, MonthBar
from reports.words.belts import happened_words

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
    bars: tuple[MonthBar, ...]
    marks: tuple[BeltMark, ...]
    zone: dt.tzinfo

    @property
    def unknown(self) -> list[MonthBar]:
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


def highest_shown(bars: Sequence[MonthBar]) -> float:
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


def middle(bar: MonthBar, zone: dt.tzinfo) -> str:
    return local(bar.window.start + (bar.window.end - bar.window.start) / 2, zone)


def width_ms(bar: MonthBar) -> float:
    return 0.86 * (bar.window.end - bar.window.start) / dt.timedelta(milliseconds=1)


def bar_words(bar: MonthBar, zone: dt.tzinfo) -> str:
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


def bar_trace(side: str, bars: Sequence[MonthBar], zone: dt.tzinfo) -> go.Bar:
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


def hatched_trace(bars: Sequence[MonthBar], top: float, zone: dt.tzinfo) -> go.Bar:
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


def near_marks(marks: Sequence[BeltMark]) -> list[list[BeltMark]]:
    """Marks so near to each other that their words would lie on top of each other on a phone."""
    groups: list[list[BeltMark]] = []
    for mark in marks:
        if groups and mark.at - groups[-1][0].at < NEAR:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return groups


def draw_line(figure: go.Figure, mark: BeltMark, zone: dt.tzinfo) -> None:
    at = local(mark.at, zone)
    colour, width, dash = (LINK, 2, "dash") if mark.is_installation else (SOFT, 1, "dot")
    figure.add_shape(
        type="line", x0=at, x1=at, y0=0, y1=1, yref="paper", line={"color": colour, "width": width, "dash": dash}
    )


def draw_words(figure: go.Figure, marks: Sequence[BeltMark], zone: dt.tzinfo) -> None:
    words = [happened_words(mark.what) for mark in marks]
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
# --- the small drawing of a ratio in a list ---------------------------------------------------------------------------
FOREST_WIDTH, FOREST_LEAST, FOREST_MOST = 330.0, 0.05, 10.0
# --- the probability plot of a life -----------------------------------------------------------------------------------
PLOT_HEIGHT, PLOT_TOP, PLOT_FOOT = 260.0, 10.0, 28.0
