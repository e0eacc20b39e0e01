"""What the site answers to machines that watch it: alive, ready, figures. Strangers learn nothing from it."""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import DatabaseError
from django.test import Client
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from plant.files import metrics
from plant.models import Job, LifeSign, Tally
from plant.services.health import sign_of_life, tally
from plant.views import health
from tests import clock

ROOT = Path(__file__).resolve().parents[3]
TOKEN = "only-for-the-watch"


def figures(settings):
    """Every figure of /metrics by its name and labels."""
    settings.METRICS_TOKEN = TOKEN
    answer = Client().get("/metrics", headers={"Authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("text/plain; version=")
    families = text_string_to_metric_families(answer.content.decode())
    return {(sample.name, *sorted(sample.labels.items())): sample.value for each in families for sample in each.samples}


def test_a_site_without_anybody_is_alive_and_ready(client, db):
    assert (client.get("/health/live").status_code, client.get("/health/live").content) == (200, b"alive\n")
    assert (client.get("/health/ready").status_code, client.get("/health/ready").content) == (200, b"ready\n")


def test_alive_asks_the_data_base_nothing_and_neither_touches_a_session(
    client, pat, django_assert_num_queries, monkeypatch
):
    client.force_login(pat)
    monkeypatch.setattr("django.contrib.sessions.middleware.SessionMiddleware.process_request", None)
    with django_assert_num_queries(0):
        assert client.get("/health/live").status_code == 200
    answer = client.get("/health/ready", HTTP_HOST="10.1.2.3")  # a probe asks by number
    assert answer.status_code == 200
    assert not answer.cookies
    assert answer["Cache-Control"] == "no-store"


@pytest.mark.parametrize("why", ["database", "migrations"])
def test_not_ready_is_said_to_the_log_and_not_to_strangers(client, db, monkeypatch, caplog, why):
    def gone():
        raise DatabaseError("could not connect to 10.1.2.3 as driftbook")

    if why == "database":
        monkeypatch.setattr(health, "answer_ms", gone)
    else:
        monkeypatch.setattr(health, "steps_missing", lambda: {("plant", "0009_later")})
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.content) == (503, b"not ready\n")
    assert f"not ready: {why}" in caplog.messages


def test_a_step_that_the_book_lacks_makes_it_not_ready(client, db):
    from django.db.migrations.recorder import MigrationRecorder

    MigrationRecorder.Migration.objects.filter(app="plant", name="0001_tables").delete()
    assert client.get("/health/ready").status_code == 503


def test_figures_are_for_whoever_brings_the_token(settings, db):
    assert settings.METRICS_TOKEN == ""
    for given in ({}, {"Authorization": "Bearer "}, {"Authorization": "Bearer None"}):
        assert Client().get("/metrics", headers=given).status_code == 404
    settings.METRICS_TOKEN = TOKEN
    for given in ({}, {"Authorization": f"Bearer {TOKEN}x"}, {"Authorization": TOKEN}, {"Authorization": "Bearer é"}):
        answer = Client().get("/metrics", headers=given)
        assert (answer.status_code, answer.content) == (401, b"This asks for a token.\n")


def test_requests_are_counted_by_route_and_not_by_row(settings, pat, belt_a1):
    before = figures(settings)
    client = Client()
    client.force_login(pat)
    for _twice in range(2):
        client.get(belt_a1.get_absolute_url())
    client.get("/conveyors/424242/")
    client.get("/no/such/page/")
    after = figures(settings)

    def more(route, status):
        name = ("driftbook_requests_total", ("method", "GET"), ("route", route), ("status", status))
        return after.get(name, 0) - before.get(name, 0)

    assert more("conveyor-detail", "200") == 2
    assert more("conveyor-detail", "404") == 1
    assert more("no such address", "404") == 1
    route = ("route", "conveyor-detail")
    counted = ("driftbook_request_seconds_count", route)
    assert after[counted] - before.get(counted, 0) == 3
    assert after["driftbook_request_seconds_bucket", ("le", "+Inf"), route] == after[counted]
    assert not any("424242" in str(name) for name in after)


def test_figures_of_jobs_mails_and_life_signs_come_from_the_book(settings, alder):
    now = timezone.now()
    tally(Tally.What.JOB, "done", kind="keep", n=3)
    tally(Tally.What.JOB, "failed", kind="import")
    tally(Tally.What.MAIL, "refused", words="no such host")
    sign_of_life(LifeSign.Part.WORKER, "box:1")
    Job.objects.create(kind="keep", plant=alder, created_at=now - dt.timedelta(minutes=10))
    found = figures(settings)
    assert found["driftbook_jobs_total", ("kind", "keep"), ("outcome", "done")] == 3
    assert found["driftbook_jobs_total", ("kind", "import"), ("outcome", "failed")] == 1
    assert found["driftbook_mails_total", ("outcome", "refused")] == 1
    assert found["driftbook_jobs_waiting",] == 1
    assert 600 <= found["driftbook_oldest_job_seconds",] < 4000
    assert 0 <= found["driftbook_worker_seen_seconds",] < 3600
    assert ("driftbook_timetable_seen_seconds",) not in found
    assert found["driftbook_database_up",] == 1
    assert found["driftbook_database_bytes",] > 100_000
    assert found["driftbook_disk_free_bytes",] > 0


def test_figures_of_requests_come_while_the_data_base_is_away(settings, db, monkeypatch):
    def gone(*args):
        raise DatabaseError("away")

    monkeypatch.setattr(metrics, "queue", gone)
    found = figures(settings)
    assert found["driftbook_database_up",] == 0
    assert ("driftbook_jobs_waiting",) not in found
    assert any(name[0] == "driftbook_requests_total" for name in found)


COUNTS = """
import sys, django; django.setup()
from plant.files.metrics import note_request, site_metrics
for _each in range(int(sys.argv[1])):
    note_request("today", "GET", 200, 0.3)
print(site_metrics().decode())
"""


def test_processes_that_serve_pages_together_answer_for_each_other(tmp_path):
    """Also for one that has ended: what it counted was counted. They run without a book, which is said."""
    folder = tmp_path / "counters"
    folder.mkdir()
    env = {
        **{name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "PYTHONWARNINGS"}},
        "DJANGO_SETTINGS_MODULE": "tests.site_settings",
        "DRIFTBOOK_DATA": str(tmp_path),
        "DRIFTBOOK_SECRET_KEY": "only-for-tests-" + "x" * 50,
        "PROMETHEUS_MULTIPROC_DIR": str(folder),
    }
    clock.mark(tmp_path)
    for n in (2, 3):
        shown = subprocess.run(
            [sys.executable, "-c", COUNTS, str(n)], cwd=ROOT, env=env, capture_output=True, text=True, check=True
        ).stdout
    found = {
        (sample.name, sample.labels.get("le")): sample.value
        for each in text_string_to_metric_families(shown)
        for sample in each.samples
    }
    assert found["driftbook_requests_total", None] == 5
    assert found["driftbook_request_seconds_bucket", "0.25"] == 0
    assert found["driftbook_request_seconds_bucket", "0.5"] == 5
    assert found["driftbook_database_up", None] == 0
