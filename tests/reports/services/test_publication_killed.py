"""A real process that publishes a month is killed with SIGKILL in its last step: a draft is left, no half month."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.migrated_book import lay_down
from tests.servers import GIVE_UP_AFTER_S

ROOT = Path(__file__).resolve().parents[3]

SET_UP = """
import datetime as dt
from reports.services.months import draft_month
from tests import make
plant = make.plant(name="Alder Pit", time_zone="UTC")
belt = make.conveyor(plant, tag="A-1")
start, end = (dt.datetime(2026, month, 1, tzinfo=dt.UTC) for month in (9, 10))
make.run_record(belt, start, end, 500.0)
make.incident(belt, dt.datetime(2026, 9, 5, 12, tzinfo=dt.UTC), minutes_lost=30)
draft_month(plant=plant, month=start.date(), by=make.person("erin", plant, "reliability engineer"))
"""
# Everything is written; the process stands still just before the transaction is committed.
PUBLISH = """
import pathlib, time
from plant.models import Person
from reports.models import MonthlyReport
from reports.services import months
real = months.change_record
def stands(row, **values):
    written = real(row, **values)
    kept = MonthlyReport.objects.get()
    assert kept.published_at and kept.content and kept.rows
    pathlib.Path({flag!r}).write_text("written")
    time.sleep({seconds})
    return written
months.change_record = stands
months.publish_month(MonthlyReport.objects.get(), by=Person.objects.get(), version=1)
"""
LOOK = """
from reports.models import MonthlyReport, MonthMail
from reports.files.month_pdf import month_pdf
from reports.services.months import send_months
report = MonthlyReport.objects.get()
print(report.is_published, report.version, bool(report.content), bool(report.rows), repr(report.code_version),
      report.history.count(), send_months(month_pdf), MonthMail.objects.count())
"""


@pytest.mark.worker
@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is a matter of POSIX")
def test_sigkill_before_the_commit_leaves_the_draft_and_the_next_run_publishes_it_whole(tmp_path):
    env = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")}
    env |= {"DRIFTBOOK_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "tests.settings"}

    def manage(*args, **more):
        return subprocess.run(
            [sys.executable, "manage.py", *args], cwd=ROOT, env=env, capture_output=True, text=True, check=True, **more
        )

    def shell(code):
        return manage("shell", "--no-imports", "-c", code).stdout.split()

    lay_down(tmp_path)
    shell(SET_UP)
    flag = tmp_path / "flag"
    publisher = subprocess.Popen(
        [sys.executable, "manage.py", "shell", "--no-imports", "-c", PUBLISH.format(flag=str(flag), seconds=3600)],
        cwd=ROOT,
        env=env,
    )
    try:
        until = time.monotonic() + GIVE_UP_AFTER_S
        while not flag.exists() and publisher.poll() is None and time.monotonic() < until:
            time.sleep(0.05)
        assert flag.exists(), "the publishing process did not come to its last step"
        publisher.send_signal(signal.SIGKILL)
    finally:
        publisher.kill()
        publisher.wait(timeout=GIVE_UP_AFTER_S)
    assert publisher.returncode == -signal.SIGKILL
    assert shell(LOOK) == ["False", "1", "False", "False", "''", "1", "0", "0"]

    shell(PUBLISH.format(flag=str(flag), seconds=0))
    assert shell(LOOK)[:4] == ["True", "2", "True", "True"]
