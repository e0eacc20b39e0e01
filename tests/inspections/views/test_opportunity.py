"""A belt stopped: what the page lists, who may see it, and the press that puts it on a round."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.utils import timezone

from inspections.models import CheckKind, Round, Stop
from plant.models import OutageWindow
from tests import make

# 9:00 in Berlin.
NOW = dt.datetime(2026, 11, 20, 8, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def at_nine():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def grease(alder):
    return CheckKind.objects.create(
        plant=alder, code="grease", name="Grease", needs_lockout=True, minutes=25, tools_needed="grease gun"
    )


@pytest.fixture
def shift(alder, tess):
    return make.shift(tess, alder, NOW - dt.timedelta(hours=2))


@pytest.fixture
def device(belt_a1):
    return place(belt_a1, "1")


def place(belt, number):
    return make.installation(belt, number, chainage_m=20.0 * int(number))


def ask(client, belt, minutes=120):
    return client.get(f"/opportunity/?conveyor={belt.pk}&minutes={minutes}")


def press(client, belt, shift, tasks, minutes=120):
    values = {"conveyor": belt.pk, "minutes": minutes, "shift": shift.pk, "tasks": [task.pk for task in tasks]}
    return client.post("/opportunity/put-on/", values)


def wear_task(device, due_on, **values):
    return make.task(device, make.check_kind("sensor-wear"), due_on, **values)


def test_late_comes_before_due_and_due_before_early(client, pat, alder, belt_a1, device, shift):
    today = dt.date(2026, 11, 20)
    early = wear_task(place(belt_a1, "3"), today + dt.timedelta(days=20))
    due = wear_task(place(belt_a1, "2"), today)
    late = wear_task(device, today - dt.timedelta(days=30))
    wear_task(place(belt_a1, "4"), today + dt.timedelta(days=200))
    client.force_login(pat)
    answer = ask(client, belt_a1, 300)
    assert [row.task for row in answer.context["found"].fits] == [late, due, early]
    text = answer.content.decode()
    assert "3 checks fit on A-1" in text
    assert "does not mean that it is isolated" in text
    assert "early: opens 3 Dec" in text


def test_what_needs_a_running_belt_or_another_belt_is_not_offered(client, pat, alder, belt_a1, device, shift):
    look = CheckKind.objects.create(plant=alder, code="look", name="Look", needs_lockout=False)
    make.task(device, look, dt.date(2026, 11, 20))
    wear_task(make.installation(make.conveyor(alder, tag="A-2"), "9"), dt.date(2026, 11, 20))
    client.force_login(pat)
    assert "No check with a stopped belt fits on A-1 in 120 min" in ask(client, belt_a1).content.decode()


def test_who_lacks_a_tool_is_not_named_and_what_is_lacking_is(client, pat, belt_a1, device, grease, shift):
    make.task(device, grease, dt.date(2026, 11, 20))
    client.force_login(pat)
    found = ask(client, belt_a1).context["found"]
    assert found.fits[0].people == []
    assert found.hands[0].lacks == ["grease gun"]
    assert found.tools == ["grease gun"]


def test_other_work_on_the_belt_is_named(client, pat, alder, belt_a1, device):
    make.fitting(belt_a1)
    client.force_login(pat)
    assert "1 fitting planned on this belt" in ask(client, belt_a1).content.decode()


@pytest.mark.parametrize(("who", "status"), [("pat", 200), ("tess", 200), ("mona", 200), ("stranger", 403)])
def test_who_may_look(request, client, belt_a1, who, status):
    client.force_login(request.getfixturevalue(who))
    assert ask(client, belt_a1).status_code == status


def test_a_belt_of_another_plant_and_no_time_are_not_understood(client, pat, belt_a1, belt_z9):
    client.force_login(pat)
    assert ask(client, belt_z9).status_code == 422
    answer = ask(client, belt_a1, 0)
    assert answer.status_code == 422
    assert "1 to 1440" in answer.content.decode()


def test_the_number_of_queries_does_not_grow(client, pat, belt_a1, shift, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.force_login(pat)
    wear_task(place(belt_a1, "1"), dt.date(2026, 11, 20))
    ask(client, belt_a1)
    with CaptureQueriesContext(connection) as few:
        ask(client, belt_a1)
    for n in range(2, 9):
        wear_task(place(belt_a1, str(n)), dt.date(2026, 11, 20))
    with django_assert_num_queries(len(few)):
        ask(client, belt_a1, 600)


def test_one_press_puts_it_first_on_the_draft_and_writes_the_window(client, pat, alder, belt_a1, device, shift):
    task = wear_task(device, dt.date(2026, 11, 20))
    client.force_login(pat)
    for _twice in range(2):
        answer = press(client, belt_a1, shift, [task])
        assert answer.status_code == 302
        assert answer["Location"] == "/rounds/?day=2026-11-20"
    window = OutageWindow.objects.get()
    assert (window.starts_at, window.ends_at) == (NOW, NOW + dt.timedelta(minutes=120))
    stop = Stop.objects.get()
    assert list(stop.tasks.all()) == [task]
    assert stop.needs_lockout
    assert stop.round == Round.objects.drafts().get(shift=shift)
    assert stop.starts_at >= NOW


def test_it_leaves_the_round_on_which_it_stood(client, pat, alder, belt_a1, device, shift):
    from inspections.services.rounds import lay

    tim = make.person("tim", alder, "technician")
    later = make.shift(tim, alder, NOW + dt.timedelta(days=1))
    task = wear_task(device, dt.date(2026, 11, 20))
    make.outage(belt_a1, NOW + dt.timedelta(days=1), 6)
    with timezone.override(alder.zone):
        lay(plant=alder, first_day=later.day, last_day=later.day, by=pat, iterations=30)
    assert Stop.objects.filter(tasks=task, round__shift=later).exists()
    client.force_login(pat)
    press(client, belt_a1, shift, [task])
    assert [stop.round.shift for stop in Stop.objects.filter(tasks=task)] == [shift]


def test_an_open_window_is_not_written_twice(client, pat, belt_a1, device, shift):
    make.outage(belt_a1, NOW - dt.timedelta(hours=1), 5)
    client.force_login(pat)
    press(client, belt_a1, shift, [wear_task(device, dt.date(2026, 11, 20))])
    assert OutageWindow.objects.count() == 1


def test_who_is_away_gets_nothing(client, pat, belt_a1, device, shift):
    shift.away_from = NOW - dt.timedelta(minutes=5)
    shift.save()
    client.force_login(pat)
    answer = press(client, belt_a1, shift, [wear_task(device, dt.date(2026, 11, 20))])
    assert answer["Location"].startswith("/opportunity/?conveyor=")
    assert not Stop.objects.exists()
    assert not OutageWindow.objects.exists()


@pytest.mark.parametrize("who", ["tess", "mona", "erin"])
def test_only_a_planner_puts_it_on_a_round(request, client, belt_a1, device, shift, who):
    client.force_login(request.getfixturevalue(who))
    assert press(client, belt_a1, shift, [wear_task(device, dt.date(2026, 11, 20))]).status_code == 403


def test_a_trip_leads_to_it(client, pat, belt_a1):
    incident = make.incident(belt_a1, NOW, severity="trip")
    client.force_login(pat)
    assert f"/opportunity/?conveyor={belt_a1.pk}" in client.get(incident.get_absolute_url()).content.decode()
    assert f"/opportunity/?conveyor={belt_a1.pk}" in client.get(belt_a1.get_absolute_url()).content.decode()
