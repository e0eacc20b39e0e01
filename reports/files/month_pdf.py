"""The month on paper: its chart for grey print, and the PDF. Plain values in, bytes out."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from matplotlib import rc_context
from matplotlib.figure import Figure

from plant.files.pdf import pdf
from reports.charts.incidents_by_month import LEAST_SHOWN_COVERAGE
from reports.charts.trend import trend_top
from reports.words.month_rows import kept_day

INK, SOFT, GREY, RULE = "#1a1d21", "#4f5863", "#9aa0a6", "#d8d4cb"


def trend_svg(trend: Sequence[Mapping[str, Any]]) -> bytes:
    """Bars from zero with exact intervals and their value, the month of the report dark, unknown hours hatched."""
    figure = Figure(figsize=(7.0, 2.15), layout="constrained")
    axes = figure.add_subplot()
    top = trend_top(trend)
    for x, each in enumerate(trend):
        if each["per_1000_h"] is None:
            axes.text(x, 0.02 * top, _("no hours"), rotation=90, ha="center", va="bottom", fontsize=7, color=SOFT)
            continue
        is_last = x == len(trend) - 1
        axes.bar(
            x,
            each["per_1000_h"],
            width=0.72,
            color=INK if is_last else GREY,
            hatch="////" if each["coverage"] < LEAST_SHOWN_COVERAGE else None,
            edgecolor="white",
            linewidth=0,
        )
        high = min(each["high"], top)
        axes.plot([x, x], [each["per_1000_h"], high], color=INK, linewidth=1.1)
        # Inside the dark bar a dark line would not be seen.
        axes.plot([x, x], [each["low"], each["per_1000_h"]], color="white" if is_last else INK, linewidth=1.1)
        axes.annotate(
            f"{each['per_1000_h']:.1f}",
            (x, high),
            xytext=(0, 2),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=7.5,
            fontweight="bold" if is_last else "normal",
            color=INK,
        )
    axes.set_xticks(range(len(trend)), [month_label(each["month"], x) for x, each in enumerate(trend)], fontsize=7.5)
    axes.tick_params(axis="y", labelsize=7.5, length=0)
    axes.tick_params(axis="x", length=0)
    axes.set_ylabel(_("incidents per 1000 h"), fontsize=8, color=SOFT)
    axes.set_ylim(0, 1.1 * top)
    axes.yaxis.grid(True, color=RULE, linewidth=0.6)
    axes.set_axisbelow(True)
    for name in ("top", "right", "left"):
        axes.spines[name].set_visible(False)
    buffer = io.BytesIO()
    # The same figures give the same file: no date, and ids that do not depend on chance.
    with rc_context({"svg.hashsalt": "driftbook", "svg.fonttype": "path"}):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    return buffer.getvalue()


def month_label(month: str, place: int) -> str:
    """The month's name, with the year under the first one and each January."""
    first = dt.date.fromisoformat(f"{month}-01")
    name = date_format(first, "M")
    return f"{name}\n{first.year}" if place == 0 or first.month == 1 else name


def month_pdf(content: Mapping[str, Any], head: Mapping[str, Any], *, paper: str = "a4") -> bytes:
    """The report of a month.

    Parameters
    ----------
    content : mapping
        As `reports.selectors.months.compose` makes it.
    head : mapping
        edition, reason, comment, published_at, published_by, code_version; the last two empty in a draft.
    """
    decisions = [{**each, "due": kept_day(each["due"]) if each["due"] else ""} for each in content["decisions"]]
    return pdf(
        "reports/month.typ",
        {**content, "decisions": decisions, "head": dict(head)},
        paper=paper,
        images={"trend.svg": trend_svg(content["trend"])},
    )
