"""Series, labels and units of the figures; no pixels."""

from __future__ import annotations

import datetime as dt
import json
import math
from zoneinfo import ZoneInfo

import pytest

from plant.calc.rates import compare_rates, rate_with_interval
from plant.calc.reasons import Reason
from reports.calc.empirical_bayes import index_of_effect
from reports.calc.pooled import random_effects
from reports.calc.study_windows import Window
from reports.charts.forest import forest_pool, forest_row, forest_x
from reports.charts.incidents_by_month import Timeline, as_json, incidents_by_month
from reports.selectors.belts import Happened
from reports.selectors.incidents_by_month import BeltMark, MonthBar
from reports.words.verdicts import rate_words, ratio_words

BERLIN = ZoneInfo("Europe/Berlin")


def bar(month, side, n, hours, coverage=1.0):
    start = dt.datetime(2026, month, 1, tzinfo=BERLIN)
    end = dt.datetime(2026, month + 1, 1, tzinfo=BERLIN)
    rate = rate_with_interval(n, hours)
    known = (rate.per_1000_h, rate.low, rate.high)
    return MonthBar(f"2026-{month:02}", Window(start, end), side, n, hours, coverage, *known, f"/m{month}")


@pytest.fixture
def figure():
    bars = (
        bar(1, "before", 4, 400.0),
        bar(2, "before", 2, 400.0),
        bar(3, "settling", 1, 200.0),
        bar(4, "after", 0, 400.0),
        bar(5, "after", 1, 0.0, coverage=0.0),
        bar(6, "after", 1, 100.0, coverage=0.4),
    )
    marks = (
        BeltMark(dt.datetime(2026, 3, 5, 8, tzinfo=dt.UTC), Reason(Happened.FITTED, {"number": "20"}), True),
        BeltMark(dt.datetime(2026, 5, 2, 8, tzinfo=dt.UTC), Reason(Happened.KIND_OF_WORK, {"kind": "belt replaced"})),
    )
    return incidents_by_month(Timeline("Incidents", bars, marks, BERLIN))


def traces(figure):
    return {trace.name: trace for trace in figure.data}


def test_bars_are_rates_with_their_interval_and_open_their_rows(figure):
    before = traces(figure)["before"]
    assert list(before.y) == [10.0, 5.0]
    rate = rate_with_interval(4, 400.0)
    assert before.error_y.array[0] == pytest.approx(rate.high - 10.0)
    assert before.error_y.arrayminus[0] == pytest.approx(10.0 - rate.low)
    assert list(before.customdata) == ["/m1", "/m2"]
    assert before.hovertext[0].startswith("2026-01, day 1 to 31: 4 in 400 h<br>10.0 per 1000 h")


def test_sides_have_their_own_tone_and_a_month_without_hours_has_no_bar(figure):
    found = traces(figure)
    assert {name: found[name].marker.color for name in ("before", "after", "settling")} == {
        "before": "#9aa0a6",
        "after": "#1a1d21",
        "settling": "#dedad2",
    }
    assert list(found["after"].y) == [0.0, 10.0]


def test_unknown_hours_are_hatched_to_the_top(figure):
    hatched = traces(figure)["unknown"]
    assert hatched.marker.pattern.shape == "/"
    assert [words.split("<br>")[0] for words in hatched.hovertext] == ["hours not known"] * 2
    assert set(hatched.y) == {figure.layout.yaxis.range[1]}


def test_the_axis_starts_at_zero_and_holds_every_bar(figure):
    low, high = figure.layout.yaxis.range
    assert low == 0
    assert high > 10.0
    assert figure.layout.yaxis.title.text == "incidents per 1000 running hours"


def test_marks_have_words_and_stand_in_the_plants_clock(figure):
    assert [note.text for note in figure.layout.annotations] == ["device 20 fitted", "belt replaced"]
    assert [(line.x0, line.line.dash) for line in figure.layout.shapes] == [
        ("2026-03-05T09:00:00", "dash"),
        ("2026-05-02T10:00:00", "dot"),
    ]


def test_marks_near_each_other_share_one_line_of_words():
    at = dt.datetime(2026, 3, 5, 8, tzinfo=dt.UTC)
    marks = tuple(
        BeltMark(at + dt.timedelta(days=9 * n), Reason(Happened.FITTED, {"number": str(n)}), True) for n in range(4)
    )
    figure = incidents_by_month(Timeline("Incidents", (bar(3, "after", 1, 100.0),), marks, BERLIN))
    assert [note.text for note in figure.layout.annotations] == ["device 0 fitted, device 1 fitted, 2 more"]
    assert len(figure.layout.shapes) == 4


def test_the_page_gets_plain_json(figure):
    plain = json.dumps(as_json(figure))
    assert "bdata" not in plain
    assert len(plain) < 20_000


def test_an_empty_timeline_is_still_a_figure():
    assert incidents_by_month(Timeline("nothing", (), (), BERLIN)).layout.yaxis.range == (0, 1.0)


def test_the_small_drawing_holds_the_ends_on_the_axis():
    row = forest_row(compare_rates(29, 4800, 6, 4700))
    assert row.x_low < row.x < row.x_high < row.x_one
    none_after = forest_row(compare_rates(14, 4900, 0, 95))
    assert (none_after.x, none_after.goes_on_left, none_after.goes_on_right) == (None, True, True)
    none_before = forest_row(compare_rates(0, 4900, 3, 4900))
    assert none_before.goes_on_right
    assert none_before.x is None
    assert forest_row(compare_rates(0, 100, 0, 100)) is None
    assert forest_x(math.inf) == forest_x(10.0) == 320.0


def test_figures_in_words_are_rounded_and_not_cut_off():
    ratio = compare_rates(1, 1441, 15, 6735)
    assert ratio_words(ratio) == f"{ratio.ratio:.2f} ({ratio.low:.2f}-{ratio.high:.2f})"
    rate = rate_with_interval(29, 4800)
    assert rate_words(rate) == f"{rate.per_1000_h:.1f} ({rate.low:.1f}-{rate.high:.1f})"
    assert ratio_words(compare_rates(0, 4900, 3, 4900)).startswith("at least 0.4")
    assert ratio_words(compare_rates(0, 1, 0, 1)) == "none"


def test_the_shrunk_answer_and_the_next_device_lie_below():
    shrunk = index_of_effect(29, 4800, 6, 4700, rate_per_h=0.0025, shape=2)
    row = forest_row(compare_rates(29, 4800, 6, 4700), shrunk)
    assert row.x_second == pytest.approx(forest_x(shrunk.ratio), abs=0.05)
    assert row.x_second_low < row.x_second < row.x_second_high < row.x_one
    pool = forest_pool(
        random_effects([29, 15, 24, 12], [4800, 5000, 4400, 4600], [6, 14, 8, 5], [4700, 4900, 4100, 4500])
    )
    assert pool.x_second is None
    assert pool.x_second_low < pool.x_low < pool.x < pool.x_high < pool.x_second_high
    assert forest_pool(random_effects([9], [4800], [6], [4700])) is None
