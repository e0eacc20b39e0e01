"""The technician's start page: the round in walking order, what it needs, and the person's own actions."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from inspections.models import Action
from inspections.services.visits import StopReport, close_out_visit
from plant.models import Area, OutageWindow
from tests import make


@pytest.fixture
def round_of_two_belts(alder, belt_a1):
    """A-1 is walked last; N-2 first, its device at 20 m before the one at 90 m."""
    Area.objects.filter(plant=alder).update(walking_order=5)
    north = Area.objects.create(plant=alder, code="N", name="North", walking_order=1)
    belt_n2 = make.conveyor(alder, tag="N-2")
    belt_n2.area = north
    belt_n2.save()
    today = make.today()
    places = [make.installation(belt_a1, "1"), make.installation(belt_n2, "2", chainage_m=90.0)]
    places.append(make.installation(belt_n2, "3", chainage_m=20.0))
    make.task(places[0], make.check_kind("fastener-torque"), today - dt.timedelta(days=20))
    make.task(places[1], make.check_kind("sensor-wear"), today)
    make.task(places[2], make.check_kind("pivot-freedom"), today + dt.timedelta(days=2))
    make.task(places[2], make.check_kind("sensor-wear"), today + dt.timedelta(days=60))  # not open yet
    return places


def test_the_round_is_told_in_walking_order(client, round_of_two_belts, tess):
    client.force_login(tess)
    page = client.get(reverse("today")).content.decode()
    assert "3 checks wait at 3 devices on 2 belts, 1 of them late (by 13 days)." in " ".join(page.split())
    places = [page.index(f"/installations/{each.pk}/visit/") for each in round_of_two_belts]
    assert places[2] < places[1] < places[0]
    assert page.index("Lock out and get your permit") < places[2]
    assert page.count("/visit/") == 3


def test_it_says_what_to_bring(client, round_of_two_belts, tess):
    client.force_login(tess)
    page = client.get(reverse("today")).content.decode()
    assert "torque wrench up to 130 N·m" in page
    assert "caliper" in page
    assert "spring balance" in page
    assert "a pair of sensor rollers for" not in page
    place = round_of_two_belts[1]
    before = make.task(place, make.check_kind("sensor-wear"), make.today(), origin="by_hand")
    close_out_visit(
        StopReport(
            installation=place,
            by=tess,
            entries={before.pk: {"drive_diameter": {"as_found": 71.0}}},
            visited_at=timezone.now(),
            lockout_confirmed=True,
        )
    )
    make.task(place, make.check_kind("sensor-wear"), make.today())  # the one by plan was answered with it
    assert "a pair of sensor rollers for" in client.get(reverse("today")).content.decode()


def test_the_outage_window_of_the_belt_is_told(client, round_of_two_belts, tess):
    client.force_login(tess)
    assert client.get(reverse("today")).content.decode().count("No outage window is known") == 2
    begin = timezone.now() + dt.timedelta(days=3)
    OutageWindow.objects.create(
        conveyor=round_of_two_belts[0].conveyor, starts_at=begin, ends_at=begin + dt.timedelta(hours=4)
    )
    page = client.get(reverse("today")).content.decode()
    assert page.count("No outage window is known") == 1
    assert "Next outage window" in page


def test_only_own_open_actions_are_shown(client, round_of_two_belts, tess, pat):
    late = make.today() - dt.timedelta(days=3)
    for title, owner in (("Clean the frame", tess), ("Order rollers", pat)):
        place = round_of_two_belts[0]
        Action.objects.create(plant=place.plant, installation=place, title=title, due_on=late, owner=owner)
    client.force_login(tess)
    page = client.get(reverse("today")).content.decode()
    assert "Clean the frame" in page
    assert "3 days late" in page
    assert "Order rollers" not in page


def test_nothing_to_do_is_said(client, tess):
    client.force_login(tess)
    assert "No check waits for you today." in client.get(reverse("today")).content.decode()


def test_queries_do_not_grow_with_the_round(client, round_of_two_belts, tess, belt_a1, django_assert_max_num_queries):
    for n in range(10):
        place = make.installation(belt_a1, f"x{n}", chainage_m=10.0 + n)
        make.task(place, make.check_kind("fastener-torque"), make.today())
    client.force_login(tess)
    with django_assert_max_num_queries(22):
        client.get(reverse("today"))


def test_a_devices_page_shows_its_visits_the_wear_and_what_is_to_be_done(client, belt_a1, tess):
    place = make.installation(belt_a1)
    for n, diameter in enumerate((75.0, 74.0, 72.0)):
        task = make.task(place, make.check_kind("sensor-wear"), make.today(), origin="by_hand")
        close_out_visit(
            StopReport(
                installation=place,
                by=tess,
                entries={task.pk: {"drive_diameter": {"as_found": diameter}, "off_diameter": {"as_found": 75.0}}},
                visited_at=timezone.now() - dt.timedelta(days=30 * (3 - n)),
                lockout_confirmed=True,
            )
        )
    Action.objects.create(plant=place.plant, installation=place, title="Clean", due_on=make.today())
    client.force_login(tess)
    page = client.get(place.get_absolute_url()).content.decode()
    assert "Last visit" in page
    assert 'id="wear"' in page  # without running hours there is no line to draw
    assert "The sides differ by 37.5 %: look for a seized pivot, a skewed frame or off-centre load." in page
    assert "Still to be done here" in page
