"""The night's job: once a plant and day, whole after a kill, the same when two run at once."""

from __future__ import annotations

import datetime as dt
import threading

import pytest
import time_machine
from django.db import connection

from inspections.models import CheckKind, OverdueSpell, Task
from inspections.services import nightly, tasks
from inspections.services.nightly import ask_for_nightly, do_night
from inspections.services.tasks import plan_tasks
from plant.models import Job, Notice, Plant
from plant.services.job_kinds import JobHandle, JobLost
from plant.services.jobs import NIGHTLY, do_job, stale_background_words, sweep_jobs, take_job
from tests import make
from tests.servers import GIVE_UP_AFTER_S

UTC = dt.UTC
NIGHT = dt.datetime(2026, 3, 2, 2, 30, tzinfo=UTC)  # 03:30 in Berlin
LONG_AGO = dt.datetime(2025, 1, 1, tzinfo=UTC)


@pytest.fixture
def plan(belt_a1):
    belt_b = make.conveyor(belt_a1.plant, tag="A-2")
    model = make.device_model(belt_a1.plant)
    for n, belt in enumerate((belt_a1, belt_a1, belt_b), start=1):
        make.installation(belt, str(n), chainage_m=100.0 + n)
    return make.check_plan(model, make.check_kind(), created_at=LONG_AGO, interval_days=40)


def facts():
    return {
        "tasks": list(Task.objects.order_by("installation").values_list("installation", "due_on", "version")),
        "spells": list(OverdueSpell.objects.order_by("task").values_list("task", "began_at", "ended_at")),
        "notices": Notice.objects.count(),
        "history": Task.history.count(),
    }


def test_night_is_asked_for_after_two_by_the_plants_clock(alder):
    assert ask_for_nightly(dt.datetime(2026, 3, 2, 0, 59, tzinfo=UTC)) == []  # 01:59 in Berlin
    (job,) = ask_for_nightly(dt.datetime(2026, 3, 2, 1, 0, tzinfo=UTC))
    assert (job.kind, job.key, job.plant) == (NIGHTLY, f"nightly:{alder.pk}:2026-03-02", alder)


def test_night_is_made_once_a_plant_and_day_and_a_missed_one_heals(alder, other):
    for hour in range(2, 24):
        ask_for_nightly(dt.datetime(2026, 3, 2, hour, 5, tzinfo=UTC))
    # 22:05 and 23:05 UTC are 23:05 and 00:05 in Berlin: the next day has begun there, its night has not.
    assert sorted(Job.objects.values_list("key", flat=True)) == sorted(
        [f"nightly:{alder.pk}:2026-03-02", f"nightly:{other.pk}:2026-03-02"]
    )
    ask_for_nightly(dt.datetime(2026, 3, 5, 14, 5, tzinfo=UTC))
    assert Job.objects.filter(key__endswith="2026-03-05").count() == 2


def test_failed_night_is_tried_again_three_times(alder, monkeypatch):
    monkeypatch.setattr(nightly, "plan_tasks", lambda *args: 1 / 0)
    for _n in range(5):
        with time_machine.travel(NIGHT, tick=False):
            do_job(ask_for_nightly(NIGHT)[0].pk)
    assert [job.state for job in Job.objects.all()] == [Job.State.FAILED] * 3


@time_machine.travel(NIGHT, tick=False)
def test_two_runs_leave_the_same_rows(alder, plan, tess, pat):
    (job,) = ask_for_nightly(NIGHT)
    assert do_job(job.pk)
    before = facts()
    assert len(before["tasks"]) == 3
    assert len(before["spells"]) == 3
    assert before["notices"] == 9  # two people told of three, the planner twice
    assert not do_job(job.pk)
    do_night(None, {"plant": alder.pk, "day": "2026-03-02"})
    assert facts() == before
    job.refresh_from_db()
    assert job.state == Job.State.DONE
    assert job.result["made"] == 3


