"""Suspects of a device, gathered from the book and shown on its page."""

import datetime as dt

import pytest

from inspections.calc.suspects import Sign
from inspections.models import Reading, Task, Visit
from inspections.selectors.fault_finding import suspects_at
from inspections.words.suspects import said_words
from installs.models import PartChange
from plant.calc.units import UnitSystem
from tests import make

UTC = dt.UTC


@pytest.fixture
def placed(belt_a1):
    make.built_in_check_kinds()
    return make.installation(belt_a1, chainage_m=6.0)


def visited(place, who, day, **values):
    """A visit with readings: a number is a diameter, a word an answer."""
    visit = Visit.objects.create(plant=place.plant, installation=place, visited_at=day, visited_by=who, created_by=who)
    for code, value in values.items():
        kind = make.check_kind("pivot-freedom" if code == "pivot" else "sensor-wear")
        task = Task.objects.filter(installation=place, check_kind=kind).first() or make.task(place, kind, day.date())
        known = {"answer": value} if isinstance(value, str) else {"value": value, "quantity": "mm"}
        Reading.objects.create(visit=visit, task=task, code=code, label=code, created_by=who, **known)
    return visit


def sign(place, key):
    found = suspects_at(place)
    return next(each for each in found.suspects if each.key == key)


def said(place, key):
    return said_words(sign(place, key), UnitSystem.METRIC)


def test_a_seized_pivot_points_until_the_pivot_was_changed(placed, tess):
    visited(placed, tess, dt.datetime(2026, 3, 2, 9, tzinfo=UTC), pivot="free")
    visited(placed, tess, dt.datetime(2026, 6, 2, 9, tzinfo=UTC), pivot="seized")
    assert sign(placed, "pivot").sign is Sign.POINTS
    assert "Found seized on 2 Jun 2026." in said(placed, "pivot")
    PartChange.objects.create(
        installation=placed, part="pivot", why="seized", changed_at=dt.datetime(2026, 6, 3, 9, tzinfo=UTC),
        created_by=tess,
    )  # fmt: skip
    assert sign(placed, "pivot").sign is Sign.OPEN


def test_a_corrected_reading_no_longer_speaks(placed, tess):
    visited(placed, tess, dt.datetime(2026, 6, 2, 9, tzinfo=UTC), pivot="seized")
    row = Reading.objects.get(code="pivot")
    Reading.objects.create(
        visit=row.visit, task=row.task, code="pivot", label="pivot", answer="free", created_by=tess, corrects=row
    )
    assert sign(placed, "pivot").sign is Sign.AGAINST


def test_wear_the_place_and_neighbours_are_taken_from_the_book(placed, tess):
    visited(placed, tess, dt.datetime(2026, 6, 2, 9, tzinfo=UTC), drive_diameter=71.5, off_diameter=76.0)
    assert "drive side is worn by 4.5 mm, the other by 0 mm" in said(placed, "pivot")
    assert "3.5 mm above the limit on 2 Jun 2026" in said(placed, "worn")
    assert "6 m from the tail pulley" in said(placed, "near")
    assert sign(placed, "each-other").sign is Sign.AGAINST
    other = make.installation(placed.conveyor, number="2", chainage_m=20.0)
    assert "device 2" in said(placed, "each-other")
    make.installation(placed.conveyor, number="3", chainage_m=25.0, strand="carry")
    assert "device 3" not in said(placed, "each-other")
    other.removed_at = dt.datetime(2026, 7, 1, tzinfo=UTC)
    other.save()
    assert sign(placed, "each-other").sign is Sign.AGAINST


def test_the_page_of_the_device_asks_them_in_order(placed, tess, client):
    visited(placed, tess, dt.datetime(2026, 6, 2, 9, tzinfo=UTC), pivot="stiff")
    client.force_login(tess)
    text = client.get(placed.get_absolute_url()).content.decode()
    assert "Look first for: seized or stiff pivot" in text
    assert text.index("1. seized or stiff pivot") < text.index("12. sensor worn through")


def test_the_queries_do_not_grow_with_the_visits(placed, tess, django_assert_max_num_queries):
    for month in range(1, 7):
        visited(placed, tess, dt.datetime(2026, month, 20, 9, tzinfo=UTC), pivot="free", drive_diameter=75.0)
    with django_assert_max_num_queries(32):
        suspects_at(placed)
