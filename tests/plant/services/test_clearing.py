"""What is over is cleared away; what is alive, or part of the book, stays."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from axes.models import AccessLog
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from deploy.timetable import TIMETABLE
from plant.errors import Refused
from plant.jobs import clear_old as clear_old_task
from plant.models import ImportBatch, Incident, Job
from plant.services import import_understanding, imports
from plant.services.clearing import clear_old
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
    assert clear_old()["sessions"] == 1
    assert Session.objects.count() == 1
    assert clear_old()["sessions"] == 0


def test_an_old_file_goes_and_all_that_came_of_it_stays(old_file):
    path = path_of(old_file)
    assert path.exists()
    assert clear_old()["import_files"] == 1
    assert not path.exists()
    old_file.refresh_from_db()
    assert old_file.sha256
    assert old_file.rejected_rows.count() == 1
    assert Incident.objects.count() == 1
    assert clear_old()["import_files"] == 0


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
    settings.KEEP_IMPORT_DAYS = 2
    now = timezone.now()
    assert clear_old(now=now + 1.9 * DAY)["import_files"] == 0
    assert clear_old(now=now + 2.1 * DAY)["import_files"] == 1
    assert not path_of(batch).exists()


def test_a_file_that_a_worker_has_in_hand_stays(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", GOOD)
    imports.start_import(batch=batch, by=pat)
    ImportBatch.objects.update(created_at=timezone.now() - 91 * DAY)
    assert clear_old()["import_files"] == 0
    Job.objects.update(state=Job.State.FAILED)
    assert clear_old()["import_files"] == 1


def test_old_marks_of_sign_ins_go(pat, settings):
    settings.AXES_ENABLED = True
    pat.set_password("correct-horse-battery")
    pat.save()
    Client().post(reverse("sign-in"), {"username": "pat", "password": "correct-horse-battery"})
    assert AccessLog.objects.count() == 1
    assert clear_old(now=timezone.now() + 89 * DAY)["sign_ins"] == 0
    assert clear_old(now=timezone.now() + 91 * DAY)["sign_ins"] == 1


def test_the_night_does_it():
    assert clear_old_task.name in {entry["task"] for entry in TIMETABLE.values()}
