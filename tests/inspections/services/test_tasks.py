"""Tasks made by night, late, put off, withdrawn."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
import time_machine
from django.utils import timezone

from inspections.models import CheckPlan, Deferral, OverdueSpell, Task
from inspections.selectors import wanted_tasks
from inspections.services import lateness
from inspections.services.check_plans import (
    change_check_kind,
    create_check_kind,
    create_check_plan,
    resume_check_plan,
    suspend_check_plan,
)
from inspections.services.lateness import note_overdue
from inspections.services.tasks import (
    ask_for_task,
    plan_next,
    plan_tasks,
    planned_together,
    put_off_task,
    withdraw_task,
)
from inspections.services.visits import StopReport, close_out_visit
from inspections.words.due_dates import undated_words
from installs.models import DeviceModel
from installs.services.out_of_service import back_in_service, take_out_of_service
from installs.services.part_changes import correct_part_change, record_part_change
from installs.signals import device_installed, device_removed
from plant.errors import ChangedMeanwhile, Refused
from plant.models import Notice, OutageWindow, Plant
from tests import make

UTC = dt.UTC
NOON = dt.datetime(2026, 3, 2, 12, tzinfo=UTC)  # a Monday
TODAY = dt.date(2026, 3, 2)
LONG_AGO = dt.datetime(2025, 1, 1, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def device_1(belt_a1):
    return make.installation(belt_a1, "1", installed_at=dt.datetime(2026, 1, 5, 8, tzinfo=UTC))


@pytest.fixture
def wear_plan(device_1):
    return make.check_plan(device_1.device.device_model, make.check_kind(), created_at=LONG_AGO)


def ran(belt, first: dt.date, n_days: int, hours: float) -> None:
    """Hours of each day of Berlin's winter."""
    start = dt.datetime(first.year, first.month, first.day, tzinfo=UTC) - dt.timedelta(hours=1)
    for n in range(n_days):
        make.run_record(belt, start + dt.timedelta(days=n), start + dt.timedelta(days=n + 1), hours)


def rows():
    return list(Task.objects.order_by("pk").values_list("check_kind__code", "origin", "due_on", "closes_on", "outcome"))


# --- making -----------------------------------------------------------------------------------------------------------
def test_first_task_counts_from_the_installation(alder, wear_plan, device_1):
    plan_tasks(alder, TODAY)
    task = Task.objects.get()
    assert (task.due_on, task.opens_on, task.closes_on) == (
        dt.date(2026, 4, 5),
        dt.date(2026, 3, 29),
        dt.date(2026, 4, 12),
    )
    assert task.why == "90 days after 5 Jan 2026"
    assert task.history.get().history_change_reason == "planned by night"


def test_two_runs_leave_the_same_rows(alder, wear_plan, device_1):
    first = plan_tasks(alder, TODAY)
    before = list(Task.objects.values())
    second = plan_tasks(alder, TODAY)
    assert (first.made, second.made, second.moved, second.withdrawn) == (1, 0, 0, 0)
    assert list(Task.objects.values()) == before
    assert Task.history.count() == 1


def test_next_task_counts_from_the_day_it_was_done_by_the_plants_clock(alder, wear_plan, device_1):
    done = make.task(device_1, make.check_kind(), dt.date(2026, 2, 1))
    # 23:30 UTC is the next day in Berlin.
    Task.objects.filter(pk=done.pk).update(
        closed_at=dt.datetime(2026, 2, 3, 23, 30, tzinfo=UTC), outcome=Task.Outcome.DONE, grade="sound"
    )
    plan_tasks(alder, TODAY)
    assert Task.objects.open().get().due_on == dt.date(2026, 2, 4) + dt.timedelta(days=90)


def test_due_by_hours_comes_before_days(alder, belt_a1, wear_plan, device_1):
    wear_plan.interval_h = 1000
    wear_plan.save()
    ran(belt_a1, dt.date(2026, 1, 6), 55, 16.0)  # 6 January to 1 March: 880 h
    plan_tasks(alder, TODAY)
    task = Task.objects.get()
    # 120 h are missing at 16 h a day: 7.5 days after 1 March.
    assert task.due_on == dt.date(2026, 3, 9)
    assert task.why == "1000 h after 5 Jan 2026 at 16.0 h a day"


