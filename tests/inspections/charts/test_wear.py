"""The drawing of wear: readings, line and band lie where the figures say, labels do not lie on each other."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import pytest

from inspections.charts.reading_trends import reading_trends
from inspections.charts.wear import HEIGHT, LABEL, LEFT, RIGHT, WIDTH, wear_band
from inspections.selectors.wear import wear_of
from plant.calc.units import UnitSystem
from tests.inspections.selectors.test_wear import NOW, measure, standing  # noqa: F401  (a fixture)


@pytest.fixture
def wear(standing, time_machine):  # noqa: F811
    time_machine.move_to(NOW, tick=False)
    for month, drive, off in ((1, 76.0, 76.0), (2, 75.5, 75.4), (3, 74.9, 74.7), (4, 74.5, 74.2), (5, 74.0, 73.6)):
        measure(standing, dt.datetime(2026, month, 10, 9, tzinfo=dt.UTC), drive, off)
    return wear_of([standing])[standing.pk]


def test_readings_line_and_band_stand_inside_the_drawing(wear):
    band = wear_band(wear, UnitSystem.METRIC)
    assert [line.side for line in band.lines] == ["drive", "off"]
    for line in band.lines:
        assert len(line.points) == 5
        pairs = [tuple(map(float, pair.split(","))) for pair in f"{line.line} {line.band}".split()]
        assert all(LEFT - 0.1 <= x <= WIDTH - RIGHT + 0.1 and 0 <= y <= HEIGHT for x, y in pairs)
        assert line.points[0].y < line.points[-1].y  # a smaller diameter stands lower
    assert abs(band.lines[0].label_y - band.lines[1].label_y) >= LABEL
    assert {words for _y, words in band.marks} == {"new 76 mm", "limit 68 mm"}


def test_words_are_in_the_units_of_the_reader(wear):
    band = wear_band(wear, UnitSystem.US)
    assert all("in" in words for _y, words in band.marks)


def test_one_reading_is_not_drawn(standing):  # noqa: F811
    measure(standing, dt.datetime(2026, 1, 10, 9, tzinfo=dt.UTC), 76.0, 76.0)
    assert wear_band(wear_of([standing], now=NOW)[standing.pk], UnitSystem.METRIC) is None


def test_a_trend_has_a_line_for_each_thing_and_keeps_to_its_box():
    def reading(label, day, value, quantity="nm", kind="Fastener torque"):
        visit = SimpleNamespace(visited_at=dt.datetime(2026, 3, day, tzinfo=dt.UTC))
        return SimpleNamespace(
            label=label, value=value, quantity=quantity, visit=visit, method="", task=SimpleNamespace(check_kind=kind)
        )

    rows = [reading("clamp 1", 1, 75.0), reading("clamp 2", 1, 70.0), reading("clamp 1", 9, 60.0)]
    rows += [reading("clamp 2", 9, 71.0), reading("breakaway", 1, 30.0, "n", "Pivot freedom")]
    (trend,) = reading_trends(rows, UnitSystem.METRIC)  # one look alone is no trend
    assert trend.title == "Fastener torque, as found: clamp 1, clamp 2"
    assert [words for _y, words in trend.marks] == ["75 N·m", "60 N·m"]
    assert (trend.first, trend.last) == ("2026-03-01", "2026-03-09")
    one, two = trend.lines
    assert one.points[0].y < one.points[1].y  # less torque lies lower
    for point in (*one.points, *two.points):
        assert trend.left <= point.x <= trend.right_edge
        assert 0 <= point.y <= trend.height
