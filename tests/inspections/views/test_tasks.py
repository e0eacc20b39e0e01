"""Pages of checks that are due: who may, what they show, how many queries they cost."""

from __future__ import annotations

import datetime as dt
import io

import openpyxl
import pytest
import time_machine
from django.urls import reverse

from inspections.models import Action, Deferral, OverdueSpell, Task
from inspections.services.stops import could_not_do
from inspections.services.tasks import put_off_task
from plant.models import OutageWindow
from tests import make

UTC = dt.UTC
NOON = dt.datetime(2026, 3, 2, 12, tzinfo=UTC)
TODAY = dt.date(2026, 3, 2)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def device_4(belt_a1):
    return make.installation(belt_a1, "4")


@pytest.fixture
def late_task(device_4, pat):
    done = make.task(device_4, make.check_kind(), dt.date(2025, 10, 20))
    Task.objects.filter(pk=done.pk).update(closed_at=NOON - dt.timedelta(days=130), outcome="done", grade="watch")
    task = make.task(device_4, make.check_kind(), dt.date(2026, 1, 20), why="90 days after 22 Oct 2025")
    for before, after, reason in ((20, 24, "no wrench in date"), (24, 27, "no window")):
        Deferral.objects.create(
            task=task,
            closes_on_before=dt.date(2026, 1, before),
            closes_on=dt.date(2026, 1, after),
            reason=reason,
            approved_by=pat,
        )
    return task


@pytest.fixture
def tasks(late_task, device_4):
    due = make.task(device_4, make.check_kind("pivot-freedom"), dt.date(2026, 3, 6))
    ahead = make.task(device_4, make.check_kind("fastener-torque"), dt.date(2026, 6, 6))
    return late_task, due, ahead


def ids(answer):
    return [row.record.pk for row in answer.context["table"].rows]


def test_every_choice_of_the_list_says_what_it_means_when_it_is_empty(client, tess, tasks):
    client.force_login(tess)
    assert "-----" not in client.get(reverse("task-list")).content.decode()


# --- the list ---------------------------------------------------------------------------------------------------------
def test_list_shows_the_latest_first_with_last_grade_and_deferrals(client, tess, tasks):
    client.force_login(tess)
    answer = client.get(reverse("task-list"))
    page = answer.content.decode()
    assert ids(answer) == [task.pk for task in tasks]
    assert "1 check is late, by 34 days." in page
    assert "34 days late" in page
    assert "twice: no wrench in date; no window" in page
    assert '<span class="mark watch">' in page
    assert "never done" in page


@pytest.mark.parametrize(("state", "places"), [("late", [0]), ("due", [1]), ("ahead", [2]), ("", [0, 1, 2])])
def test_filter_by_state(client, tess, tasks, state, places):
    client.force_login(tess)
    assert ids(client.get(reverse("task-list"), {"state": state})) == [tasks[n].pk for n in places]


def test_other_filters(client, tess, alder, tasks, device_4):
    client.force_login(tess)
    second = make.conveyor(alder, tag="B-2")
    elsewhere = make.task(make.installation(second, "9"), make.check_kind(), TODAY)
    for given in ({"conveyor": second.pk}, {"device": "9"}):
        assert ids(client.get(reverse("task-list"), given)) == [elsewhere.pk]
    kind = make.check_kind("pivot-freedom").pk
    assert ids(client.get(reverse("task-list"), {"check_kind": kind})) == [tasks[1].pk]
    assert len(ids(client.get(reverse("task-list"), {"area": second.area_id}))) == 4


def test_closed_checks_are_listed_when_asked_for(client, tess, tasks):
    client.force_login(tess)
    answer = client.get(reverse("task-list"), {"state": "closed"})
    assert len(ids(answer)) == 1
    assert '<span class="mark watch">' in answer.content.decode()


def test_filter_choices_are_of_the_plant_only(client, tess, tasks, belt_z9):
    client.force_login(tess)
    assert "Z-9" not in client.get(reverse("task-list")).content.decode()


def test_csv_and_xlsx_hold_the_same_rows(client, tess, tasks):
    client.force_login(tess)
    lines = b"".join(client.get(reverse("task-list"), {"format": "csv"}).streaming_content).decode().splitlines()
    assert len(lines) == 4
    assert lines[1].startswith("A-1 device 4,")
    assert ",Sensor wear,2026-01-20,2026-01-13/2026-01-27,34,watch,twice: no wrench in date; no window" in lines[1]
    book = openpyxl.load_workbook(io.BytesIO(client.get(reverse("task-list"), {"format": "xlsx"}).content))
    rows = list(book.active.iter_rows(values_only=True))
    assert len(rows) == 4
    assert rows[1][5] == 34


