"""The drawing of wear: readings, line and band lie where the figures say, labels do not lie on each other."""

from __future__ import annotations

import datetime as dt

import pytest

from inspections.charts import HEIGHT, LABEL, LEFT, RIGHT, WIDTH, wear_band
from inspections.services.wear import wear_of
from plant.calc.units import UnitSystem
from tests.inspections.services.test_wear import NOW, measure, standing  # noqa: F401  (a fixture)


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
