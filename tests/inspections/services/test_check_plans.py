"""Plans with fixed dates and shortened intervals, from writing the plan to the task after the close."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.utils import timezone

from inspections.models import Task
from inspections.selectors.due_dates import forecast
from inspections.services.check_plans import (
    change_check_plan,
    create_check_plan,
    plan_with,
    resume_check_plan,
    suspend_check_plan,
)
from inspections.services.tasks import plan_tasks, withdraw_task
from plant.calc.calendar import overdue_from
from plant.errors import Refused
from plant.models import Conveyor
from tests import make

# Friday 20 March 2026, 9:00 in Berlin; clocks go forward on the 29th.
NOW = dt.datetime(2026, 3, 20, 8, tzinfo=dt.UTC)
TODAY = dt.date(2026, 3, 20)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as moved:
        yield moved


@pytest.fixture
def device(belt_a1):
    return make.installation(belt_a1, "1")


@pytest.fixture
def monthly(alder, pat, device):
    """The last Sunday of every month: the day on which clocks change in March and October."""
    return create_check_plan(
        plant=alder,
        by=pat,
        check_kind=make.check_kind("pivot-freedom"),
        device_model=device.device.device_model,
        fixed_months=1,
        fixed_from=dt.date(2026, 1, 1),
        fixed_on="-1SU",
        opens_days_before=7,
        closes_days_after=3,
    )


def the_task():
    return Task.objects.open().get(origin=Task.Origin.PLAN)


def close(task, at):
    task.closed_at, task.outcome = at, Task.Outcome.DONE
    task.save()


def night(clock, plant, day):
    clock.move_to(dt.datetime(day.year, day.month, day.day, 1, 30, tzinfo=dt.UTC))
    return plan_tasks(plant, day)


def test_the_first_task_is_the_next_fixed_date_and_never_one_before_the_plan(monthly):
    task = the_task()
    assert (task.due_on, task.fixed_on) == (dt.date(2026, 3, 29), dt.date(2026, 3, 29))
    assert (task.opens_on, task.closes_on) == (dt.date(2026, 3, 22), dt.date(2026, 4, 1))
    assert task.why == "fixed date: the last Sunday of every month"
    # Late from local midnight, by the clock of summer.
    assert overdue_from(task.due_on, monthly.plant.zone) == dt.datetime(2026, 3, 29, 22, tzinfo=dt.UTC)


def test_a_late_close_moves_nothing_and_a_missed_date_is_asked_for(alder, monthly, clock):
    task = the_task()
    for day in (dt.date(2026, 4, 27), dt.date(2026, 5, 4)):
        night(clock, alder, day)
        task.refresh_from_db()
        assert task.due_on == dt.date(2026, 3, 29)
    assert task.dates_waiting(dt.date(2026, 5, 4)) == (dt.date(2026, 4, 26),)
    # Closed on 4 May, after the date of April has passed as well: that one is open now, and late.
    close(task, timezone.now())
    night(clock, alder, dt.date(2026, 5, 5))
    missed = the_task()
    assert (missed.due_on, missed.closes_on) == (dt.date(2026, 4, 26), dt.date(2026, 4, 29))
    assert missed.days_late(dt.date(2026, 5, 5)) == 6
    close(missed, timezone.now())
    night(clock, alder, dt.date(2026, 5, 6))
    assert the_task().due_on == dt.date(2026, 5, 31)


def test_an_early_close_in_the_window_keeps_the_date_and_moves_nothing(alder, monthly, clock):
    close(the_task(), dt.datetime(2026, 3, 22, 9, tzinfo=dt.UTC))
    night(clock, alder, dt.date(2026, 3, 23))
    assert the_task().due_on == dt.date(2026, 4, 26)


def test_what_was_done_before_the_window_does_not_stand_for_the_date(alder, monthly, clock):
    close(the_task(), dt.datetime(2026, 3, 20, 9, tzinfo=dt.UTC))
    night(clock, alder, dt.date(2026, 3, 21))
    assert the_task().due_on == dt.date(2026, 3, 29)


def test_a_date_that_a_person_withdraws_is_given_up(alder, pat, monthly, clock):
    withdraw_task(task=the_task(), by=pat, reason="belt is being replaced")
    night(clock, alder, dt.date(2026, 3, 21))
    assert the_task().due_on == dt.date(2026, 4, 26)


def test_dates_of_a_suspension_are_not_asked_for_afterwards(pat, monthly, clock):
    plan = suspend_check_plan(plan=monthly, by=pat, version=1, reason="stands still")
    assert not Task.objects.open().exists()
    clock.move_to(dt.datetime(2026, 6, 10, 8, tzinfo=dt.UTC))
    resume_check_plan(plan=plan, by=pat, version=2)
    assert the_task().due_on == dt.date(2026, 6, 28)


def test_from_intervals_to_fixed_dates_and_back(alder, pat, device, clock):
    kind = make.check_kind("pivot-freedom")
    plan = create_check_plan(
        plant=alder, by=pat, check_kind=kind, device_model=device.device.device_model, interval_days=120
    )
    assert the_task().due_on == dt.date(2026, 5, 5)
    fixed = {"interval_days": None, "fixed_months": 3, "fixed_from": dt.date(2026, 1, 31), "fixed_on": ""}
    plan = change_check_plan(plan=plan, by=pat, version=1, **fixed)
    assert plan.fixed_since == TODAY
    assert (the_task().due_on, the_task().fixed_on) == (dt.date(2026, 4, 30),) * 2
    back = {"interval_days": 120, "fixed_months": None, "fixed_from": None, "fixed_on": ""}
    plan = change_check_plan(plan=plan, by=pat, version=2, **back)
    assert (plan.fixed_since, the_task().due_on, the_task().fixed_on) == (None, dt.date(2026, 5, 5), None)


def test_the_night_says_the_same_twice(alder, monthly, clock):
    before = list(Task.objects.values())
    assert plan_tasks(alder, TODAY).made == 0
    assert list(Task.objects.values()) == before


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "Give an interval in days, in running hours, or both."),
        ({"fixed_months": 3}, "Give the first fixed date"),
        ({"fixed_from": TODAY, "interval_days": 30}, "Give the months between two fixed dates"),
        ({"fixed_months": 3, "fixed_from": TODAY, "interval_days": 30}, "Give intervals or fixed dates, not both."),
        ({"fixed_months": 3, "fixed_from": TODAY, "duty_pct": 50}, "Fixed dates are not shortened"),
        ({"interval_days": 30, "season_from": 11, "season_pct": 50}, "Give the first month, the last month"),
        ({"interval_days": 30, "long_day_pct": 50}, "Give the hours a day and the percentage"),
        ({"interval_days": 30, "duty_pct": 5}, "give 10 % or more"),
    ],
)
def test_what_contradicts_itself_is_refused(alder, pat, device, given, words):
    with pytest.raises(Refused, match=words):
        create_check_plan(
            plant=alder,
            by=pat,
            check_kind=make.check_kind(),
            device_model=device.device.device_model,
            **given,
        )


# --- shortened intervals ----------------------------------------------------------------------------------------------


def test_wet_duty_makes_it_due_twice_as_often_and_the_task_says_so(alder, pat, device):
    wet = make.conveyor(alder, tag="A-2", duty=Conveyor.Duty.WET_ABRASIVE)
    make.installation(wet, "2", installed_at=device.installed_at)
    create_check_plan(
        plant=alder,
        by=pat,
        check_kind=make.check_kind(),
        device_model=device.device.device_model,
        interval_days=180,
        duty_pct=50,
    )
    due = {task.installation.conveyor.tag: task for task in Task.objects.open()}
    # Both fitted on 5 January.
    assert due["A-1"].due_on == dt.date(2026, 7, 4)
    assert due["A-2"].due_on == dt.date(2026, 4, 5)
    assert due["A-2"].why == "180 days after 5 Jan 2026, shortened to 50% by wet or abrasive duty"
    assert "shortened" not in due["A-1"].why


def test_a_season_over_the_turn_of_the_year(alder, pat, device):
    plan = create_check_plan(
        plant=alder,
        by=pat,
        check_kind=make.check_kind(),
        device_model=device.device.device_model,
        interval_days=120,
        season_from=11,
        season_to=2,
        season_pct=50,
    )
    assert plan.season_months == {11, 12, 1, 2}
    # 26 days of January and 28 of February count double: 108 of 120, and 12 days of March are left.
    # The plan was written after that day and asks for nothing before it.
    assert the_task().due_on == TODAY
    assert forecast(plan, device.conveyor, last_done_on=dt.date(2026, 1, 5), today=TODAY, hours=None).due_on == dt.date(
        2026, 3, 12
    )


def test_a_copy_to_look_at_saves_nothing(monthly):
    other = plan_with(monthly, fixed_months=None, fixed_from=None, fixed_on="", interval_days=30)
    assert (other.fixed_since, monthly.fixed_months) == (None, 1)
    monthly.refresh_from_db()
    assert monthly.interval_days is None
