"""Wear gathered: new rollers restart the line, unknown hours are left out, the limit pulls the check forward."""

from __future__ import annotations

import datetime as dt

import pytest

from inspections.calc.due_dates import DueDate, DueRule
from inspections.calc.wear import Since, WearRule
from inspections.models import Reading, Task, Visit
from inspections.selectors.wear import pulled_forward, wear_of, wear_of_plant
from inspections.services.tasks import plan_tasks
from inspections.words.wear import wear_words
from installs.models import PartChange
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.models import Person
from tests import make

NOW = dt.datetime(2026, 6, 1, 12, tzinfo=dt.UTC)
INSTALLED = dt.datetime(2026, 1, 5, 8, tzinfo=dt.UTC)


@pytest.fixture
def standing(belt_a1):
    """A device on a belt that ran 12 h a day since its installation; rollers new 76, limit 68 mm."""
    days = (NOW - INSTALLED).days
    make.run_record(belt_a1, INSTALLED, INSTALLED + dt.timedelta(days=days), 12.0 * days)
    make.run_record(belt_a1, INSTALLED + dt.timedelta(days=days), INSTALLED + dt.timedelta(days=days + 1), 12.0)
    return make.installation(belt_a1, "20", installed_at=INSTALLED)


def measure(at, when, drive, off, stage="as_found"):
    """A visit with both diameters [mm]."""
    by = Person.objects.filter(username="tess").first() or make.person("tess", at.plant, "technician")
    visit = Visit.objects.filter(installation=at, visited_at=when).first() or Visit.objects.create(
        plant=at.plant, installation=at, visited_at=when, visited_by=by
    )
    task = visit.tasks.first() or make.task(
        at, make.check_kind(), when.date(), closed_at=when, outcome="done", visit=visit, grade="sound"
    )
    for side, value in (("drive", drive), ("off", off)):
        Reading.objects.create(
            visit=visit,
            task=task,
            code=f"{side}_diameter",
            label=f"{side} side diameter",
            side=side,
            stage=stage,
            value=value,
            quantity="mm",
        )


def on(month, day=10):
    return dt.datetime(2026, month, day, 9, tzinfo=dt.UTC)


def drive_side(at, **options):
    return next(each for each in wear_of([at], now=NOW, **options)[at.pk].sides if each.side == "drive")


def test_rate_is_per_running_hour_and_not_per_day(standing):
    """0.5 mm in each 31 days of 12 h is 1.34 mm in 1000 h, by hand; months differ a little in length."""
    for month, value in enumerate((75.95, 75.5, 75.0, 74.5, 74.0), start=1):
        measure(standing, on(month), value, 76.0)
    side = drive_side(standing)
    assert side.trend.per_1000_h == pytest.approx(1.34, abs=0.05)
    assert side.early_on < side.limit_on < side.late_on
    assert side.limit_on > NOW.date()


def test_new_rollers_left_at_a_visit_begin_anew(standing):
    for month, value in ((1, 76.0), (2, 74.0), (3, 72.0)):
        measure(standing, on(month), value, value)
    measure(standing, on(3), 76.0, 76.0, stage="as_left")
    measure(standing, on(4), 75.6, 75.6)
    side = drive_side(standing)
    assert [(point.diameter_mm, point.hours > 0) for point in side.points] == [(76.0, False), (75.6, True)]
    assert side.since_what is Since.VISIT


def test_a_part_change_of_one_side_begins_only_that_side_anew(standing):
    for month, value in ((1, 76.0), (2, 74.0), (3, 72.0)):
        measure(standing, on(month), value, value)
    PartChange.objects.create(
        installation=standing, part="sensor_rollers", side="drive", why="worn", changed_at=on(3, 20)
    )
    sides = {each.side: each for each in wear_of([standing], now=NOW)[standing.pk].sides}
    assert "drive" not in sides
    assert len(sides["off"].points) == 3
    measure(standing, on(4), 75.8, 71.0)
    assert len(drive_side(standing).points) == 1


