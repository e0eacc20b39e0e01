"""Two workers with connections of their own write one file: each row once, whoever is faster."""

from __future__ import annotations

import datetime as dt
import io
import threading
import time

import pytest
from django.conf import settings as site_settings
from django.db import connection
from django.utils import timezone

from plant.models import ImportBatch, Incident
from plant.permissions import sync_roles
from plant.services import import_writing, imports, jobs
from plant.services.job_kinds import JobLost
from tests import make
from tests.servers import GIVE_UP_AFTER_S

N_ROWS = 1000


@pytest.mark.skipif(
    "postgresql" not in site_settings.DATABASES["default"]["ENGINE"],
    reason="two connections cannot write to the in-memory data base of the SQLite run",
)
@pytest.mark.django_db(transaction=True)
def test_a_worker_that_takes_over_waits_for_the_chunk_in_hand_and_the_slow_one_stops(tmp_path, monkeypatch, settings):
    sync_roles()  # a test with real transactions finds the tables empty
    settings.MEDIA_ROOT = tmp_path
    plant = make.plant(name="Alder Pit", time_zone="UTC")
    pat = make.person("pat", plant, "planner")
    make.conveyor(plant, tag="A-1")
    rows = "".join(f"A-1,{2000 + n // 336}-{1 + n // 28 % 12:02}-{1 + n % 28:02}\n" for n in range(N_ROWS))
    data = f"tag,when\n{rows}".encode()
    batch = imports.take_in_file(
        plant=plant, by=pat, subject="incidents", file=io.BytesIO(data), file_name="log.csv", size=len(data)
    )
    job = imports.start_import(batch=batch, by=pat)

    real, calls, in_hand, is_asked = import_writing.write_rows, [], threading.Event(), threading.Event()
    outcomes: dict[str, str] = {}

    def write_rows(*args):
        calls.append(threading.current_thread().name)
        if len(calls) == 2:
            in_hand.set()
            assert is_asked.wait(GIVE_UP_AFTER_S)
            time.sleep(0.5)  # the other worker waits for the row of the job; were it slower, the end would be the same
        return real(*args)

    monkeypatch.setattr(import_writing, "write_rows", write_rows)

    def work(name: str, now: dt.datetime) -> None:
        try:
            if name == "other":
                is_asked.set()
            handle = jobs.take_job(job.pk, now=now)
            outcomes[name] = (
                "was not given it" if handle is None else import_writing.run_import(handle, batch.pk)["state"]
            )
        except JobLost:
            outcomes[name] = "lost it"
        finally:
            connection.close()

    slow = threading.Thread(target=work, name="slow", args=("slow", timezone.now()))
    # By the other's clock the slow one was silent for long.
    other = threading.Thread(target=work, name="other", args=("other", timezone.now() + dt.timedelta(minutes=5)))
    slow.start()
    assert in_hand.wait(GIVE_UP_AFTER_S)
    other.start()
    slow.join(GIVE_UP_AFTER_S)
    other.join(GIVE_UP_AFTER_S)
    assert outcomes == {"slow": "lost it", "other": "done"}
    assert set(calls) == {"slow", "other"}
    batch = ImportBatch.objects.get()
    assert (batch.state, batch.n_written, batch.rows_done) == ("done", N_ROWS, N_ROWS)
    assert Incident.objects.count() == N_ROWS