def test_days_of_a_known_outage_count_no_hours(alder, belt_a1, wear_plan, device_1):
    wear_plan.interval_h = 1000
    wear_plan.save()
    ran(belt_a1, dt.date(2026, 1, 6), 55, 16.0)
    OutageWindow.objects.create(  # 3 to 5 March are whole days; the evening before and the morning after are not
        conveyor=belt_a1,
        starts_at=dt.datetime(2026, 3, 2, 18, tzinfo=UTC),
        ends_at=dt.datetime(2026, 3, 6, 5, tzinfo=UTC),
    )
    plan_tasks(alder, TODAY)
    assert Task.objects.get().due_on == dt.date(2026, 3, 12)


def test_unknown_days_count_at_the_recent_hours(alder, belt_a1, wear_plan, device_1):
    wear_plan.interval_h = 1000
    wear_plan.save()
    ran(belt_a1, dt.date(2026, 1, 6), 20, 16.0)  # then nothing was recorded for five days
    ran(belt_a1, dt.date(2026, 1, 31), 30, 16.0)
    plan_tasks(alder, TODAY)
    task = Task.objects.get()
    assert task.due_on == dt.date(2026, 3, 9)
    assert "5 days of unknown hours estimated" in task.why


def test_open_task_moves_with_the_forecast_but_not_into_the_past(alder, belt_a1, wear_plan, device_1):
    wear_plan.interval_h = 1000
    wear_plan.save()
    plan_tasks(alder, TODAY)
    assert Task.objects.get().due_on == dt.date(2026, 4, 5)  # hours unknown: by days
    ran(belt_a1, dt.date(2026, 1, 6), 55, 24.0)  # 1000 h were reached on 16 February
    result = plan_tasks(alder, TODAY)
    task = Task.objects.get()
    assert (result.made, result.moved) == (0, 1)
    assert (task.due_on, task.version) == (TODAY, 2)
    assert task.history.count() == 2


def test_late_task_stays_late_when_the_forecast_moves(alder, wear_plan, device_1):
    late = make.task(device_1, make.check_kind(), dt.date(2026, 2, 1), check_plan=wear_plan)
    plan_tasks(alder, TODAY)
    late.refresh_from_db()
    assert late.due_on == dt.date(2026, 2, 1)


def test_a_night_that_was_missed_makes_the_task_that_is_late(alder, wear_plan, device_1):
    plan_tasks(alder, dt.date(2026, 5, 20))
    task = Task.objects.get()
    assert task.due_on == dt.date(2026, 4, 5)
    assert task.days_late(dt.date(2026, 5, 20)) == 38


def test_new_plan_makes_nothing_late(alder, pat, device_1):
    kind = make.check_kind("pivot-freedom")
    create_check_plan(plant=alder, by=pat, check_kind=kind, device_model=device_1.device.device_model, interval_days=30)
    task = Task.objects.get()
    assert (task.due_on, task.closes_on) == (TODAY, TODAY + dt.timedelta(days=7))
    assert "asked for since 2 Mar 2026" in task.why


def test_many_acts_in_one_go_are_planned_by_who_opened_them(alder, pat, device_1):
    known = {"plant": alder, "by": pat, "device_model": device_1.device.device_model, "interval_days": 90}
    with planned_together():
        create_check_plan(check_kind=make.check_kind("sensor-wear"), **known)
        assert plan_next(device_1).made == 0
    assert not Task.objects.exists()
    # The next act plans for itself again, and what was left for later comes with it.
    create_check_plan(check_kind=make.check_kind("pivot-freedom"), **known)
    assert set(Task.objects.values_list("check_kind__code", flat=True)) == {"sensor-wear", "pivot-freedom"}


def test_plan_of_the_installation_stands_instead_of_the_models(alder, pat, wear_plan, device_1, belt_a1):
    second = make.installation(belt_a1, "2", chainage_m=150.0)
    create_check_plan(plant=alder, by=pat, check_kind=wear_plan.check_kind, installation=device_1, interval_days=100)
    plan_tasks(alder, TODAY)
    assert {task.installation_id: task.due_on for task in Task.objects.all()} == {
        device_1.pk: dt.date(2026, 4, 15),
        second.pk: dt.date(2026, 4, 5),
    }