def test_two_at_once_leave_one_task_each(alder, plan, monkeypatch):
    """The other worker writes between this one's look and its own writing."""
    create, raced = tasks.create_tasks, []

    def second(rows):
        if not raced:
            raced.append(True)
            twin = rows[0]
            make.task(twin.installation, twin.check_kind, twin.due_on, check_plan=plan)
        return create(rows)

    monkeypatch.setattr(tasks, "create_tasks", second)
    done = plan_tasks(alder, dt.date(2026, 3, 2))
    assert raced == [True]
    assert done.made == 2
    assert Task.objects.count() == 3


@time_machine.travel(NIGHT, tick=False)
def test_worker_killed_in_the_middle_ends_complete_once(alder, plan, tess, monkeypatch):
    (job,) = ask_for_nightly(NIGHT)
    progress = JobHandle.progress

    def kill(self, done, total, words=""):
        progress(self, done, total, words)
        raise SystemExit  # nothing of the job runs on: no end is written

    with monkeypatch.context() as patch:
        patch.setattr(JobHandle, "progress", kill)
        with pytest.raises(SystemExit):
            do_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.done_units, Task.objects.count()) == (Job.State.RUNNING, 1, 2)
    assert not do_job(job.pk)  # its holder may still be alive

    later = NIGHT + dt.timedelta(minutes=3)
    with time_machine.travel(later, tick=False):
        assert sweep_jobs(now=later) == 1
        assert do_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempts) == (Job.State.DONE, 2)
    assert Task.objects.count() == 3
    assert OverdueSpell.objects.count() == 3
    assert Notice.objects.count() == 3


@time_machine.travel(NIGHT, tick=False)
def test_worker_that_lost_its_job_writes_nothing_more(alder, plan):
    (job,) = ask_for_nightly(NIGHT)
    slow = take_job(job.pk)
    assert take_job(job.pk, now=NIGHT + dt.timedelta(minutes=2)) is not None
    with pytest.raises(JobLost):
        do_night(slow, job.args)
    assert Task.objects.count() == 0


def test_banner_says_since_when_no_night_ended(alder, plan):
    Plant.objects.update(created_at=NIGHT - dt.timedelta(days=2))
    assert "never ran yet" in stale_background_words(now=NIGHT)
    with time_machine.travel(NIGHT, tick=False):
        do_job(ask_for_nightly(NIGHT)[0].pk)
    assert stale_background_words(now=NIGHT + dt.timedelta(hours=25)) == ""
    assert stale_background_words(now=NIGHT + dt.timedelta(hours=27)).startswith(
        "Background jobs last ran 2 Mar 2026, 02:30: since then no new checks, notices or mails."
    )


def test_every_entry_of_the_timetable_is_a_task_that_the_worker_knows():
    from deploy.celery_app import app
    from deploy.timetable import TIMETABLE

    app.loader.import_default_modules()
    assert {entry["task"] for entry in TIMETABLE.values()} <= set(app.tasks)
    assert {"inspections.ask_for_nightly", "inspections.send_digests"} <= {e["task"] for e in TIMETABLE.values()}


@pytest.mark.django_db(transaction=True)
def test_two_workers_on_two_connections_leave_one_task_each():
    if connection.vendor != "postgresql":
        pytest.skip("the test data base of SQLite lives in one connection; the race is played above")

    alder = make.plant(name="Alder Pit", time_zone="Europe/Berlin")
    model = make.device_model(alder)
    for n in range(12):
        belt = make.conveyor(alder, tag=f"A-{n}")
        make.installation(belt, str(n))
    # A test before may have emptied the tables, built-in kinds too.
    kind = CheckKind.objects.get_or_create(plant=None, code="sensor-wear", defaults={"name": "Sensor wear"})[0]
    make.check_plan(model, kind, created_at=LONG_AGO, interval_days=40)
    make.person("pat", alder, "planner")
    barrier = threading.Barrier(2)
    failed = []

    def work():
        try:
            barrier.wait(timeout=GIVE_UP_AFTER_S)
            do_night(None, {"plant": alder.pk, "day": "2026-03-02"})
        except Exception as error:  # shown by the assertion below
            failed.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=work) for _n in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=GIVE_UP_AFTER_S)
    assert failed == []
    assert Task.objects.count() == 12
    assert Task.history.count() == 12
    assert OverdueSpell.objects.count() == 12
    assert Notice.objects.count() == 2  # one sentence for all, and one as they are late for more than a week
