"""The person who sent a file is told once what came of it, however its job ended."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from plant.models import Job, Notice
from plant.services import import_writing, imports, jobs
from tests import make
from tests.plant.services.test_imports import files_of_the_test, incidents, run, send  # noqa: F401


def told(person):
    return list(Notice.objects.filter(person=person).order_by("pk").values_list("text", flat=True))


def test_a_file_that_is_done_is_told_with_counts_and_a_link(client, alder, pat, belt_a1):
    text = incidents(3) + "B-9,2026-03-01 10:00,drift,x\n"
    batch = run(send(alder, pat, "incidents", text, name="log.csv"), pat)
    assert told(pat) == [
        "Import of log.csv is done: 3 new, 0 changed, 0 already known, 1 refused. Refused rows wait for correction."
    ]
    client.force_login(pat)
    assert f'<a href="{batch.get_absolute_url()}">Import of log.csv is done' in client.get("/notices/").content.decode()
    jobs.do_job(batch.job_id)
    assert import_writing.tell_end(batch.job) is None
    assert Notice.objects.count() == 1


def test_a_file_refused_as_a_whole_is_told(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", incidents(3) + "B-9,2026-03-01,drift,x\n"), pat, all_or_nothing=True)
    assert told(pat) == ["Import of rows.csv: nothing was written, 1 row is wrong and all rows or none were asked for."]


def test_stopped_and_gone_on_by_another_are_two_notices_and_both_people_know_the_end(alder, pat, belt_a1):
    quinn = make.person("quinn", alder, "planner")
    batch = send(alder, pat, "incidents", incidents(3))
    imports.start_import(batch=batch, by=pat)
    imports.stop_import(batch=batch)
    run(batch, quinn)
    assert told(pat) == [
        "Import of rows.csv was stopped and can go on. So far 0 new, 0 changed, 0 already known, 0 refused.",
        "Import of rows.csv is done: 3 new, 0 changed, 0 already known, 0 refused.",
    ]
    assert told(quinn) == told(pat)[1:]


def test_a_fault_of_the_work_is_told(alder, pat, belt_a1, monkeypatch):
    def broken(*args):
        raise RuntimeError("disk full")

    monkeypatch.setattr(import_writing, "write_rows", broken)
    run(send(alder, pat, "incidents", incidents(3)), pat)
    assert told(pat)[0].startswith("Import of rows.csv stopped on an error and can go on.")


def test_a_file_that_is_gone_while_it_waits_is_told(alder, pat, belt_a1):
    batch = send(alder, pat, "incidents", incidents(3))
    job = imports.start_import(batch=batch, by=pat)
    batch.file.storage.delete(batch.file.name)
    jobs.do_job(job.pk)
    assert "could not be read to its end" in told(pat)[0]


def test_a_job_that_is_given_up_is_told(alder, pat, belt_a1):
    job = imports.start_import(batch=send(alder, pat, "incidents", incidents(3)), by=pat)
    for _n in range(jobs.MOST_ATTEMPTS):
        assert jobs.take_job(job.pk) is not None
        Job.objects.update(heartbeat_at=timezone.now() - dt.timedelta(minutes=5))
    jobs.sweep_jobs()
    jobs.sweep_jobs()
    assert [each[:44] for each in told(pat)] == ["Import of rows.csv stopped on an error and c"]


def test_a_notice_that_cannot_be_written_does_not_keep_the_job_open(alder, pat, belt_a1, monkeypatch):
    def broken(**values):
        raise RuntimeError("no notices today")

    monkeypatch.setattr(Notice.objects, "get_or_create", broken)
    batch = run(send(alder, pat, "incidents", incidents(3)), pat)
    batch.job.refresh_from_db()
    assert batch.job.state == "done"


def test_the_longest_file_name_leaves_room_for_the_counts(alder, pat, belt_a1):
    run(send(alder, pat, "incidents", incidents(3), name="x" * 190 + ".csv"), pat)
    assert told(pat)[0].endswith("3 new, 0 changed, 0 already known, 0 refused.")
