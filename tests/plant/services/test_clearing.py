"""What is over is cleared away; what is alive, or part of the book, stays."""

from __future__ import annotations

import datetime as dt
import os
import time
from pathlib import Path

import pytest
import time_machine
from axes.models import AccessLog
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from deploy.timetable import TIMETABLE
from plant.calc.retention import RULES, KeptFor
from plant.errors import Refused
from plant.jobs import clear_old as clear_old_task
from plant.models import ImportBatch, Incident, Job, LifeSign, Tally
from plant.selectors.retention import last_cleared
from plant.services import clearing, import_understanding, imports
from plant.services.clearing import CLEARING, clear_if_due, clear_old
from plant.services.health import sign_of_life
from plant.services.jobs import ask_for_job
from tests.plant.services.test_imports import HEAD, files_of_the_test, run, send  # noqa: F401

DAY = dt.timedelta(days=1)
GOOD = HEAD + "A-1,2026-03-01 10:00,drift,a\n"
BAD = HEAD + "A-1,no day,drift,b\n"


@pytest.fixture
def old_file(alder, pat, belt_a1):
    """A file that was written, with one row refused, longer ago than files are kept."""
    batch = run(send(alder, pat, "incidents", GOOD + BAD.removeprefix(HEAD)), pat)
    ImportBatch.objects.update(created_at=timezone.now() - 91 * DAY)
    return batch


def path_of(batch) -> Path:
    return Path(batch.file.path)


def test_ended_sign_ins_go_and_others_stay(pat, tess):
    for who in (pat, tess):
        Client().force_login(who)
    ended = Session.objects.first()
    Session.objects.filter(pk=ended.pk).update(expire_date=timezone.now() - DAY)
    assert clear_old()[KeptFor.SESSIONS] == 1
    assert Session.objects.count() == 1
    assert clear_old()[KeptFor.SESSIONS] == 0


def test_an_old_file_goes_and_all_that_came_of_it_stays(old_file):
    path = path_of(old_file)
    assert path.exists()
    assert clear_old()[KeptFor.IMPORT_FILES] == 1
    assert not path.exists()
    old_file.refresh_from_db()
    assert old_file.sha256
    assert old_file.rejected_rows.count() == 1
    assert Incident.objects.count() == 1
    assert clear_old()[KeptFor.IMPORT_FILES] == 0


def test_the_page_of_a_cleared_file_still_opens(client, pat, old_file):
    clear_old()
    client.force_login(pat)
    assert client.get(reverse("import-detail", args=[old_file.pk])).status_code == 200
    assert b"no day" in b"".join(client.get(reverse("import-refused", args=[old_file.pk])).streaming_content)


def test_a_file_that_nobody_started_says_to_send_it_again(client, pat, alder, belt_a1):
    batch = send(alder, pat, "incidents", GOOD)
    ImportBatch.objects.update(created_at=timezone.now() - 91 * DAY)
    clear_old()
    batch.refresh_from_db()
    with pytest.raises(Refused, match="Send it again"), import_understanding.opened(batch):
        pass
    client.force_login(pat)
    page = client.get(reverse("import-detail", args=[batch.pk])).content.decode()
    assert "no longer kept on the server. Send it again" in page
    client.post(reverse("import-forget", args=[batch.pk]))
    assert not ImportBatch.objects.exists()


def test_a_young_file_stays(alder, pat, belt_a1, settings):
    batch = send(alder, pat, "incidents", GOOD)
    settings.KEEP_DAYS = {**settings.KEEP_DAYS, KeptFor.IMPORT_FILES: 2}
    now = timezone.now()
    assert clear_old(now=now + 1.9 * DAY)[KeptFor.IMPORT_FILES] == 0
    assert clear_old(now=now + 2.1 * DAY)[KeptFor.IMPORT_FILES] == 1
    assert not path_of(batch).exists()