def test_query_count_does_not_grow_with_the_rows(client, tess, tasks, belt_a1, django_assert_max_num_queries):
    client.force_login(tess)
    for n in range(20, 60):
        make.task(make.installation(belt_a1, str(n), chainage_m=float(n)), make.check_kind(), TODAY)
    with django_assert_max_num_queries(20):
        answer = client.get(reverse("task-list"))
    assert len(ids(answer)) == 43


def test_the_open_list_is_read_from_its_index(alder):
    """However many closed tasks there are: the plan of the query names the index of open tasks."""
    from django.db import connection

    if connection.vendor != "sqlite":
        pytest.skip("reads SQLite's way of telling a query's plan; PostgreSQL chooses by the size of the table")
    told = Task.objects.of_plant(alder).overdue(TODAY).order_by("closes_on").explain()
    assert "task_open" in told


# --- one task ---------------------------------------------------------------------------------------------------------
def test_task_page_tells_why_and_what_happened(client, pat, late_task):
    OverdueSpell.objects.create(task=late_task, began_at=dt.datetime(2026, 1, 27, 23, tzinfo=UTC), notified_at=NOON)
    client.force_login(pat)
    page = client.get(late_task.get_absolute_url()).content.decode()
    assert "34 days late" in page
    assert "90 days after 22 Oct 2025" in page
    assert "Put off 2 times" in page
    assert "no wrench in date" in page
    assert "since 28 Jan 2026, 00:00" in page
    assert 'class="care"' in page
    assert "Withdraw" in page


def test_acts_are_offered_to_those_who_may(client, tess, late_task):
    client.force_login(tess)
    page = client.get(late_task.get_absolute_url()).content.decode()
    assert reverse("task-put-off", args=[late_task.pk]) not in page
    assert reverse("task-withdraw", args=[late_task.pk]) not in page


@pytest.mark.parametrize("name", ["task-detail", "task-put-off", "task-withdraw"])
def test_outside_the_plant_there_is_no_such_task(client, otto, late_task, name):
    client.force_login(otto)
    assert client.get(reverse(name, args=[late_task.pk])).status_code == 404


@pytest.mark.parametrize("name", ["task-put-off", "task-withdraw"])
def test_technician_and_manager_may_not_act(client, tess, mona, late_task, name):
    for person in (tess, mona):
        client.force_login(person)
        assert client.get(reverse(name, args=[late_task.pk])).status_code == 403
        assert client.post(reverse(name, args=[late_task.pk]), {}).status_code == 403


def test_stranger_sees_no_list(client, stranger, late_task):
    client.force_login(stranger)
    assert client.get(reverse("task-list")).status_code == 403
    assert client.get(late_task.get_absolute_url()).status_code in (403, 404)
    client.logout()
    assert client.get(reverse("task-list")).status_code == 302


def test_put_off_from_the_page_once(client, pat, late_task):
    client.force_login(pat)
    url = reverse("task-put-off", args=[late_task.pk])
    form = client.get(url).context["form"]
    given = {
        "client_key": str(form["client_key"].value()),
        "version": form["version"].value(),
        "closes_on": "2026-03-20",
        "reason": "no outage window before",
    }
    for _n in range(2):
        assert client.post(url, given).status_code == 302
    late_task.refresh_from_db()
    assert late_task.closes_on == dt.date(2026, 3, 20)
    assert late_task.deferrals.count() == 3
    # A second person who had the page open meanwhile is told, and keeps the text.
    answer = client.post(url, {**given, "client_key": "", "reason": "again"})
    assert answer.status_code == 422


def test_put_off_shows_the_refusal_at_the_field(client, pat, late_task):
    client.force_login(pat)
    url = reverse("task-put-off", args=[late_task.pk])
    form = client.get(url).context["form"]
    given = {"client_key": str(form["client_key"].value()), "version": 1, "closes_on": "2026-01-27", "reason": "x"}
    answer = client.post(url, given)
    assert answer.status_code == 422
    assert "Give 2 Mar 2026 or later." in answer.content.decode()


def test_second_person_is_told_of_the_first(client, pat, late_task):
    client.force_login(pat)
    url = reverse("task-withdraw", args=[late_task.pk])
    Task.objects.filter(pk=late_task.pk).update(version=2)
    answer = client.post(url, {"version": 1, "reason": "not needed"})
    assert answer.status_code == 409
    assert "Somebody else changed this check meanwhile" in answer.content.decode()
    assert "not needed" in answer.content.decode()