def test_no_day_can_be_told_without_hours(alder, device_1):
    make.check_plan(
        device_1.device.device_model, make.check_kind(), interval_days=None, interval_h=500, created_at=LONG_AGO
    )
    result = plan_tasks(alder, TODAY)
    assert Task.objects.count() == 0
    assert [undated_words(each) for each in result.undated] == [
        "A-1 device 1: Sensor wear, cannot be dated: the belt's daily running hours are unknown, "
        "and there is no interval in days"
    ]


# --- bedding-in, removal ----------------------------------------------------------------------------------------------
def test_bedding_in_follows_an_installation_once(alder, wear_plan, belt_a1):
    wear_plan.bedding_in_days = 3
    wear_plan.save()
    fresh = make.installation(belt_a1, "7", chainage_m=60.0, installed_at=NOON)
    device_installed.send(sender=type(fresh), installation=fresh)
    device_installed.send(sender=type(fresh), installation=fresh)
    tasks = Task.objects.filter(installation=fresh).order_by("due_on")
    assert [(task.origin, task.due_on) for task in tasks] == [
        ("bedding_in", dt.date(2026, 3, 5)),
        ("plan", dt.date(2026, 5, 31)),
    ]
    # Done, it is not asked for again; the next one by plan counts from that day.
    tasks.filter(origin="bedding_in").update(closed_at=NOON + dt.timedelta(days=2), outcome="done")
    plan_tasks(alder, dt.date(2026, 3, 5))
    assert [(task.origin, task.due_on) for task in Task.objects.filter(installation=fresh).open()] == [
        ("plan", dt.date(2026, 6, 2))
    ]


def test_bedding_in_is_not_asked_for_once_the_check_was_done_by_another_task(alder, wear_plan, device_1):
    bedding = make.task(device_1, make.check_kind(), dt.date(2026, 1, 8), origin="bedding_in", check_plan=wear_plan)
    by_hand = make.task(device_1, make.check_kind(), dt.date(2026, 2, 1), origin="by_hand")
    Task.objects.filter(pk=by_hand.pk).update(closed_at=NOON, outcome="done")
    assert plan_tasks(alder, TODAY).withdrawn == 1
    bedding.refresh_from_db()
    assert (bedding.outcome, bedding.closing_reason) == ("withdrawn", "the same check was done meanwhile")
    assert OverdueSpell.objects.get().began_at == dt.datetime(2026, 1, 15, 23, tzinfo=UTC)


def test_a_check_that_is_closed_while_the_night_runs_is_not_asked_for_from_the_old_day(
    alder, wear_plan, device_1, monkeypatch
):
    plan_tasks(alder, TODAY)
    look = wanted_tasks.hours_needed

    def close_meanwhile(*args):
        Task.objects.open().update(closed_at=NOON, outcome="done")
        return look(*args)

    with monkeypatch.context() as patch:
        patch.setattr(wanted_tasks, "hours_needed", close_meanwhile)
        assert plan_tasks(alder, TODAY).made == 0
    plan_tasks(alder, TODAY)
    assert Task.objects.open().get().due_on == TODAY + dt.timedelta(days=90)


def test_a_plan_that_is_younger_than_the_bedding_in_asks_for_none(alder, device_1):
    make.check_plan(device_1.device.device_model, make.check_kind(), bedding_in_days=3)
    plan_tasks(alder, TODAY)
    assert [task.origin for task in Task.objects.all()] == ["plan"]


def test_removal_withdraws_open_tasks_with_the_reason(alder, wear_plan, device_1):
    plan_tasks(alder, TODAY)
    device_1.removed_at, device_1.removal_reason = NOON, "belt rebuilt"
    device_1.save()
    device_removed.send(sender=type(device_1), installation=device_1)
    task = Task.objects.get()
    assert (task.outcome, task.closing_reason, task.closed_by) == ("withdrawn", "device removed: belt rebuilt", None)
    assert plan_tasks(alder, TODAY).made == 0