def test_readings_whose_hours_are_not_known_are_left_out_and_said(belt_a1):
    at = make.installation(belt_a1, "20", installed_at=INSTALLED)
    measure(at, on(2), 75.0, 75.0)
    side = drive_side(at)
    assert (side.points, side.n_left_out) == ((), 1)
    assert WearRule.LEFT_OUT in [reason.rule for reason in side.reasons]


def test_few_readings_lean_on_like_devices(standing, belt_a1):
    fleet = []
    for n in range(4):
        like = make.installation(belt_a1, f"3{n}", chainage_m=20.0 + 10 * n, installed_at=INSTALLED)
        for month, value in enumerate((75.95, 75.5, 75.0), start=1):
            measure(like, on(month), value + 0.02 * n, value)
        fleet.append(like)
    measure(standing, on(1), 76.0, 76.0)
    measure(standing, on(3), 75.1, 75.1)
    assert drive_side(standing).trend.way == "none"
    leaning = drive_side(standing, fleet=fleet).trend
    assert leaning.way == "fleet"
    # Five devices, this one among them, have ten rollers; each is a rate of its own and is told as what it is.
    assert leaning.reasons[0].rule == WearRule.FLEET_TAKEN_IN
    assert wear_words(leaning, UnitSystem.METRIC).startswith("2 readings: the rate of 10 rollers of like devices (")
    assert " in per 1000 h) is taken in." in wear_words(leaning, UnitSystem.US)


def test_queries_do_not_grow_with_the_devices(standing, belt_a1, alder, django_assert_max_num_queries):
    for n in range(6):
        like = make.installation(belt_a1, f"4{n}", chainage_m=20.0 + 10 * n, installed_at=INSTALLED)
        measure(like, on(2), 75.0, 75.0)
    with django_assert_max_num_queries(6):
        wear_of_plant(alder, NOW)


def test_the_limit_pulls_the_check_forward_but_never_before_today(standing):
    for month, value in enumerate((75.9, 74.4, 72.9, 71.4, 69.9), start=1):
        measure(standing, on(month), value, value)
    wear = wear_of([standing], now=NOW)[standing.pk]
    plan = DueDate(*(dt.date(2026, 12, day) for day in (10, 3, 17)), "days", Reason("due.after_days"))
    pulled = pulled_forward(plan, wear, NOW.date())
    assert pulled.due_on == max(wear.early_on, NOW.date())
    assert pulled.closes_on - pulled.due_on == dt.timedelta(days=7)
    assert (pulled.reason.rule, pulled.reason.values["plan"]) == (DueRule.WEAR, dt.date(2026, 12, 10))
    early = DueDate(*(dt.date(2026, 6, day) for day in (2, 1, 9)), "days", Reason("due.after_days"))
    assert pulled_forward(early, wear, dt.date(2026, 6, 2)).due_on == dt.date(2026, 6, 2)
    assert pulled_forward(plan, None, NOW.date()) is plan


def test_the_night_plans_by_wear(standing, alder, time_machine):
    time_machine.move_to(NOW, tick=False)
    long_ago = dt.datetime(2025, 1, 1, tzinfo=dt.UTC)
    make.check_plan(standing.device.device_model, make.check_kind(), interval_days=300, created_at=long_ago)
    for month, value in enumerate((75.9, 74.4, 72.9, 71.4, 69.9), start=1):
        measure(standing, on(month), value, value)
    plan_tasks(alder, NOW.date())
    task = Task.objects.open().get(installation=standing, origin="plan")
    assert task.due_on < dt.date(2026, 8, 1)
    assert task.why.startswith("wear: a sensor roller may be at its limit")


def test_the_dossier_tells_rate_and_date(client, standing, erin, time_machine):
    time_machine.move_to(NOW, tick=False)
    for month, value in enumerate((75.95, 75.5, 75.0, 74.5, 74.0), start=1):
        measure(standing, on(month), value, value)
    client.force_login(erin)
    page = client.get(standing.get_absolute_url()).content.decode()
    assert "at its limit about" in page
    assert "1.3" in page
