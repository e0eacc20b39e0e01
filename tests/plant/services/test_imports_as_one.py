"""All rows or none: progress while rows are checked, then one transaction, whatever changes in between."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from plant.models import ImportBatch, Incident, Job
from plant.services import import_rows, import_writing, imports, jobs
from plant.services.conveyors import change_conveyor
from plant.services.incidents import record_incident
from plant.services.job_kinds import JobHandle
from tests import make
from tests.plant.services.test_imports import (  # noqa: F401
    HEAD,
    counts,
    die_after,
    files_of_the_test,
    incidents,
    reasons,
    run,
    send,
)

PLACED = "tag,when,strand,chainage [m]\nA-1,2026-03-01,return,150\nA-1,2026-03-02,return,50\n"


def between_the_passes(monkeypatch, act):
    """`act` is done once, after all rows were checked and before the first is written."""
    real, seen = JobHandle.still_mine, []

    def still_mine(self):
        if not seen:
            seen.append(1)
            act()
        return real(self)

    monkeypatch.setattr(JobHandle, "still_mine", still_mine)


def test_progress_is_said_outside_any_transaction_and_before_the_first_row_is_written(alder, pat, belt_a1, monkeypatch):
    said, depth = [], len(connection.savepoint_ids)
    progress, write_rows = JobHandle.progress, import_writing.write_rows

    def say(self, done, total, words=""):
        progress(self, done, total, words)
        said.append((done, total, len(connection.savepoint_ids) - depth))

    def write(*args):
        said.append("written")
        return write_rows(*args)

    monkeypatch.setattr(JobHandle, "progress", say)
    monkeypatch.setattr(import_writing, "write_rows", write)
    batch = run(send(alder, pat, "incidents", incidents(450)), pat, all_or_nothing=True)
    assert said == [(200, 450, 0), (400, 450, 0), (450, 450, 0), "written", "written", "written"]
    assert (batch.state, counts(batch)) == ("done", (450, 0, 0, 0))


def test_stopped_while_rows_are_checked_it_wrote_nothing_and_can_go_on(alder, pat, belt_a1, monkeypatch):
    batch = send(alder, pat, "incidents", incidents(450))
    real = import_rows.prepare

    def prepare(row, *args):
        if row.line_number == 250:
            imports.stop_import(batch=ImportBatch.objects.get(pk=batch.pk))
        return real(row, *args)

    with monkeypatch.context() as patch:
        patch.setattr(import_rows, "prepare", prepare)
        run(batch, pat, all_or_nothing=True)
    assert (batch.standing, Incident.objects.count()) == ("interrupted", 0)
    assert counts(run(batch, pat)) == (450, 0, 0, 0)
    assert batch.all_or_nothing is True


def test_what_was_stopped_is_still_all_rows_or_none_when_it_goes_on(client, alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", incidents(3) + "B-9,2026-03-01,drift,x\n")
    imports.start_import(batch=batch, by=pat, all_or_nothing=True)
    imports.stop_import(batch=batch)
    client.force_login(pat)
    client.post(reverse("import-start", args=[batch.pk]))
    jobs.do_job(ImportBatch.objects.get().job_id)
    assert (ImportBatch.objects.get().state, Incident.objects.count()) == ("refused", 0)


@pytest.mark.parametrize(
    ("values", "words"), [({"length_m": 100.0}, "off the belt"), ({"tag": "A-9"}, "There is no conveyor “A-1”")]
)
def test_a_conveyor_that_changes_between_the_passes_is_seen(alder, pat, belt_a1, monkeypatch, values, words):
    between_the_passes(monkeypatch, lambda: change_conveyor(belt_a1, by=pat, version=belt_a1.version, **values))
    batch = run(send(alder, pat, "incidents", PLACED), pat, all_or_nothing=True)
    assert batch.state == "refused"
    assert words in reasons(batch)[2]
    assert Incident.objects.count() == 0


def test_a_conveyor_that_is_added_between_the_passes_is_found(alder, pat, belt_a1, monkeypatch):
    between_the_passes(monkeypatch, lambda: make.conveyor(alder, tag="A-2"))
    batch = run(send(alder, pat, "incidents", HEAD + "A-2,2026-03-01,drift,x\n"), pat, all_or_nothing=True)
    assert (batch.state, counts(batch)) == ("done", (1, 0, 0, 0))


def test_a_row_that_a_person_writes_between_the_passes_is_not_doubled(alder, pat, belt_a1, monkeypatch):
    at = dt.datetime(2026, 3, 1, 9, tzinfo=dt.UTC)
    between_the_passes(
        monkeypatch, lambda: record_incident(conveyor=belt_a1, by=pat, happened_at=at, severity="drift", note="x")
    )
    text = HEAD + "A-1,2026-03-01 10:00,drift,x\nA-1,2026-03-02 10:00,drift,y\n"
    batch = run(send(alder, pat, "incidents", text), pat, all_or_nothing=True)
    assert (batch.state, counts(batch)) == ("done", (1, 0, 1, 0))


@pytest.mark.parametrize("most_kept", [0, 50_000])
def test_a_worker_killed_in_the_one_step_leaves_nothing_and_another_writes_all(
    alder, pat, belt_a1, monkeypatch, most_kept
):
    monkeypatch.setattr(import_writing, "MOST_KEPT", most_kept)  # rows that are kept and rows that are read again
    twice = "A-1,2026-03-25 10:00,drift,x\n" * 2
    batch = send(alder, pat, "incidents", incidents(450) + twice)
    job = imports.start_import(batch=batch, by=pat, all_or_nothing=True)
    with monkeypatch.context() as patch:
        die_after(patch, 2)
        with pytest.raises(SystemExit):
            jobs.do_job(job.pk)
    assert (Incident.objects.count(), ImportBatch.objects.get().rows_done) == (0, 0)
    Job.objects.filter(pk=job.pk).update(heartbeat_at=timezone.now() - dt.timedelta(minutes=5))
    assert jobs.do_job(job.pk) is True
    batch.refresh_from_db()
    assert (batch.state, counts(batch), Incident.objects.count()) == ("done", (451, 0, 0, 0), 451)


def test_the_page_says_checked_and_then_that_all_is_written_in_one_step(client, alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", incidents(450))
    job = imports.start_import(batch=batch, by=pat, all_or_nothing=True)
    handle = jobs.take_job(job.pk)
    client.force_login(pat)
    handle.progress(200, 450)
    part = client.get(reverse("import-progress", args=[batch.pk])).content.decode()
    assert "200 of 450 rows checked" in part
    assert 'value="200"' in part
    assert ">Stop<" in part
    handle.progress(450, 450)
    part = client.get(reverse("import-progress", args=[batch.pk])).content.decode()
    assert "All 450 rows are checked and are written now" in part
    assert "value=" not in part
    assert ">Stop<" not in part