def test_a_belt_out_of_use_asks_for_nothing(alder, belt_a1, wear_plan, device_1):
    plan_tasks(alder, TODAY)
    belt_a1.retired_on = TODAY
    belt_a1.save()
    done = plan_tasks(alder, TODAY)
    assert (done.made, done.withdrawn) == (0, 1)
    assert Task.objects.get().closing_reason == "the belt was taken out of use"
    assert plan_tasks(alder, TODAY).withdrawn == 0


def test_a_check_that_is_no_longer_used_is_withdrawn_and_asked_for_no_more(alder, pat, device_1):
    kind = create_check_kind(plant=alder, by=pat, name="Scraper gap")
    make.check_plan(device_1.device.device_model, kind)
    plan_tasks(alder, TODAY)
    change_check_kind(kind=kind, by=pat, version=1, retired_on=TODAY)
    assert [task.outcome for task in Task.objects.all()] == ["withdrawn"]
    assert plan_tasks(alder, TODAY).made == 0


# --- suspended --------------------------------------------------------------------------------------------------------
def test_suspended_plan_asks_for_nothing_and_resumes_without_lateness(alder, pat, wear_plan, device_1):
    plan_tasks(alder, TODAY)
    suspend_check_plan(plan=wear_plan, by=pat, version=1, reason="belt stands until summer")
    assert [task.outcome for task in Task.objects.all()] == ["withdrawn"]
    assert plan_tasks(alder, TODAY).made == 0
    with time_machine.travel(dt.datetime(2026, 7, 1, 9, tzinfo=UTC), tick=False):
        resume_check_plan(plan=wear_plan, by=pat, version=2)
        task = Task.objects.open().get()
        assert task.due_on == dt.date(2026, 7, 1)
        plan_tasks(alder, dt.date(2026, 7, 2))
        assert Task.objects.open().get().due_on == dt.date(2026, 7, 1)


def test_suspending_needs_a_reason(pat, wear_plan):
    with pytest.raises(Refused, match="Say why it is suspended"):
        suspend_check_plan(plan=wear_plan, by=pat, version=1, reason=" ")


# --- late -------------------------------------------------------------------------------------------------------------
def berlin_task(device, closes_on: dt.date) -> Task:
    return make.task(device, make.check_kind(), closes_on, closes_on=closes_on)


@pytest.mark.parametrize(
    ("closes_on", "began_at"),
    [
        # Europe/Berlin (tz database): clocks go forward on 29 March 2026 at 01:00 UTC and back on 25 October 2026.
        (dt.date(2026, 3, 27), dt.datetime(2026, 3, 27, 23, tzinfo=UTC)),
        (dt.date(2026, 3, 28), dt.datetime(2026, 3, 28, 23, tzinfo=UTC)),
        (dt.date(2026, 3, 29), dt.datetime(2026, 3, 29, 22, tzinfo=UTC)),
        (dt.date(2026, 10, 24), dt.datetime(2026, 10, 24, 22, tzinfo=UTC)),
        (dt.date(2026, 10, 25), dt.datetime(2026, 10, 25, 23, tzinfo=UTC)),
    ],
)
def test_late_begins_at_midnight_of_the_plant_however_late_the_job_runs(alder, device_1, closes_on, began_at):
    task = berlin_task(device_1, closes_on)
    assert note_overdue(alder, began_at - dt.timedelta(seconds=1))["noted"] == 0
    assert note_overdue(alder, began_at + dt.timedelta(days=5))["noted"] == 1
    assert note_overdue(alder, began_at + dt.timedelta(days=6))["noted"] == 0
    assert OverdueSpell.objects.get(task=task).began_at == began_at


def test_technicians_and_planners_are_told_once(alder, tess, pat, erin, otto, device_1):
    berlin_task(device_1, dt.date(2026, 3, 1))
    for _n in range(2):
        note_overdue(alder, NOON)
    assert sorted(Notice.objects.values_list("person__username", "text")) == [
        ("pat", "A-1 device 1: Sensor wear is late, its window closed 1 Mar 2026."),
        ("tess", "A-1 device 1: Sensor wear is late, its window closed 1 Mar 2026."),
    ]
    # A run that died after the notices and before the mark tells nobody twice either.
    OverdueSpell.objects.update(notified_at=None)
    note_overdue(alder, NOON)
    assert Notice.objects.count() == 2


