"""The small trend of roller wear: lines by side, limits in the reader's units, nothing drawn through one point."""

import datetime as dt

import pytest
from django.utils import timezone

from inspections.charts import LABEL, wear_trend
from inspections.models import Reading
from inspections.services.visits import close_out_visit
from plant.calc.units import UnitSystem
from tests import make


@pytest.fixture
def readings(belt_a1, tess):
    """Three visits 30 days apart: drive side 75, 74, 72 mm; off side 75 mm once, at the last."""
    place = make.installation(belt_a1)
    for n, drive in enumerate((75.0, 74.0, 72.0)):
        task = make.task(place, make.check_kind("sensor-wear"), timezone.localdate())
        entries = {"drive_diameter": {"as_found": drive}}
        if n == 2:
            entries["off_diameter"] = {"as_found": 75.0}
        close_out_visit(
            installation=place,
            by=tess,
            entries={task.pk: entries},
            visited_at=timezone.now() - dt.timedelta(days=90 - 30 * n),
            lockout_confirmed=True,
        )
    return list(Reading.objects.select_related("visit").order_by("visit__visited_at"))


def test_a_side_with_one_reading_is_no_line(readings):
    trend = wear_trend(readings, 76.0, 68.0, UnitSystem.METRIC)
    assert [line.side for line in trend.lines] == ["drive"]
    assert wear_trend(readings[:1], 76.0, 68.0, UnitSystem.METRIC) is None


def test_points_stand_in_time_between_new_and_limit(readings):
    trend = wear_trend(readings, 76.0, 68.0, UnitSystem.METRIC)
    (new_y, new_words), (limit_y, limit_words) = trend.marks
    assert (new_words, limit_words) == ("new 76 mm", "limit 68 mm")
    points = trend.lines[0].points
    assert new_y < points[0].y < points[1].y < points[2].y < limit_y
    # 72 mm lies half way from 76 to 68; equal intervals of time are equal steps.
    assert points[2].y == pytest.approx((new_y + limit_y) / 2)
    assert points[1].x - points[0].x == pytest.approx(points[2].x - points[1].x)
    assert points[0].words.endswith(": 75 mm")


def test_words_are_in_the_readers_units_and_unstated_limits_are_left_out(readings):
    trend = wear_trend(readings, 76.2, None, UnitSystem.US)
    assert [words for _y, words in trend.marks] == ["new 3 in"]
    assert trend.lines[0].points[-1].words.endswith(": 2.835 in")


def test_labels_of_two_lines_that_end_together_do_not_lie_on_each_other(readings):
    by_side = [row for row in readings if row.side == "drive"]
    for row in by_side[:]:
        twin = Reading(**{name: getattr(row, name) for name in ("visit", "task", "code", "label", "value", "quantity")})
        twin.side = "off"
        by_side.append(twin)
    first, second = wear_trend(by_side, 76.0, 68.0, UnitSystem.METRIC).lines
    assert abs(first.label_y - second.label_y) == pytest.approx(LABEL)
