"""A real process that writes a file is killed with SIGKILL; another one ends the file, complete and once."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from plant.services.import_rows import CHUNK
from tests.migrated_book import lay_down
from tests.servers import GIVE_UP_AFTER_S

ROOT = Path(__file__).resolve().parents[3]
N_ROWS = 3000

SET_UP = """
from tests import make
plant = make.plant(name="Alder Pit", time_zone="UTC")
make.person("pat", plant, "planner")
make.conveyor(plant, tag="A-1")
"""
# In its third chunk, written but not committed, the process stands still and the signal meets it there.
WRITE = """
import io, pathlib, time
from plant.models import ImportBatch, Person, Plant
from plant.services import imports, jobs
from plant.services import import_writing
real, calls = import_writing.write_rows, []
def stands(*args):
    written = real(*args)
    calls.append(1)
    if len(calls) == 3:
        pathlib.Path({flag!r}).touch()
        time.sleep(3600)
    return written
import_writing.write_rows = stands
data = open({path!r}, "rb").read()
batch = imports.take_in_file(plant=Plant.objects.get(), by=Person.objects.get(), subject="incidents",
                             file=io.BytesIO(data), file_name="log.csv", size=len(data))
jobs.do_job(imports.start_import(batch=batch, by=Person.objects.get()).pk)
"""
# The dead worker's silence is made long; then the sweep finds the job and a worker of another process does it.
HEAL = """
import datetime as dt
from django.utils import timezone
from plant.models import ImportBatch, Incident, Job
from plant.services import jobs
Job.objects.update(heartbeat_at=timezone.now() - dt.timedelta(minutes=5), nudged_at=None)
jobs.use_nudge(jobs.do_job)
assert jobs.sweep_jobs() == 1
batch = ImportBatch.objects.get()
print(batch.state, batch.n_written, batch.n_refused, Incident.objects.count(),
      Incident.objects.values("client_key").distinct().count(), Job.objects.get().attempts)
"""


@pytest.mark.worker
@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is a matter of POSIX")
def test_sigkill_in_the_middle_of_a_file_ends_complete_and_once(tmp_path):
    env = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")}
    env |= {"DRIFTBOOK_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "tests.settings"}

    def manage(*args, **more):
        return subprocess.run(
            [sys.executable, "manage.py", *args], cwd=ROOT, env=env, capture_output=True, text=True, check=True, **more
        )

    path, flag = tmp_path / "log.csv", tmp_path / "flag"
    path.write_text(
        "tag,when,note\n"
        + "".join(f"A-1,{2000 + n // 336}-{1 + n // 28 % 12:02}-{1 + n % 28:02},n\n" for n in range(N_ROWS)),
        encoding="utf-8",
    )
    lay_down(tmp_path)
    manage("shell", "--no-imports", "-c", SET_UP)
    writer = subprocess.Popen(
        [sys.executable, "manage.py", "shell", "--no-imports", "-c", WRITE.format(path=str(path), flag=str(flag))],
        cwd=ROOT, env=env,
    )  # fmt: skip
    try:
        until = time.monotonic() + GIVE_UP_AFTER_S
        while not flag.exists():
            assert writer.poll() is None, "the process ended before its third chunk"
            assert time.monotonic() < until, "the process did not come to its third chunk"
            time.sleep(0.05)
        writer.send_signal(signal.SIGKILL)
    finally:
        writer.kill()
        writer.wait(timeout=GIVE_UP_AFTER_S)
    assert writer.returncode == -signal.SIGKILL
    with closing(sqlite3.connect(tmp_path / "driftbook.sqlite3")) as book:
        [(done,)] = book.execute("select rows_done from plant_importbatch").fetchall()
    assert done == 2 * CHUNK < N_ROWS

    words = manage("shell", "--no-imports", "-c", HEAL).stdout.split()
    assert words == ["done", str(N_ROWS), "0", str(N_ROWS), str(N_ROWS), "2"]