def test_planner_is_told_again_after_the_plants_number_of_days(alder, tess, pat, device_1):
    berlin_task(device_1, dt.date(2026, 3, 1))
    note_overdue(alder, NOON)
    Notice.objects.all().delete()
    assert note_overdue(alder, NOON + dt.timedelta(days=5))["escalated"] == 0
    assert note_overdue(alder, NOON + dt.timedelta(days=6))["escalated"] == 1
    assert note_overdue(alder, NOON + dt.timedelta(days=7))["escalated"] == 0
    notice = Notice.objects.get()
    assert notice.person == pat
    assert notice.text.startswith("A-1 device 1: Sensor wear is 7 days late.")


def test_many_that_become_late_in_one_night_are_told_in_one_sentence(alder, belt_a1, tess, pat, device_1):
    model = device_1.device.device_model
    for n in range(11):
        device = make.installation(belt_a1, f"x{n}", chainage_m=20.0 + n, device=make.device(alder, f"x{n}", model))
        berlin_task(device, dt.date(2026, 3, 1))
    for _n in range(2):
        note_overdue(alder, NOON)
    assert sorted(Notice.objects.values_list("person__username", "text", "url")) == [
        ("pat", "11 more checks are late.", "/checks/?state=late"),
        ("tess", "11 more checks are late.", "/checks/?state=late"),
    ]


def test_a_single_notice_never_hides_the_sentence_about_many(alder, belt_a1, tess, device_1):
    spells = [berlin_task(device_1, dt.date(2026, 3, 1))]
    Task.objects.filter(pk=spells[0].pk).update(closes_on=dt.date(2026, 3, 1))
    note_overdue(alder, NOON)
    alone = Notice.objects.get(person=tess)
    # A plant may have the number of a task, and a night be the one on which that task became late.
    began_on = alone.key.rpartition(":")[2]
    many = list(OverdueSpell.objects.all()) * (lateness.MOST_SINGLE_NOTICES + 1)
    alder.pk = spells[0].pk
    assert Plant.objects.filter(pk=alder.pk).exists() or Plant.objects.create(pk=alder.pk, name="Third Works")
    told = {"key": "late", "words": str, "summary": "11 more checks are late."}
    lateness.tell(alder, [tess.pk], many, today=dt.date.fromisoformat(began_on), **told)
    assert sorted(Notice.objects.filter(person=tess).values_list("text", flat=True)) == sorted(
        [alone.text, "11 more checks are late."]
    )


def test_spell_of_a_check_that_was_closed_between_two_nights_is_told(alder, device_1):
    task = berlin_task(device_1, dt.date(2026, 2, 25))
    closed_at = dt.datetime(2026, 2, 28, 9, tzinfo=UTC)
    Task.objects.filter(pk=task.pk).update(closed_at=closed_at, outcome="done")
    for _n in range(2):
        note_overdue(alder, NOON)
    spell = OverdueSpell.objects.get()
    assert (spell.began_at, spell.ended_at) == (dt.datetime(2026, 2, 25, 23, tzinfo=UTC), closed_at)
    assert Notice.objects.count() == 0


def test_spell_ends_when_the_check_is_closed(alder, device_1):
    task = berlin_task(device_1, dt.date(2026, 2, 25))
    note_overdue(alder, NOON - dt.timedelta(days=1))
    Task.objects.filter(pk=task.pk).update(closed_at=NOON, outcome="done")
    note_overdue(alder, NOON + dt.timedelta(hours=14))
    assert OverdueSpell.objects.get().ended_at == NOON


