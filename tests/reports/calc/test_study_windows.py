"""Windows of a comparison: settling-in, cuts, months, and that nothing is counted twice or lost."""

from __future__ import annotations

import datetime as dt
import doctest
import itertools
from zoneinfo import ZoneInfo

import pytest

from plant.calc.reasons import Reason
from plant.calc.running_hours import build_ledger
from plant.calc.running_spans import Span
from reports.calc import study_windows
from reports.calc.study_windows import (
    Cut,
    Window,
    WindowRule,
    lay_windows,
    month_pieces,
    months_earlier,
    settling_end,
)

UTC = dt.UTC
BERLIN = ZoneInfo("Europe/Berlin")
DAY = dt.timedelta(days=1)
INSTALLED = dt.datetime(2026, 1, 5, 8, tzinfo=UTC)
SETTLED = INSTALLED + 14 * DAY
NOW = dt.datetime(2026, 11, 20, 12, tzinfo=UTC)


def ledger(h_per_day, start=INSTALLED - 500 * DAY, days=1000):
    return build_ledger([Span(start, start + days * DAY, h_per_day * days, "total", "log")])


def cut(at, description):
    return Cut(at, Reason(WindowRule.WORK, {"kind": "belt replaced", "description": description}))


def lay(cuts=(), **values):
    known = {
        "first_installed_at": INSTALLED,
        "settled_at": SETTLED,
        "until": NOW,
        "before_months": 12,
        "cuts": cuts,
        "tz": BERLIN,
    }
    return lay_windows(**{**known, **values})


def test_doctests():
    assert doctest.testmod(study_windows).failed == 0


def test_days_or_running_hours_whichever_comes_first():
    slow, fast = ledger(10.0), ledger(20.0)
    assert settling_end(INSTALLED, days=14, running_h=200, ledger=slow) == SETTLED  # 140 h in 14 days
    assert settling_end(INSTALLED, days=14, running_h=200, ledger=fast) == INSTALLED + 10 * DAY
    assert settling_end(INSTALLED, days=14, running_h=200, ledger=build_ledger([])) == SETTLED
    assert settling_end(INSTALLED, days=0, running_h=200, ledger=fast) == INSTALLED
    assert settling_end(INSTALLED, days=14, running_h=0, ledger=fast) == INSTALLED
    with pytest.raises(ValueError, match="-1 days"):
        settling_end(INSTALLED, days=-1, running_h=1, ledger=fast)


def test_twelve_months_before_and_all_after_settling_in():
    laid = lay()
    assert laid.before == Window(dt.datetime(2025, 1, 5, 8, tzinfo=UTC), INSTALLED)
    assert laid.settling == Window(INSTALLED, SETTLED)
    assert laid.after == Window(SETTLED, NOW)
    assert laid.cuts == ()


def test_the_nearest_cut_on_each_side_shortens_its_window():
    early, late = INSTALLED - 200 * DAY, INSTALLED - 100 * DAY
    first, second = INSTALLED + 60 * DAY, INSTALLED + 90 * DAY
    laid = lay([cut(second, "b"), cut(late, "late"), cut(first, "a"), cut(early, "early")])
    assert laid.before == Window(late, INSTALLED)
    assert laid.after == Window(SETTLED, first)
    assert [(each.what.values["description"], each.side) for each in laid.cuts] == [("late", "before"), ("a", "after")]


def test_cuts_outside_both_windows_change_nothing():
    assert lay([cut(INSTALLED - 400 * DAY, "old"), cut(NOW + DAY, "ahead")]) == lay()


def test_a_cut_while_settling_in_leaves_nothing_to_compare():
    laid = lay([cut(INSTALLED + 3 * DAY, "belt")])
    assert laid.after.is_empty
    assert laid.settling.end == laid.after.start == INSTALLED + 3 * DAY


def test_a_young_installation_has_an_empty_window_after():
    laid = lay(until=INSTALLED + 5 * DAY)
    assert laid.after.is_empty
    assert laid.after.end == INSTALLED + 5 * DAY


def test_an_engineers_window():
    start = INSTALLED + 30 * DAY
    laid = lay(after_from=start, before_months=18)
    assert laid.before.start == dt.datetime(2024, 7, 5, 7, tzinfo=UTC)  # summer time in Berlin: same wall time
    assert laid.after.start == start
    assert lay(after_from=INSTALLED - DAY).after.start == INSTALLED  # never before it stood there
    with pytest.raises(ValueError, match="before_months is 0"):
        lay(before_months=0)


def test_months_earlier_ends_at_the_end_of_a_short_month():
    assert months_earlier(dt.datetime(2024, 2, 29, 12, tzinfo=UTC), 12, ZoneInfo("UTC")).date() == dt.date(2023, 2, 28)


def test_pieces_fill_the_stretch_and_lie_on_one_side_of_each_edge():
    laid = lay([cut(INSTALLED + 60 * DAY, "a")])
    edges = [laid.before.end, laid.settling.end, laid.after.end]
    pieces = month_pieces(laid.before.start, NOW, edges, BERLIN)
    assert pieces[0].window.start == laid.before.start
    assert pieces[-1].window.end == NOW
    assert all(a.window.end == b.window.start for a, b in itertools.pairwise(pieces))
    assert not any(piece.window.start < edge < piece.window.end for piece in pieces for edge in edges)
    assert [piece.month for piece in pieces].count("2026-01") == 3  # before, settling in, after
    shown = [f"2025-{m:02}" for m in range(1, 13)] + [f"2026-{m:02}" for m in range(1, 12)]
    assert sorted({piece.month for piece in pieces}) == shown


def test_a_window_does_not_run_backwards():
    with pytest.raises(ValueError, match="before its start"):
        Window(NOW, INSTALLED)
