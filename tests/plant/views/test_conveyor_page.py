import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from plant import panels
from plant.calc.strip_shapes import StripDevice, StripStretch
from plant.charts.strip import StripLayer, StripRow
from plant.services.conveyors import add_part, remove_part
from tests import make

pytestmark = pytest.mark.django_db


def days_ago(n):
    return timezone.now() - dt.timedelta(days=n)


@pytest.fixture
def in_november(time_machine):
    """A day with 365 days in the twelve months before it."""
    time_machine.move_to(dt.datetime(2026, 11, 25, 10, tzinfo=dt.UTC))


@pytest.fixture
def other_apps(monkeypatch):
    """The places of this app as if no other app had filled them."""
    import collections

    mine = collections.defaultdict(list)
    monkeypatch.setattr(panels, "_panels", mine)
    return mine


def page_of(client, belt):
    return client.get(belt.get_absolute_url()).content.decode()


def test_the_first_sentence_counts_incidents_of_twelve_months_and_says_how_much_is_known(
    in_november, client, belt_a1, tess, other_apps
):
    make.run_record(belt_a1, days_ago(400), days_ago(35), 5180)
    make.incident(belt_a1, days_ago(20))
    make.incident(belt_a1, days_ago(30), is_withdrawn=True)
    make.incident(belt_a1, days_ago(500))
    client.force_login(tess)
    page = page_of(client, belt_a1)
    assert "1 incident in 4,683 h of running in the last twelve months" in page  # 5180 h * 330 d / 365 d
    assert "known for 90 % of the time" in page


def test_without_hours_there_is_no_rate(client, belt_a1, tess, other_apps):
    client.force_login(tess)
    assert "no running hours are in the book, so there is no rate yet" in page_of(client, belt_a1)


def test_the_strip_names_each_incident_and_links_to_it_and_the_table_says_the_same(client, belt_a1, tess, other_apps):
    placed = make.incident(belt_a1, days_ago(20), chainage_m=80.0, severity="trip")
    lost = make.incident(belt_a1, days_ago(21), chainage_m=None)
    add_part(conveyor=belt_a1, by=tess, kind="drift_switch", chainage_m=30, label="DS-3")
    client.force_login(tess)
    page = page_of(client, belt_a1)
    strip, table = page.split("The same as a table")
    assert f'<a href="{placed.get_absolute_url()}" aria-label="' in strip
    assert "trip, return, 80 m</title>" in strip
    assert "drift switch DS-3, both strands, 30 m</title>" in strip
    assert "1 incident without a place or strand is not drawn" in strip
    assert lost.get_absolute_url() not in strip
    for row in (placed, lost):
        assert row.get_absolute_url() in table


def test_parts_are_offered_to_those_who_may_change_them(client, belt_a1, tess, erin, other_apps):
    part = add_part(conveyor=belt_a1, by=erin, kind="guard", chainage_m=30, label="G-1")
    gone = add_part(conveyor=belt_a1, by=erin, kind="guard", chainage_m=40, label="G-2")
    remove_part(gone, by=erin, version=1, removed_on=dt.date(2026, 1, 5))
    client.force_login(tess)
    page = page_of(client, belt_a1)
    assert "G-1" in page
    assert "1 part was removed" in page
    assert reverse("part-update", args=[part.pk]) not in page
    client.force_login(erin)
    assert reverse("part-update", args=[part.pk]) in page_of(client, belt_a1)
    assert reverse("part-update", args=[gone.pk]) not in page_of(client, belt_a1)