# --- put off, withdrawn, asked for ------------------------------------------------------------------------------------
def test_put_off_is_counted_and_ends_the_spell(alder, pat, device_1):
    task = berlin_task(device_1, dt.date(2026, 2, 25))
    note_overdue(alder, NOON)
    key = uuid.uuid4()
    for _n in range(2):
        task.refresh_from_db()
        put_off_task(task=task, by=pat, closes_on=dt.date(2026, 3, 20), reason="no wrench in date", client_key=key)
    task.refresh_from_db()
    deferral = Deferral.objects.get()
    assert task.closes_on == dt.date(2026, 3, 20)
    assert (deferral.closes_on_before, deferral.reason, deferral.approved_by) == (
        dt.date(2026, 2, 25),
        "no wrench in date",
        pat,
    )
    assert OverdueSpell.objects.get().ended_at == NOON
    note_overdue(alder, dt.datetime(2026, 3, 21, 12, tzinfo=UTC))
    assert [spell.began_at for spell in OverdueSpell.objects.order_by("began_at")] == [
        dt.datetime(2026, 2, 25, 23, tzinfo=UTC),
        dt.datetime(2026, 3, 20, 23, tzinfo=UTC),
    ]


def test_a_check_is_put_off_at_the_moment_that_it_was_agreed(pat, device_1):
    """A month that was over by then holds the window against which it was late."""
    task = berlin_task(device_1, dt.date(2026, 2, 25))
    agreed = NOON - dt.timedelta(days=3)
    put_off_task(task=task, by=pat, closes_on=dt.date(2026, 3, 20), reason="no wrench in date", now=agreed)
    assert Deferral.objects.get().created_at == agreed


def test_late_spell_is_told_even_where_no_night_noted_it_before_it_was_put_off(pat, device_1):
    put_off_task(
        task=berlin_task(device_1, dt.date(2026, 2, 25)), by=pat, closes_on=dt.date(2026, 3, 20), reason="no window"
    )
    spell = OverdueSpell.objects.get()
    assert (spell.began_at, spell.ended_at) == (dt.datetime(2026, 2, 25, 23, tzinfo=UTC), NOON)


@pytest.mark.parametrize(
    ("closes_on", "reason", "words"),
    [
        (dt.date(2026, 3, 20), " ", "Say why it is put off"),
        (dt.date(2026, 2, 25), "x", "give 2 Mar 2026 or later"),
        (dt.date(2026, 3, 1), "x", "give 2 Mar 2026 or later"),
        (dt.date(2027, 3, 20), "x", "more than a year ahead"),
    ],
)
def test_put_off_is_refused(pat, device_1, closes_on, reason, words):
    task = berlin_task(device_1, dt.date(2026, 2, 25))
    with pytest.raises(Refused, match=words):
        put_off_task(task=task, by=pat, closes_on=closes_on, reason=reason)
    assert Deferral.objects.count() == 0


def test_put_off_task_is_left_alone_by_the_night(alder, pat, wear_plan, device_1):
    plan_tasks(alder, TODAY)
    task = Task.objects.get()
    put_off_task(task=task, by=pat, closes_on=dt.date(2026, 5, 30), reason="no window")
    wear_plan.interval_days = 60
    wear_plan.save()
    plan_tasks(alder, TODAY)
    task.refresh_from_db()
    assert (task.due_on, task.closes_on) == (dt.date(2026, 4, 5), dt.date(2026, 5, 30))


def test_of_two_people_who_act_at_once_the_second_is_told(pat, erin, device_1):
    task = berlin_task(device_1, dt.date(2026, 2, 25))
    same = Task.objects.get(pk=task.pk)
    put_off_task(task=task, by=pat, closes_on=dt.date(2026, 3, 20), reason="no window")
    with pytest.raises(ChangedMeanwhile):
        withdraw_task(task=same, by=erin, reason="not needed")


def test_withdrawn_by_a_person_the_next_counts_from_that_day(alder, pat, wear_plan, device_1):
    plan_tasks(alder, TODAY)
    withdraw_task(task=Task.objects.get(), by=pat, reason="rollers are replaced this week")
    plan_tasks(alder, TODAY)
    task = Task.objects.open().get()
    assert task.due_on == TODAY + dt.timedelta(days=90)
    with pytest.raises(Refused, match="closed already"):
        withdraw_task(task=Task.objects.get(outcome="withdrawn"), by=pat, reason="again")


