"""What was done to a row, in words."""

from __future__ import annotations

import datetime as dt

from plant.calc.units import UnitSystem
from plant.models import ConveyorPart
from plant.selectors.history import HistoryLine, RowAct
from plant.words.history import ACTS, MOST_NAMED, lines_told

AT = dt.datetime(2026, 11, 2, 6, 30, tzinfo=dt.UTC)


def test_every_act_has_its_word():
    assert set(ACTS) == set(RowAct)


def test_what_nobody_did_was_done_by_the_site():
    [line] = lines_told([HistoryLine(AT, None, RowAct.CHANGED, reason="file")], UnitSystem.US)
    assert (line.at, line.who, line.what, line.reason) == (AT, "the site itself", "changed", "file")


def test_rows_that_hang_on_another_are_named_up_to_six():
    names = tuple(f"DS-{n}" for n in range(MOST_NAMED + 1))
    told = lines_told(
        [HistoryLine(AT, "pat", RowAct.ENTERED, about=ConveyorPart, which=which) for which in (names, names[:2])],
        UnitSystem.METRIC,
    )
    assert [line.what for line in told] == [
        "Parts of the conveyor: DS-0, DS-1, DS-2, DS-3, DS-4, DS-5 and 1 more: entered",
        "Parts of the conveyor: DS-0, DS-1: entered",
    ]