def test_apps_above_add_devices_grades_gaps_sentences_and_panels(client, belt_a1, tess, other_apps):
    @panels.register_panel("strip", 10)
    def devices(request, subject):
        return {
            belt.pk: StripLayer(
                devices=(StripDevice(7, "return", 100.0, "7", "device 7, return, 100 m", "/d/7/"),),
                gaps=(StripStretch("return", 0, 50, "gap", "no device reaches 0 to 50 m"),),
                sentences=("Half lie where no device reaches.",),
                rows=(StripRow("return", 100.0, "return, 100 m", "Device 7"),),
            )
            for belt in subject.conveyors
        }

    @panels.register_panel("strip", 20)
    def wear(request, subject):
        return {belt.pk: StripLayer(grades={7: ("watch", "sensor wear: watch")}) for belt in subject.conveyors}

    @panels.register_panel("strip", 30)
    def pivot(request, subject):
        return {belt.pk: StripLayer(grades={7: ("act", "pivot: act")}) for belt in subject.conveyors}

    @panels.register_panel("conveyor-lede", 10)
    def lede(request, conveyor):
        return {"template": "tests/lede.html"} if conveyor.tag == "no such belt" else None

    client.force_login(tess)
    page = page_of(client, belt_a1)
    assert 'class="device act"' in page
    assert "device 7, return, 100 m, sensor wear: watch, pivot: act" in page
    assert "no device reaches 0 to 50 m" in page
    assert "Half lie where no device reaches." in page
    assert "Device 7" in page
    listed = client.get(reverse("conveyor-list")).content.decode()
    assert 'aria-label="A-1: 1 device, 0 incidents in twelve months"' in listed


def test_the_density_of_incidents_stands_with_its_hours_and_in_the_table(
    in_november, client, belt_a1, tess, other_apps
):
    """A-1 is 200 m: four stretches of 50 m; 3 of 4 incidents lie in the second, 3 / 4683 h = 0.64 per 1000 h."""
    make.run_record(belt_a1, days_ago(400), days_ago(35), 5180)
    for n, at in enumerate((60.0, 70.0, 80.0, 160.0)):
        make.incident(belt_a1, days_ago(40 + n), chainage_m=at)
    client.force_login(tess)
    strip, table = page_of(client, belt_a1).split("The same as a table")
    assert strip.count('class="density"') == 2 * 2  # the wide and the tall strip
    assert "Densest: return, 50 to 100 m, 3 incidents, 0.64 (0.13 to 1.87) in 1000 running hours and 50 m" in strip
    assert "Running hours of twelve months: 4,683 h, known for 90 % of the time." in strip
    assert "return, 150 to 200 m" in table


def test_without_hours_no_density_is_drawn_and_the_page_says_so(client, belt_a1, tess, other_apps):
    make.incident(belt_a1, days_ago(20), chainage_m=80.0)
    client.force_login(tess)
    page = page_of(client, belt_a1)
    assert 'class="density"' not in page
    assert "how densely incidents lie cannot be told" in page


def test_a_belt_with_much_on_it_costs_as_many_queries_as_an_empty_one(client, belt_a1, tess, other_apps):
    client.force_login(tess)
    page_of(client, belt_a1)

    def n_queries():
        with CaptureQueriesContext(connection) as queries:
            page_of(client, belt_a1)
        return len(queries)

    make.incident(belt_a1, days_ago(3))
    make.drift_switch(belt_a1, 1)
    before = n_queries()
    for n in range(12):
        make.incident(belt_a1, days_ago(20 + n))
        make.drift_switch(belt_a1, 10 + n)
    assert n_queries() == before


def test_the_list_says_on_how_few_belts_half_of_the_incidents_happened(client, belt_a1, belt_z9, tess, other_apps):
    client.force_login(tess)
    assert "1 conveyor in use." in client.get(reverse("conveyor-list")).content.decode()
    others = [make.conveyor(belt_a1.plant, tag=f"B-{n}") for n in range(4)]
    for n, belt in enumerate([belt_a1] * 3 + [others[0]] * 2 + others[1:3] + [belt_z9]):
        make.incident(belt, days_ago(5 + n))
    page = client.get(reverse("conveyor-list")).content.decode()
    # 3 + 2 of 7 on two belts; the other plant's incident is not ours.
    assert "5 conveyors in use. 7 incidents in the last twelve months, half of them on 2 belts." in page
