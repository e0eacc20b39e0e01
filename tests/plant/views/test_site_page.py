"""The keeper's page: is the site well, and what to do."""

from __future__ import annotations

import datetime as dt

import pytest
from axes.models import AccessAttempt
from django.test import Client
from django.utils import timezone

from plant.models import Job, KeptResult, LifeSign, Person, Tally, WriteCounter
from plant.selectors.health import failed_jobs, site_facts
from plant.selectors.kept import code_mark
from plant.services.health import sign_of_life, sign_off, tally
from tests import make


@pytest.fixture
def client(db):
    client = Client()
    client.force_login(make.person("kay", is_keeper=True))
    return client


@pytest.fixture
def running(db, settings, tmp_path):
    """Worker and timetable as on a site that runs, and a backup of the last night."""
    settings.BACKUP_FOLDER, settings.BACKUP_NIGHTLY, settings.DATA_DIR = tmp_path / "backups", True, tmp_path
    settings.BACKUP_FOLDER.mkdir()
    made_at = timezone.now() - dt.timedelta(hours=8)
    (settings.BACKUP_FOLDER / f"driftbook-{made_at:%Y-%m-%dT%H%M%S}Z.zip").touch()
    sign_of_life(LifeSign.Part.WORKER, "box:1")
    sign_of_life(LifeSign.Part.TIMETABLE, "timetable")


def page(client):
    answer = client.get("/site/")
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def job_failed(plant, **values):
    ended = timezone.now() - dt.timedelta(minutes=5)
    error = "secret belt S-9\n\nTraceback\nValueError: secret belt S-9"
    known = {"kind": "keep", "args": {"topic": "effect"}, "error": error, "finished_at": ended}
    return Job.objects.create(plant=plant, state=Job.State.FAILED, **{**known, **values})


def test_a_site_that_runs_is_well(client, running):
    shown = page(client)
    assert "All is well." in shown
    assert "One worker, seen" in shown
    assert "SQLite answers in" in shown or "PostgreSQL answers in" in shown
    assert 'hx-trigger="every 15s"' in shown


def test_what_is_wrong_stands_on_top_with_what_to_do(client):
    shown = page(client)
    assert "2 things to act on now." in shown
    assert "All is well" not in shown
    assert shown.index("No worker is there") < shown.index("answers in")
    assert "Start the site again (deploy/start)" in shown


def test_a_worker_that_ended_in_order_is_not_missed_and_a_silent_one_is(client, running):
    sign_of_life(LifeSign.Part.WORKER, "box:2")
    assert "2 workers, seen" in page(client)
    sign_off(LifeSign.Part.WORKER, "box:2")
    assert "One worker, seen" in page(client)
    LifeSign.objects.filter(part="worker").update(at=timezone.now() - dt.timedelta(minutes=10))
    assert "No worker was seen for 10 min: no job is done." in page(client)


def test_a_failed_job_is_shown_without_what_only_the_plant_may_see(client, running, alder):
    job = job_failed(alder)
    shown = page(client)
    assert "One job failed and was not made good." in shown
    assert "results made anew" in shown
    assert "ValueError" in shown
    assert "S-9" not in shown
    assert f'action="/site/jobs/{job.pk}/retry/"' in shown


def test_it_is_done_again(client, alder, django_capture_on_commit_callbacks):
    job = job_failed(alder, attempts=5, stop_requested=True, holder="box:1")
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(f"/site/jobs/{job.pk}/retry/").url == "/site/"
    job.refresh_from_db()
    assert (job.state, job.attempts, job.error, job.stop_requested) == ("waiting", 0, "", False)
    assert job.nudged_at is not None
    client.post(f"/site/jobs/{job.pk}/retry/")
    assert "Somebody has settled this job meanwhile." in page(client)


def test_it_is_discarded_after_a_confirmation(client, running, alder):
    job = job_failed(alder)
    address = f"/site/jobs/{job.pk}/discard/"
    assert "Discard job" in client.get(address).content.decode()
    job.refresh_from_db()
    assert job.state == "failed"
    assert client.post(address).url == "/site/"
    job.refresh_from_db()
    assert job.state == "stopped"
    assert "All is well." in page(client)
    client.post(address)
    assert "Somebody has settled this job meanwhile." in page(client)


def test_what_runs_by_itself_is_made_good_by_a_later_one_of_the_same(alder, other, pat):
    now, ended = timezone.now(), timezone.now() - dt.timedelta(minutes=1)
    failed = job_failed(alder)
    for plant, args in ((other, {"topic": "effect"}), (alder, {"topic": "life"})):
        Job.objects.create(kind="keep", plant=plant, args=args, state=Job.State.DONE, finished_at=ended)
    assert list(failed_jobs(now)) == [failed]
    asked = job_failed(alder, requested_by=pat)
    Job.objects.create(kind="keep", plant=alder, args={"topic": "effect"}, state=Job.State.DONE, finished_at=ended)
    assert list(failed_jobs(now)) == [asked]
    assert list(failed_jobs(now + dt.timedelta(days=31))) == []


def test_the_page_loads_again_once_another_job_has_failed(client, running, alder):
    as_script = {"headers": {"HX-Request": "true"}}
    assert "HX-Refresh" not in client.get("/site/?failed=0", **as_script)
    job_failed(alder)
    assert client.get("/site/?failed=0", **as_script)["HX-Refresh"] == "true"


def test_mail_that_is_refused_is_said_until_one_goes(client, running, settings):
    settings.EMAIL_HOST = "mail.alder.example"
    tally(Tally.What.MAIL, "sent")
    Tally.objects.update(last_at=timezone.now() - dt.timedelta(hours=3))
    assert "The last mail went 3 h ago." in page(client)
    tally(Tally.What.MAIL, "refused", words="SMTPAuthenticationError: 535 no")
    assert "SMTPAuthenticationError: 535 no" in page(client)
    tally(Tally.What.MAIL, "sent")
    assert "All is well." in page(client)


def test_results_behind_the_book_are_counted(alder):
    now = timezone.now()
    WriteCounter.objects.create(plant=alder, topic="effect", stamp=5)
    for part, stamp in (("list", 5), ("panel", 4)):
        KeptResult.objects.create(
            plant=alder, topic="effect", part=part, stamp=stamp, code=code_mark(), value="{}", as_of=now,
            made_at=now - dt.timedelta(minutes=20),
        )  # fmt: skip
    facts = site_facts(now)
    assert (facts.n_kept, facts.n_behind, round(facts.kept_idle_s)) == (2, 1, 1200)


def test_who_has_to_wait_is_counted_for_a_quarter_of_an_hour(client, running):
    for name, n in (("pat", 8), ("tess", 7)):
        AccessAttempt.objects.create(username=name, ip_address="10.1.2.3", user_agent="other", failures_since_start=n)
    assert "One has to wait after too many wrong passwords." in page(client)
    AccessAttempt.objects.update(attempt_time=timezone.now() - dt.timedelta(minutes=16))
    assert "Nobody has to wait." in page(client)


def test_a_clock_that_was_set_back_makes_nothing_old(running):
    facts = site_facts(timezone.now() - dt.timedelta(days=2))
    assert (facts.worker_s, facts.tick_s) == (0.0, 0.0)


def test_a_keepers_name_is_in_no_need_of_a_plant(client):
    assert not Person.objects.get(username="kay").memberships.exists()
    assert "/site/" in client.get("/").content.decode()
