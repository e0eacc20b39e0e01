"""Jobs: a row that one worker takes, that heals when the worker dies, and that says how far it is."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from plant.models import Job
from plant.services import job_kinds, jobs
from plant.services.job_kinds import JobHandle, JobLost, job_kind
from plant.services.jobs import ask_for_job, do_job, stop_job, sweep_jobs, take_job
from tests import make

LONG_AGO = dt.timedelta(hours=1)


@pytest.fixture
def calls(monkeypatch):
    """Kinds of jobs that tests know, and what was called."""
    monkeypatch.setattr(job_kinds, "_functions", dict(job_kinds._functions))
    made = []

    @job_kind("good")
    def good(handle, args):
        made.append(args)
        handle.progress(1, 2, "half")
        return {"n": len(made)}

    @job_kind("bad")
    def bad(handle, args):
        made.append(args)
        raise ValueError("no such belt")

    @job_kind("stopped")
    def stopped(handle, args):
        Job.objects.filter(pk=handle.job_id).update(stop_requested=True)
        handle.progress(1, 2)
        raise AssertionError("it went on")

    return made


def test_a_job_is_done_once_however_often_it_is_nudged(db, calls):
    job = ask_for_job("good", args={"a": 1})
    assert [do_job(job.pk), do_job(job.pk)] == [True, False]
    job.refresh_from_db()
    assert (job.state, job.result, job.words, calls) == ("done", {"n": 1}, "half", [{"a": 1}])


def test_a_key_makes_one_job(db, calls):
    assert ask_for_job("good", key="night").pk == ask_for_job("good", key="night").pk


def test_an_unknown_kind_is_refused_at_once(db):
    with pytest.raises(LookupError, match="No function is registered for jobs of kind 'nonsense'"):
        ask_for_job("nonsense")


def test_a_job_that_fails_says_why_and_blocks_nothing(db, calls):
    job = ask_for_job("bad")
    assert do_job(job.pk)
    job.refresh_from_db()
    assert job.state == "failed"
    assert job.error.startswith("no such belt")


def test_a_job_stops_when_it_is_asked_to(db, calls):
    job = ask_for_job("stopped")
    assert do_job(job.pk)
    job.refresh_from_db()
    assert job.state == "stopped"


def test_a_waiting_job_stops_at_once(db, calls):
    job = ask_for_job("good")
    stop_job(job)
    assert not do_job(job.pk)
    assert calls == []


def test_a_silent_holder_loses_the_job_and_notices(db, calls):
    job = ask_for_job("good")
    dead = take_job(job.pk)
    assert isinstance(dead, JobHandle)
    assert take_job(job.pk) is None
    Job.objects.filter(pk=job.pk).update(heartbeat_at=timezone.now() - LONG_AGO)
    alive = take_job(job.pk)
    assert alive is not None
    assert not dead.still_mine()
    with pytest.raises(JobLost):
        dead.progress(1, 2)
    alive.progress(1, 2)


def test_a_clock_that_was_set_back_holds_no_job(db, calls):
    """The dead worker's last sign lies ahead, and so does the last nudge: neither is waited for."""
    held, waiting = ask_for_job("good"), ask_for_job("good")
    take_job(held.pk)
    later = timezone.now() + LONG_AGO
    Job.objects.update(heartbeat_at=later, nudged_at=later)
    told = []
    jobs.use_nudge(told.append)
    try:
        sweep_jobs()
    finally:
        jobs.use_nudge(None)
    assert sorted(told) == [held.pk, waiting.pk]
    assert take_job(held.pk) is not None


def test_the_sweep_nudges_for_what_nobody_holds(db, calls):
    told = []
    jobs.use_nudge(told.append)
    try:
        waiting, held, silent, fresh = (ask_for_job("good") for _ in range(4))
        Job.objects.filter(pk__in=[waiting.pk, silent.pk]).update(nudged_at=timezone.now() - LONG_AGO)
        for job in (held, silent):
            take_job(job.pk)
        Job.objects.filter(pk=silent.pk).update(heartbeat_at=timezone.now() - LONG_AGO)
        Job.objects.filter(pk=fresh.pk).update(nudged_at=timezone.now())
        told.clear()
        sweep_jobs()
    finally:
        jobs.use_nudge(None)
    assert sorted(told) == sorted([waiting.pk, silent.pk])


def test_a_job_that_kills_its_workers_is_given_up(db, calls):
    job = ask_for_job("good")
    for _ in range(jobs.MOST_ATTEMPTS):
        assert take_job(job.pk)
        Job.objects.filter(pk=job.pk).update(heartbeat_at=timezone.now() - LONG_AGO)
    sweep_jobs()
    job.refresh_from_db()
    assert job.state == "failed"
    assert "given up after 5 attempts" in job.error


def test_a_broker_that_is_away_breaks_no_request(db, calls, django_capture_on_commit_callbacks):
    def away(job_id):
        raise ConnectionError("no broker")

    jobs.use_nudge(away)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            job = ask_for_job("good")
    finally:
        jobs.use_nudge(None)
    job.refresh_from_db()
    assert job.state == "waiting"


def test_the_banner_tells_since_when_no_night_ran(db):
    now = timezone.now()
    make.plant(created_at=now - dt.timedelta(hours=27))
    assert "never ran" in jobs.stale_background_words(now=now)
    Job.objects.create(kind=jobs.NIGHTLY, state="done", finished_at=now - dt.timedelta(hours=3))
    assert jobs.stale_background_words(now=now) == ""
    assert "last ran" in jobs.stale_background_words(now=now + dt.timedelta(hours=24))


def test_a_new_site_is_not_blamed_for_a_night_that_is_still_to_come(db):
    now = timezone.now()
    assert jobs.stale_background_words(now=now) == ""
    make.plant(created_at=now - dt.timedelta(hours=2))
    assert jobs.stale_background_words(now=now) == ""
