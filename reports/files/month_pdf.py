"""The month on paper: its chart for grey print, and the PDF. Plain values in, bytes out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.template.loader import render_to_string

from plant.files.pdf import pdf
from reports.charts.trend import trend_drawing
from reports.words.month_rows import kept_day


def trend_svg(trend: Sequence[Mapping[str, Any]]) -> bytes:
    """The page's drawing of the trend, in greys for print: the same bars, intervals, hatching and scale."""
    return render_to_string("reports/print/trend.svg", {"drawing": trend_drawing(trend)}).encode()


def month_pdf(content: Mapping[str, Any], head: Mapping[str, Any], *, paper: str = "a4") -> bytes:
    """The report of a month.

    Parameters
    ----------
    content : mapping
        As `reports.services.kept_months.compose` makes it.
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