def test_asked_for_by_hand_once(pat, device_1):
    key = uuid.uuid4()
    given = {"installation": device_1, "check_kind": make.check_kind(), "by": pat, "due_on": dt.date(2026, 3, 5)}
    first = ask_for_task(**given, client_key=key)
    assert ask_for_task(**given, client_key=key) == first
    assert (first.origin, first.opens_on, first.closes_on) == ("by_hand", TODAY, dt.date(2026, 3, 12))
    with pytest.raises(Refused, match="asked for here already and is due 5 Mar 2026"):
        ask_for_task(**given)
    with pytest.raises(Refused, match="has passed"):
        ask_for_task(**{**given, "due_on": dt.date(2026, 3, 1)})


def test_number_of_queries_does_not_grow_with_the_plant(
    alder, belt_a1, wear_plan, device_1, django_assert_max_num_queries
):
    wear_plan.interval_h = 800
    wear_plan.save()
    model = DeviceModel.objects.get()
    for n in range(2, 12):
        make.installation(belt_a1, str(n), chainage_m=100.0 + n, device=make.device(alder, str(n), model))
    with django_assert_max_num_queries(34):
        plan_tasks(alder, TODAY)
    assert Task.objects.count() == 11
    assert timezone.now() == NOON


def test_close_out_makes_the_next_task_at_once(alder, tess, wear_plan, device_1, django_capture_on_commit_callbacks):
    plan_tasks(alder, TODAY)
    task = Task.objects.get()
    with django_capture_on_commit_callbacks(execute=True):
        close_out_visit(
            StopReport(
                installation=device_1,
                by=tess,
                visited_at=NOON,
                lockout_confirmed=True,
                entries={task.pk: {name: {"as_found": 75.0} for name in ("drive_diameter", "off_diameter")}},
            )
        )
    assert Task.objects.open().get().due_on == TODAY + dt.timedelta(days=90)


def test_a_plan_is_for_devices_and_checks_of_its_own_plant(alder, other, pat, device_1, belt_z9):
    model = device_1.device.device_model
    theirs = create_check_kind(plant=other, by=None, name="Theirs")
    for given, words in (
        ({"check_kind": theirs, "device_model": model}, "check belongs to another plant"),
        (
            {"check_kind": make.check_kind(), "device_model": make.device_model(other)},
            "device belongs to another plant",
        ),
        ({"check_kind": make.check_kind(), "installation": make.installation(belt_z9)}, "belongs to another plant"),
        ({"check_kind": make.check_kind()}, "one of the two"),
        ({"check_kind": make.check_kind(), "device_model": model, "installation": device_1}, "one of the two"),
        ({"check_kind": make.check_kind(), "device_model": model, "interval_days": 0}, "greater than or equal to 1"),
    ):
        with pytest.raises(Refused, match=words):
            create_check_plan(**{"plant": alder, "by": pat, "interval_days": 30, **given})
    assert CheckPlan.objects.count() == 0


# --- part changes -----------------------------------------------------------------------------------------------------
def changed(at, when, by, **values):
    known = {"part": "sensor_rollers", "why": "worn", "changed_at": when}
    return record_part_change(installation=at, by=by, **{**known, **values})


def done(at, on, origin="plan"):
    moment = dt.datetime(on.year, on.month, on.day, 9, tzinfo=UTC)
    return make.task(at, make.check_kind(), on, origin=origin, closed_at=moment, outcome="done")


def test_a_part_change_asks_for_bedding_in_anew_once(
    alder, wear_plan, device_1, tess, django_capture_on_commit_callbacks
):
    CheckPlan.objects.update(bedding_in_days=3)
    done(device_1, dt.date(2026, 1, 8), "bedding_in")
    done(device_1, dt.date(2026, 3, 1))  # found worn: not the check after the change
    with django_capture_on_commit_callbacks(execute=True):
        changed(device_1, dt.datetime(2026, 3, 1, 10, tzinfo=UTC), tess)
    task = Task.objects.open().get(origin="bedding_in")
    assert task.due_on == dt.date(2026, 3, 4)
    with time_machine.travel(NOON + dt.timedelta(days=2), tick=False):
        Task.objects.filter(pk=task.pk).update(closed_at=timezone.now(), outcome="done")
        for _night in range(2):
            plan_tasks(alder, dt.date(2026, 3, 4))
    assert not Task.objects.open().filter(origin="bedding_in").exists()


