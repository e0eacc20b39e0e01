"""Torques are drawn by fastener; a series holds one method and its line joins no other."""

import datetime as dt

import pytest
from django.utils import timezone

from inspections.charts.torque import HEIGHT, WIDTH, torque_charts
from inspections.check_rules.wanted import Typed
from inspections.selectors.visits import torques_in_time
from inspections.services.visits import StopReport, close_out_visit
from plant.calc.units import UnitSystem
from tests import make


@pytest.fixture
def place(belt_a1):
    return make.installation(belt_a1)


def read(place, tess, days, value, method, code="clamp_1"):
    task = make.task(place, make.check_kind("fastener-torque"), make.today())
    when = timezone.now() - dt.timedelta(days=days)
    close_out_visit(StopReport(
        installation=place, by=tess, visited_at=when, lockout_confirmed=True, no_action_reason="set again",
        entries={task.pk: {code: {"as_found": Typed(value, "", method)}}},
    ))  # fmt: skip
    place.tasks.open().delete()


def test_two_methods_are_two_series_of_one_chart(place, tess):
    for days, value, method in (
        (40, 74.0, "first_movement"),
        (30, 77.0, "mark_and_retighten"),
        (20, 60.0, "first_movement"),
        (10, 76.0, "mark_and_retighten"),
    ):
        read(place, tess, days, value, method)
    read(place, tess, 5, 75.0, "first_movement", code="clamp_2")  # read once: no trend yet
    (chart,) = torque_charts(place, torques_in_time(place, most=12), UnitSystem.METRIC)
    assert chart.words == "clamp 1: last 76 N·m, 101 % of its target of 75 N·m"
    first, second = chart.series
    assert (len(first.points), len(second.points)) == (2, 2)
    assert (first.mark, second.mark) == ("dot", "ring")
    assert first.method == "first movement when tightening on"
    assert [point.words.split(": ")[1] for point in first.points] == ["74 N·m", "60 N·m"]
    assert first.points[0].y < chart.band_y + chart.band_height < first.points[1].y  # 60 lies below the tolerance
    assert first.points[0].x < second.points[0].x < first.points[1].x < second.points[1].x
    for each in chart.series:
        pairs = [tuple(map(float, pair.split(","))) for pair in each.path.split()]
        assert pairs == [(point.x, point.y) for point in each.points]
        assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in pairs)


def test_readings_of_no_said_method_are_drawn_and_not_joined(place, tess):
    read(place, tess, 20, 74.0, "")
    read(place, tess, 10, 70.0, "")
    (chart,) = torque_charts(place, torques_in_time(place), UnitSystem.METRIC)
    (series,) = chart.series
    assert (series.method, len(series.points), series.path) == ("method not said", 2, "")


def test_one_reading_by_each_method_is_no_trend(place, tess):
    read(place, tess, 20, 74.0, "first_movement")
    read(place, tess, 10, 77.0, "mark_and_retighten")
    assert torque_charts(place, torques_in_time(place), UnitSystem.METRIC) == []


def test_the_device_s_page_draws_them_beside_their_table(client, place, tess):
    read(place, tess, 20, 74.0, "first_movement")
    read(place, tess, 10, 60.0, "first_movement")
    client.force_login(tess)
    text = client.get(f"/installations/{place.pk}/").content.decode()
    assert "clamp 1: last 60 N·m, 80 % of its target of 75 N·m" in text
    assert "Dashed: target. Grey: its tolerance." in text