def test_withdraw_and_ask_from_the_page(client, pat, late_task, device_4):
    client.force_login(pat)
    client.post(reverse("task-withdraw", args=[late_task.pk]), {"version": 1, "reason": "belt is rebuilt"})
    late_task.refresh_from_db()
    assert (late_task.outcome, late_task.closed_by) == ("withdrawn", pat)
    url = reverse("task-create", args=[device_4.pk])
    assert client.get(url).status_code == 200
    answer = client.post(url, {"check_kind": make.check_kind().pk, "due_on": "2026-03-04", "why": "noise heard"})
    task = Task.objects.open().get()
    assert answer.url == task.get_absolute_url()
    assert (task.origin, task.why) == ("by_hand", "noise heard")


# --- today ------------------------------------------------------------------------------------------------------------
def test_planners_day_begins_with_the_sentence(client, pat, alder, tasks, device_4, belt_a1):
    OutageWindow.objects.create(
        conveyor=belt_a1, starts_at=NOON + dt.timedelta(days=2), ends_at=NOON + dt.timedelta(days=2, hours=4)
    )
    Action.objects.create(plant=alder, installation=device_4, title="Replace rollers", due_on=dt.date(2026, 3, 1))
    client.force_login(pat)
    answer = client.get(reverse("today"))
    page = " ".join(answer.content.decode().split())
    day = next(panel["day"] for panel in answer.context["panels"] if "day" in panel and hasattr(panel["day"], "late"))
    assert (day.n_due, day.n_late, day.longest_late, day.n_this_week) == (1, 1, 34, 1)
    (window,) = day.windows
    # The torque check opens after the window; the late one and the one that is due fit.
    assert [task.pk for task in window.tasks] == [tasks[0].pk, tasks[1].pk]
    assert (window.minutes, window.minutes_there) == (30, 240)
    assert (day.n_actions, day.n_actions_late) == (1, 1)
    words_of_week = ("1 check may be done now</a>", "1 is due by 8 Mar</a>", "Due by Sunday 8 March: 1")
    for words in (*words_of_week, "1 is late</a> (the longest by 34 days)", "Wed 4 Mar 13:00"):
        assert words in page


def test_what_is_late_says_since_when_and_what_was_due_before_today_that_its_window_is_open(
    client, pat, tasks, device_4, belt_a1
):
    """Due 20 January and 34 days late on 2 March do not go together: lateness counts from the end of the window."""
    device_5 = make.installation(belt_a1, "5", chainage_m=200.0)
    make.task(device_5, make.check_kind("pivot-freedom"), dt.date(2026, 2, 27), closes_on=dt.date(2026, 3, 10))
    client.force_login(pat)
    page = " ".join(client.get(reverse("today")).content.decode().split())
    assert f"34 days late, window closed {tasks[0].closes_on:%-d %b}" in page
    assert "1 of them was due before today; its window is still open." in page
    assert "next seven days" not in page
    board = " ".join(client.get(reverse("round-list")).content.decode().split())
    assert f"34 days, window closed {tasks[0].closes_on:%-d %b}" in board


def test_planners_day_costs_the_same_with_many_rows(client, pat, alder, tasks, django_assert_max_num_queries):
    for n in range(20):
        belt = make.conveyor(alder, tag=f"C-{n}")
        OutageWindow.objects.create(conveyor=belt, starts_at=NOON, ends_at=NOON + dt.timedelta(hours=4))
        make.task(make.installation(belt, f"c{n}"), make.check_kind(), dt.date(2026, 2, 1))
    client.force_login(pat)
    with django_assert_max_num_queries(30):
        answer = client.get(reverse("today"))
    assert "21 are late" in answer.content.decode()


def test_files_hold_places_in_metres_whatever_the_reader_chose(client, tess, tasks):
    tess.unit_system = "us"
    tess.save(update_fields=["unit_system"])
    client.force_login(tess)
    assert "328.1 ft" in client.get(reverse("task-list")).content.decode()
    file = b"".join(client.get(reverse("task-list"), {"format": "csv"})).decode()
    assert "100 m" in file
    assert " ft" not in file


def test_what_could_not_be_done_comes_back_to_the_planner_until_it_is_settled(client, pat, tess, tasks, alder):
    task = tasks[1]
    could_not_do(task=task, by=tess, reason="no_access", note="door locked", tried_at=NOON - dt.timedelta(hours=2))
    could_not_do(task=task, by=tess, reason="not_safe", note="water on the walkway")
    client.force_login(pat)
    page = client.get(reverse("today")).content.decode()
    assert "1 check came back undone" in page
    assert "Not safe to do" in page
    assert "water on the walkway" in page
    assert "door locked" not in page
    put_off_task(task=task, by=pat, closes_on=TODAY + dt.timedelta(days=20), reason="drained by then")
    assert "came back undone" not in client.get(reverse("today")).content.decode()