def test_the_check_done_after_the_change_settles_its_bedding_in(alder, wear_plan, device_1, tess):
    CheckPlan.objects.update(bedding_in_days=3)
    done(device_1, dt.date(2026, 1, 20))
    changed(device_1, dt.datetime(2026, 1, 15, 10, tzinfo=UTC), tess)
    plan_tasks(alder, TODAY)
    assert not Task.objects.filter(origin="bedding_in").exists()


def test_a_change_written_late_is_not_late_at_once(alder, wear_plan, device_1, tess):
    CheckPlan.objects.update(bedding_in_days=3)
    done(device_1, dt.date(2026, 1, 8), "bedding_in")
    changed(device_1, dt.datetime(2026, 1, 20, 10, tzinfo=UTC), tess)
    plan_tasks(alder, TODAY)
    task = Task.objects.open().get(origin="bedding_in")
    assert task.due_on == TODAY
    assert not task.days_late(TODAY)


def test_a_withdrawn_change_takes_its_bedding_in_along(alder, wear_plan, device_1, tess):
    CheckPlan.objects.update(bedding_in_days=3)
    done(device_1, dt.date(2026, 1, 8), "bedding_in")
    row = changed(device_1, dt.datetime(2026, 3, 1, 10, tzinfo=UTC), tess)
    plan_tasks(alder, TODAY)
    correct_part_change(row, by=tess, reason="at another device", withdraw=True)
    plan_tasks(alder, TODAY)
    assert not Task.objects.open().filter(origin="bedding_in").exists()


# --- out of service ---------------------------------------------------------------------------------------------------
def test_checks_rest_while_a_device_is_out_of_service(
    alder, wear_plan, device_1, tess, django_capture_on_commit_callbacks
):
    CheckPlan.objects.update(bedding_in_days=3)
    late = make.task(device_1, make.check_kind(), dt.date(2026, 2, 1), check_plan=wear_plan)
    note_overdue(alder, NOON)
    assert OverdueSpell.objects.get().ended_at is None
    asked = make.task(
        device_1, make.check_kind("fastener-torque"), TODAY, origin="by_hand", created_at=NOON - dt.timedelta(days=1)
    )
    with django_capture_on_commit_callbacks(execute=True):
        spell = take_out_of_service(installation=device_1, begins_at=NOON, reason="pivot seized", by=tess)
    late.refresh_from_db()
    asked.refresh_from_db()
    assert (late.outcome, late.closing_reason) == ("withdrawn", "out of service: pivot seized")
    assert asked.outcome == "withdrawn"
    assert OverdueSpell.objects.get().ended_at is not None
    plan_tasks(alder, TODAY + dt.timedelta(days=60))
    assert not Task.objects.open().exists()

    by_hand = ask_for_task(installation=device_1, check_kind=make.check_kind("fastener-torque"), by=tess, due_on=TODAY)
    plan_tasks(alder, TODAY)
    by_hand.refresh_from_db()
    assert by_hand.closed_at is None

    with time_machine.travel(NOON + dt.timedelta(days=70), tick=False):
        with django_capture_on_commit_callbacks(execute=True):
            back_in_service(spell, by=tess, version=1, ends_at=timezone.now())
        open_ones = dict(Task.objects.open().filter(check_kind=make.check_kind()).values_list("origin", "due_on"))
    day_back = TODAY + dt.timedelta(days=70)
    assert open_ones == {"plan": day_back, "bedding_in": day_back + dt.timedelta(days=3)}


def test_a_check_that_was_not_yet_due_keeps_its_day(alder, wear_plan, device_1, tess):
    plan_tasks(alder, TODAY)
    due_on = Task.objects.open().get().due_on
    with time_machine.travel(NOON + dt.timedelta(hours=1), tick=False):
        spell = take_out_of_service(installation=device_1, begins_at=NOON, reason="strap", by=tess)
        plan_tasks(alder, TODAY)
        assert not Task.objects.open().exists()
        back_in_service(spell, by=tess, version=1, ends_at=timezone.now())
    plan_tasks(alder, TODAY)
    assert Task.objects.open().get().due_on == due_on
