"""How the checks of devices stand, in a fixed number of queries; the panel on a device's page."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.utils import timezone

from inspections.models import CheckPlan, Deferral, Task
from inspections.panels import checks_of_installation
from inspections.selectors.part_ends import part_failures_of
from inspections.selectors.tasks import check_state_of, plans_of
from inspections.selectors.today import technicians_day, windows_ahead
from installs.models import PartChange
from installs.services.device_models import change_fastener, keep_sheet
from plant.models import OutageWindow
from tests import make

NOON = dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOON, tick=False):
        yield


def closed(at, kind: str, days_ago: int, grade: str) -> Task:
    task = make.task(at, make.check_kind(kind), (NOON - dt.timedelta(days=days_ago)).date())
    Task.objects.filter(pk=task.pk).update(
        closed_at=NOON - dt.timedelta(days=days_ago), outcome=Task.Outcome.DONE, grade=grade
    )
    return task


def test_last_grade_of_each_kind_and_the_next_task(belt_a1, django_assert_num_queries):
    devices = [make.installation(belt_a1, str(n), chainage_m=50.0 + n) for n in range(5)]
    for device in devices:
        closed(device, "sensor-wear", 200, "sound")
        closed(device, "sensor-wear", 100, "watch")
        closed(device, "pivot-freedom", 50, "act")
    first = make.task(devices[0], make.check_kind(), dt.date(2026, 3, 9))
    make.task(devices[0], make.check_kind(), dt.date(2026, 3, 20), origin=Task.Origin.BY_HAND)
    torque = make.task(devices[1], make.check_kind("fastener-torque"), dt.date(2026, 4, 1))
    with django_assert_num_queries(5):
        states = check_state_of(devices)
    assert [(each.check_kind.code, each.grade, each.next) for each in states[devices[0].pk]] == [
        ("sensor-wear", "watch", first),
        ("pivot-freedom", "act", None),
    ]
    assert [(each.check_kind.code, each.grade, each.next) for each in states[devices[1].pk]][2] == (
        "fastener-torque",
        "",
        torque,
    )
    assert check_state_of([]) == {}


def test_own_plan_of_an_installation_stands_before_the_models(belt_a1):
    device = make.installation(belt_a1, "1")
    model_plan = make.check_plan(device.device.device_model, make.check_kind())
    pivot = make.check_plan(device.device.device_model, make.check_kind("pivot-freedom"))
    own = CheckPlan.objects.create(
        plant=belt_a1.plant, installation=device, check_kind=model_plan.check_kind, interval_days=30
    )
    assert [(state.plan, state.is_own) for state in plans_of(device)] == [(own, True), (pivot, False)]


def test_windows_name_only_what_needs_a_stopped_belt_and_has_opened_by_then(alder, belt_a1):
    device = make.installation(belt_a1, "1")
    walkway = make.check_kind("pivot-freedom")
    type(walkway).objects.filter(pk=walkway.pk).update(needs_lockout=False)
    make.task(device, walkway, dt.date(2026, 3, 4))
    fits = make.task(device, make.check_kind(), dt.date(2026, 3, 10))  # opens on 3 March
    make.task(device, make.check_kind("fastener-torque"), dt.date(2026, 3, 20))  # opens on 13 March
    for days, hours in ((2, 4), (20, 4)):  # the second one lies beyond the two weeks
        start = NOON + dt.timedelta(days=days)
        OutageWindow.objects.create(conveyor=belt_a1, starts_at=start, ends_at=start + dt.timedelta(hours=hours))
    (ahead,) = windows_ahead(alder, NOON)
    assert (ahead.tasks, ahead.minutes, ahead.minutes_there) == ([fits], 20, 240)


def request_of(person):
    request = RequestFactory().get("/")
    request.user = person
    request.plant = person.memberships.first().plant
    return request


def test_panel_of_a_device_tells_grades_plan_and_deferrals(pat, tess, otto, belt_a1):
    device = make.installation(belt_a1, "4")
    plan = make.check_plan(device.device.device_model, make.check_kind())
    hours_only = make.check_plan(
        device.device.device_model, make.check_kind("pivot-freedom"), interval_days=None, interval_h=900
    )
    closed(device, "sensor-wear", 120, "watch")
    task = make.task(device, plan.check_kind, dt.date(2026, 2, 1), check_plan=plan, why="90 days after 2025-11-02")
    Deferral.objects.create(
        task=task, closes_on_before=task.closes_on, closes_on=task.closes_on, reason="no window", approved_by=pat
    )
    request = request_of(pat)
    panel = checks_of_installation(request, device)
    page = " ".join(render_to_string(panel["template"], {"panel": panel, "request": request}).split())
    for words in (
        "1 check is late here",
        '<span class="mark watch">',
        "22 days late",
        "90 days after 2025-11-02",
        "once: no window",
        "of model T-1",
        "No day can be computed",
        "give it its own",
    ):
        assert words in page
    assert panel["rows"][1].plan.plan == hours_only
    request = request_of(tess)
    panel = checks_of_installation(request, device)
    assert "give it its own" not in render_to_string(panel["template"], {"panel": panel, "request": request})
    assert checks_of_installation(request_of(otto), device) is None
    assert timezone.localdate() == dt.date(2026, 3, 2)


def test_the_wrench_of_the_day_fits_what_the_devices_were_fitted_with(alder, belt_a1, erin, tess):
    """A model that got higher torques since says nothing of a device that was fitted before."""
    at = make.installation(belt_a1)
    model = at.device.device_model
    at.sheet = keep_sheet(model, by=erin)
    at.save()
    make.task(at, make.check_kind("fastener-torque"), NOON.date())
    pivot = model.fasteners.get(place="pivot")
    change_fastener(pivot, by=erin, version=pivot.version, torque_nm=320.0)
    assert technicians_day(tess, alder, NOON.date(), NOON).torque_nm == 130
    make.task(make.installation(belt_a1, "2", chainage_m=20.0), make.check_kind("fastener-torque"), NOON.date())
    assert technicians_day(tess, alder, NOON.date(), NOON).torque_nm == 320


# --- ends of parts ----------------------------------------------------------------------------------------------------
def ago(days: float) -> dt.datetime:
    return NOON - dt.timedelta(days=days)


def changed(at, part, days_ago, why="worn", side=""):
    return PartChange.objects.create(installation=at, part=part, changed_at=ago(days_ago), why=why, side=side)


def failures(at):
    return [(one.part, one.found_at, one.sound_until) for one in part_failures_of([at]).get(at.pk, [])]


def test_a_pivot_was_last_sound_when_it_was_itself_looked_at(belt_a1):
    """The look 60 days ago was at the pivot before; nobody had looked at this one until it was found seized."""
    at = make.installation(belt_a1, installed_at=ago(400))
    closed(at, "pivot-freedom", 60, "sound")
    changed(at, "pivot", 40, why="early")
    closed(at, "pivot-freedom", 20, "act")
    assert failures(at) == [("pivot", ago(20), None)]
    closed(at, "pivot-freedom", 30, "watch")
    assert failures(at) == [("pivot", ago(20), ago(30))]


def test_rollers_were_last_sound_when_these_were_looked_at_each_side_by_itself(belt_a1):
    at = make.installation(belt_a1, installed_at=ago(400))
    closed(at, "sensor-wear", 60, "sound")
    changed(at, "sensor_rollers", 40, why="worn", side="drive")
    changed(at, "sensor_rollers", 20, why="failed", side="drive")
    changed(at, "sensor_rollers", 10, why="failed", side="off")
    assert failures(at) == [
        ("sensor_rollers", ago(40), ago(60)),
        ("sensor_rollers", ago(20), None),
        ("sensor_rollers", ago(10), ago(60)),
    ]


def test_a_check_without_a_grade_found_nothing_sound(belt_a1):
    at = make.installation(belt_a1, installed_at=ago(400))
    closed(at, "pivot-freedom", 60, "sound")
    closed(at, "pivot-freedom", 30, "")
    closed(at, "pivot-freedom", 20, "act")
    closed(at, "pivot-freedom", 15, "")
    closed(at, "pivot-freedom", 10, "act")  # still the same failure
    assert failures(at) == [("pivot", ago(20), ago(60))]


def test_a_pivot_that_took_the_place_of_a_failed_one_fails_in_its_turn(belt_a1):
    at = make.installation(belt_a1, installed_at=ago(400))
    closed(at, "pivot-freedom", 60, "act")
    changed(at, "pivot", 50, why="seized")
    closed(at, "pivot-freedom", 20, "act")
    closed(at, "pivot-freedom", 10, "act")  # the same pivot, not changed yet
    assert failures(at) == [("pivot", ago(60), None), ("pivot", ago(20), None)]
