"""Belt offset measured again after 1, 3 and 6 months, one task at a time, into the belt's own rows."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
import time_machine
from django.utils import timezone

from inspections.models import Task
from inspections.selectors.follow_ups import months_after, next_follow_up
from inspections.selectors.readings_wanted import readings_wanted
from inspections.services.tasks import plan_next, plan_tasks
from inspections.services.visits import StopReport, close_out_visit, correct_visit
from inspections.words.grading import because_words
from installs.models import BeltOffset
from installs.services.belt_offsets import set_offset
from plant.calc.units import UnitSystem
from tests import make

pytestmark = pytest.mark.django_db
UTC = dt.UTC
INSTALLED = dt.datetime(2026, 1, 31, 8, tzinfo=UTC)


@pytest.fixture
def place(belt_a1, tess):
    at = make.installation(belt_a1, "1", installed_at=INSTALLED)
    for station in (60.0, 90.0):
        for is_loaded in (False, True):
            set_offset(
                root=uuid.UUID(int=7), conveyor=belt_a1, strand="return", chainage_m=station, is_loaded=is_loaded,
                offset_mm=50.0, taken_at=INSTALLED - dt.timedelta(days=9), occasion="survey", by=tess, installation=at,
            )  # fmt: skip
    return at


def planned(place, day):
    with time_machine.travel(dt.datetime(day.year, day.month, day.day, 12, tzinfo=UTC), tick=False):
        plan_next(place)
    return list(Task.objects.open().filter(origin="follow_up"))


def closed(task, by, day, **offsets):
    moment = dt.datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    with time_machine.travel(moment, tick=False):
        return close_out_visit(
            StopReport(
                installation=task.installation,
                by=by,
                visited_at=timezone.now(),
                entries={task.pk: {code: {"as_found": value} for code, value in offsets.items()}},
                no_action_reason="watched",
            )
        )


def test_months_end_on_the_last_day_of_a_short_month():
    days = [months_after(dt.date(2026, 1, 31), months) for months in (1, 3, 6, 12)]
    assert days == [dt.date(2026, 2, 28), dt.date(2026, 4, 30), dt.date(2026, 7, 31), dt.date(2027, 1, 31)]


@pytest.mark.parametrize(
    ("today", "last_due", "months"),
    [
        (dt.date(2026, 2, 1), None, 1),
        (dt.date(2026, 3, 10), None, 1),  # the last day of its window
        (dt.date(2026, 3, 11), None, 3),
        (dt.date(2026, 2, 25), dt.date(2026, 2, 28), 3),
        (dt.date(2026, 2, 25), dt.date(2026, 2, 20), 3),  # the day of the installation was put right
        (dt.date(2026, 5, 1), dt.date(2026, 4, 30), 6),
        (dt.date(2026, 8, 1), dt.date(2026, 7, 31), None),
        (dt.date(2026, 12, 1), None, None),
    ],
)
def test_the_next_follow_up(today, last_due, months):
    found = next_follow_up(dt.date(2026, 1, 31), today, last_due)
    assert (found and found[0]) == months


def test_one_task_is_open_at_a_time_and_the_next_follows_when_it_is_done(place, tess):
    (first,) = planned(place, dt.date(2026, 2, 2))
    assert (first.due_on, first.check_kind.code) == (dt.date(2026, 2, 28), "belt-offset")
    assert not first.check_kind.needs_lockout
    assert planned(place, dt.date(2026, 2, 3)) == [first]
    closed(first, tess, dt.date(2026, 2, 27), at_60_empty=10.0)
    (second,) = planned(place, dt.date(2026, 2, 27))
    assert second.due_on == dt.date(2026, 4, 30)


def test_the_night_makes_what_was_missed(place, alder):
    plan_tasks(alder, dt.date(2026, 4, 1))
    assert Task.objects.get(origin="follow_up").due_on == dt.date(2026, 4, 30)
    plan_tasks(alder, dt.date(2026, 4, 2))
    assert Task.objects.filter(origin="follow_up").count() == 1


def test_without_an_offset_before_there_is_nothing_to_compare(belt_a1, alder):
    make.installation(belt_a1, "2", installed_at=INSTALLED)
    plan_tasks(alder, dt.date(2026, 2, 2))
    assert not Task.objects.filter(origin="follow_up").exists()


def test_an_old_device_is_asked_for_none(place, alder):
    plan_tasks(alder, dt.date(2026, 9, 20))
    assert not Task.objects.filter(origin="follow_up").exists()


def test_the_stations_of_the_survey_are_asked_empty_and_loaded(place):
    (task,) = planned(place, dt.date(2026, 2, 2))
    wanted = readings_wanted(task)
    assert [each.code for each in wanted] == ["at_60_empty", "at_60_loaded", "at_90_empty", "at_90_loaded"]
    assert all(each.is_signed for each in wanted)
    assert [each.limits for each in wanted] == [
        {"at_m": at, "is_loaded": is_loaded, "permitted_mm": 60.0} for at in (60, 90) for is_loaded in (False, True)
    ]


def test_readings_are_graded_and_kept_as_belt_offsets(place, tess):
    (task,) = planned(place, dt.date(2026, 2, 2))
    closed(task, tess, dt.date(2026, 2, 27), at_60_empty=-66.0, at_90_loaded=12.0)
    task.refresh_from_db()
    assert (task.grade, task.outcome) == ("act", "done")
    assert "66 mm towards the off side is 110 % of the permitted 60 mm" in because_words(
        task.grade_because, UnitSystem.METRIC
    )
    rows = BeltOffset.objects.current().filter(occasion="follow_up", installation=place)
    assert set(rows.values_list("chainage_m", "is_loaded", "offset_mm")) == {(60, False, -66), (90, True, 12)}


def test_a_corrected_visit_corrects_the_belt_offsets(place, tess):
    (task,) = planned(place, dt.date(2026, 2, 2))
    visit = closed(task, tess, dt.date(2026, 2, 27), at_60_empty=-66.0, at_90_loaded=12.0)
    for value in (-6.6, -7.0):
        visit = correct_visit(
            visit=visit, by=tess, reason="slipped point", entries={task.pk: {"at_60_empty": {"as_found": value}}}
        )
    rows = BeltOffset.objects.current().filter(occasion="follow_up", installation=place)
    assert list(rows.values_list("chainage_m", "offset_mm")) == [(60, -7.0)]
    assert BeltOffset.objects.filter(occasion="follow_up").count() == 5
    task.refresh_from_db()
    assert task.grade == "sound"
