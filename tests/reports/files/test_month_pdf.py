"""The month on paper: its drawing of the trend is the page's, in greys."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

from reports.charts.trend import trend_drawing
from reports.files.month_pdf import trend_svg


def month(name, rate, low, high, coverage=1.0):
    return {
        "month": name, "per_1000_h": rate, "low": low, "high": high, "coverage": coverage, "n": 3, "running_h": 700.0,
    }  # fmt: skip


TREND = [
    month("2026-07", 3.1, 1.0, 6.0),
    month("2026-08", None, None, None, 0.0),
    month("2026-09", 5.2, 3.0, 8.0, 0.5),
    month("2026-10", 2.0, 1.0, 5.0),
]


def test_the_paper_draws_the_bars_of_the_page():
    shown = ElementTree.fromstring(trend_svg(TREND))
    rects = [each for each in shown.iter() if each.tag.endswith("}rect") and each.get("x")]
    bars = [each for each in trend_drawing(TREND).bars if each.value]
    drawn = {(each.get("x"), each.get("width"), float(each.get("y")), float(each.get("height"))) for each in rects}
    assert drawn == {(each.x, each.width, each.y, each.height) for each in bars}


def test_what_is_known_of_fewer_hours_is_hatched_and_a_month_without_hours_says_so():
    words = trend_svg(TREND).decode()
    assert words.count("url(#hatched)") == 1
    assert words.count("no hours") == 1
    assert re.findall(r">\s*(3\.1|5\.2|2\.0)\s*<", words) == ["3.1", "5.2", "2.0"]


def test_the_same_figures_give_the_same_drawing():
    assert trend_svg(TREND) == trend_svg(TREND)
