"""What the drawings of month and life say; places only where they carry the meaning."""

from __future__ import annotations

import itertools
import math

import pytest

from plant.calc.rates import rate_with_interval
from reports.calc.life import fit_weibull
from reports.charts.life import hour_ticks, life_plot
from reports.charts.trend import nice_ticks, trend_drawing
from reports.files.month_pdf import trend_svg


def month(name, n, hours, coverage=1.0):
    rate = rate_with_interval(n, hours)
    known = {"per_1000_h": rate.per_1000_h, "low": rate.low, "high": rate.high}
    return {"month": name, "n": n, "running_h": hours, "coverage": coverage, **known}


TREND = [month("2025-11", 4, 1000.0), month("2025-12", 0, 0.0, 0.0), month("2026-01", 8, 1000.0, 0.5)]


def test_bars_begin_at_zero_and_stand_in_proportion():
    drawing = trend_drawing(TREND)
    first, empty, last = drawing.bars
    assert last.height == pytest.approx(2 * first.height, abs=0.3)
    assert first.y + first.height == drawing.foot
    assert (empty.value, first.value, last.value) == ("", "4.0", "8.0")
    assert [bar.is_hatched for bar in drawing.bars] == [False, True, True]
    assert [bar.is_last for bar in drawing.bars] == [False, False, True]
    assert last.y_high < last.y < last.y_low


def test_months_are_named_and_years_stand_where_they_begin():
    drawing = trend_drawing(TREND)
    assert [(bar.label, bar.year) for bar in drawing.bars] == [("Nov", "2025"), ("Dec", ""), ("Jan", "2026")]
    assert drawing.bars[0].words == "2025-11: 4 in 1000 h; hours known for 100 %; 4.0 per 1000 h (1.1-10.2)"
    assert drawing.bars[1].words.endswith("no rate")


@pytest.mark.parametrize("top", [1.0, 3.7, 4.4, 12.0, 260.0])
def test_ticks_are_round_and_inside(top):
    ticks = nice_ticks(top)
    assert ticks[0] == 0
    assert 3 <= len(ticks) <= 6
    assert ticks[-1] <= top < ticks[-1] + ticks[1]


def test_no_month_no_bar():
    assert trend_drawing([]).bars == ()


def test_the_printed_drawing_is_the_same_twice():
    assert trend_svg(TREND) == trend_svg(TREND)


def test_the_line_of_a_life_goes_through_63_percent_at_its_scale():
    fit = fit_weibull([5000.0, 8000.0, 11000.0, 9000.0, 7000.0], [True, True, True, True, False])
    plot = life_plot(fit)
    x1, y1, x2, y2 = (float(str(each).rstrip("%")) for each in plot.line)
    low_h = min(each.hours for each in fit.points) / 1.3
    high_h = max(*(each.hours for each in fit.points), fit.scale_h) * 1.2
    x = 3.0 + 94.0 * math.log(fit.scale_h / low_h) / math.log(high_h / low_h)
    y = y1 + (y2 - y1) * (x - x1) / (x2 - x1)
    ticks = {words: place for place, words in plot.y_ticks}
    assert ticks["50 %"] > y > ticks["90 %"]  # downwards: 63.2 % lies between
    assert len(plot.points) == 4
    assert 2 <= len(plot.x_ticks) <= 6


@pytest.mark.parametrize(("low", "high"), [(7000, 12300), (900, 2100), (50, 90000)])
def test_hours_on_the_axis_are_few_and_round(low, high):
    found = hour_ticks(low, high)
    assert 2 <= len(found) <= 6
    gaps = [math.log(after / before) / math.log(high / low) for before, after in itertools.pairwise(found)]
    assert min(gaps) >= 0.18
    assert all(low <= each <= high for each in found)