def test_a_file_that_a_worker_has_in_hand_stays(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", GOOD)
    imports.start_import(batch=batch, by=pat)
    ImportBatch.objects.update(created_at=timezone.now() - 91 * DAY)
    assert clear_old()[KeptFor.IMPORT_FILES] == 0
    Job.objects.update(state=Job.State.FAILED)
    assert clear_old()[KeptFor.IMPORT_FILES] == 1


def test_old_marks_of_sign_ins_go(pat, settings):
    settings.AXES_ENABLED = True
    pat.set_password("correct-horse-battery")
    pat.save()
    Client().post(reverse("sign-in"), {"username": "pat", "password": "correct-horse-battery"})
    assert AccessLog.objects.count() == 1
    assert clear_old(now=timezone.now() + 89 * DAY)[KeptFor.SIGN_INS] == 0
    assert clear_old(now=timezone.now() + 91 * DAY)[KeptFor.SIGN_INS] == 1


def test_the_night_does_it():
    assert clear_old_task.name in {entry["task"] for entry in TIMETABLE.values()}


def test_each_rule_is_carried_out_and_nothing_without_a_rule():
    assert set(CLEARING) == {each.what for each in RULES} == set(KeptFor)


def test_it_is_done_once_a_night_and_as_soon_as_the_site_runs_again(db):
    night = dt.datetime(2026, 11, 25, 2, 45, tzinfo=dt.UTC)
    hour = dt.timedelta(hours=1)
    done = []
    for n in (-1, 0, 1, 9, 23, 24, 25, 90):
        with time_machine.travel(night + n * hour, tick=False):
            done += [n] if clear_if_due() is not None else []
    assert done == [-1, 0, 24, 90]


def test_what_went_is_counted_by_kind(pat):
    Client().force_login(pat)
    Session.objects.update(expire_date=timezone.now() - DAY)
    clear_old()
    cleared = last_cleared()
    assert cleared.gone == {**dict.fromkeys(KeptFor, 0), KeptFor.SESSIONS: 1}
    assert (cleared.n_gone, cleared.failed) == (1, ())
    clear_old()
    assert last_cleared().n_gone == 0
    assert Tally.objects.get(kind=KeptFor.SESSIONS).n == 1


def test_one_kind_that_fails_holds_up_no_other_until_it_goes_again(pat, monkeypatch, caplog):
    Client().force_login(pat)
    Session.objects.update(expire_date=timezone.now() - DAY)
    with monkeypatch.context() as patch:
        patch.setitem(clearing.CLEARING, KeptFor.TRIES, lambda before: 1 / 0)
        assert clear_old()[KeptFor.SESSIONS] == 1
    assert last_cleared().failed == (KeptFor.TRIES,)
    assert "kept_for.tries could not be cleared" in caplog.text
    clear_old()
    assert last_cleared().failed == ()


def test_old_jobs_go_but_the_last_of_a_kind_and_those_that_the_book_leans_on(alder, old_file):
    long_ago = timezone.now() - 200 * DAY
    for kind, plant, state in (
        ("nightly", alder, "done"), ("nightly", alder, "failed"), ("nightly", alder, "done"), ("nightly", None, "done"),
        ("nightly", alder, "running"), ("other", alder, "done"), ("other", alder, "stopped"),
    ):  # fmt: skip
        Job.objects.create(kind=kind, plant=plant, state=state, created_at=long_ago, finished_at=long_ago)
    Job.objects.create(kind="first-sign-in", key="first-sign-in", state="done", finished_at=long_ago)
    Job.objects.create(kind="first-sign-in", state="done", finished_at=long_ago)
    Job.objects.filter(pk=old_file.job_id).update(finished_at=long_ago)
    ask_for_job("import", plant=alder)
    young = Job.objects.create(kind="other", plant=alder, state="done", finished_at=timezone.now() - 89 * DAY)
    assert clear_old()[KeptFor.JOBS] == 4
    assert Job.objects.filter(pk__in=[old_file.job_id, young.pk]).count() == 2
    assert Job.objects.filter(key="first-sign-in").exists()
    left = Job.objects.filter(kind="nightly").values_list("plant", "state").order_by("pk")
    assert list(left) == [(alder.pk, "done"), (None, "done"), (alder.pk, "running")]


def test_a_worker_that_ended_without_a_word_is_forgotten_after_a_day(db):
    now = timezone.now()
    with time_machine.travel(now - dt.timedelta(hours=25)):
        sign_of_life(LifeSign.Part.WORKER, "box:1")
        sign_of_life(LifeSign.Part.TIMETABLE, "timetable")
    sign_of_life(LifeSign.Part.WORKER, "box:2")
    assert clear_old()[KeptFor.LIFE_SIGNS] == 1
    assert list(LifeSign.objects.values_list("name", flat=True).order_by("name")) == ["box:2", "timetable"]


def test_what_a_power_cut_left_half_goes_and_what_is_being_written_stays(db, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    for name, hours in ((".unfinished-a", 25), (".unfinished-b", 1), ("whole.jpg", 99)):
        (tmp_path / name).touch()
        os.utime(tmp_path / name, (time.time() - hours * 3600,) * 2)
    assert clear_old()[KeptFor.HALVES] == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == [".unfinished-b", "whole.jpg"]


def test_old_mails_that_are_files_go(db, settings, tmp_path):
    settings.EMAIL_FILE_PATH = tmp_path / "mail"
    assert clear_old()[KeptFor.MAIL_FILES] == 0
    settings.EMAIL_FILE_PATH.mkdir()
    for name, days in (("old.log", 366), ("young.log", 364)):
        path = settings.EMAIL_FILE_PATH / name
        path.write_text("Late")
        os.utime(path, (time.time() - days * 86_400,) * 2)
    assert clear_old()[KeptFor.MAIL_FILES] == 1
    assert [path.name for path in settings.EMAIL_FILE_PATH.iterdir()] == ["young.log"]
