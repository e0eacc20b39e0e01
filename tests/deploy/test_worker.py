"""A real worker and a real timetable: killed or doubled, the work is done once.

Once without a server (SQLite, messages as files), once on Redis, with PostgreSQL beside it where one is named.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest
import redis

from tests import clock
from tests.migrated_book import lay_down
from tests.servers import GIVE_UP_AFTER_S

ROOT = Path(__file__).resolve().parents[2]
CELERY = [sys.executable, "-m", "celery", "-A", "deploy.celery_app"]
WORKER = [*CELERY, "worker", "--pool=solo", "--without-gossip", "--without-mingle", "--loglevel=WARNING"]
TIMETABLE = [*CELERY, "beat", "--pidfile=", "--loglevel=WARNING"]

pytestmark = pytest.mark.worker


class Site:
    """A data folder with its data base, and processes over it."""

    def __init__(self, data: Path, redis_url: str = "", database_url: str = "") -> None:
        self.data, self.started, self.database_url = data, [], database_url
        clock.mark(data)
        known = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "PYTHONWARNINGS"}}
        self.env = {
            **known,
            "DJANGO_SETTINGS_MODULE": "tests.deploy.worker_settings",
            "DRIFTBOOK_DATA": str(data),
            "DRIFTBOOK_SECRET_KEY": "only-for-tests-" + "x" * 50,
            "DRIFTBOOK_JOB_SILENT_S": "2",
            "DRIFTBOOK_SWEEP_EVERY_S": "1",
            "REDIS_URL": redis_url,
        }
        if database_url:
            self.env["DATABASE_URL"] = database_url

    def python(self, code: str) -> str:
        head = "import django; django.setup()\nfrom plant.models import Job\nfrom plant.services import jobs\n"
        done = subprocess.run(
            [sys.executable, "-c", head + code], cwd=ROOT, env=self.env, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def start(self, command: list[str]) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            command,
            cwd=ROOT,
            env=self.env,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        self.started.append(process)
        return process

    def kill(self, process: subprocess.Popen[bytes]) -> None:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait(timeout=GIVE_UP_AFTER_S)

    def ask(self, name: str, *, pause_s: float = 0.0, tell: bool = True, hold_at: int = -1) -> int:
        args = json.dumps({"path": str(self.data / name), "pause_s": pause_s, "hold_at": hold_at})
        quiet = "" if tell else "jobs.use_nudge(None)\n"
        return int(self.python(f"{quiet}print(jobs.ask_for_job('test-count', args={args}).pk)"))

    def migrate(self) -> None:
        self.python("from django.core.management import call_command; call_command('migrate', verbosity=0)")

    def state(self, job: int) -> str:
        [(state,)] = self.rows(f"select state from plant_job where id = {int(job)}")
        return str(state)

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Read past Django, whose start would take longer than the work."""
        known = (
            psycopg.connect(self.database_url)
            if self.database_url
            else sqlite3.connect(self.data / "driftbook.sqlite3", timeout=GIVE_UP_AFTER_S)
        )
        with closing(known) as book:
            return book.execute(query).fetchall()

    def lines(self, name: str) -> list[str]:
        path = self.data / name
        return path.read_text().splitlines() if path.exists() else []


def wait_until(true: Callable[[], bool], what: str) -> None:
    until = time.monotonic() + GIVE_UP_AFTER_S
    while not true():
        assert time.monotonic() < until, f"{what} did not come within {GIVE_UP_AFTER_S} s"
        time.sleep(0.1)


@pytest.fixture(scope="module")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    data = tmp_path_factory.mktemp("worker-site")
    lay_down(data)
    return data


@pytest.fixture(scope="module")
def postgres_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A data base of its own on the server that the tests may use; empty where none is named."""
    server = os.environ.get("DRIFTBOOK_TEST_DATABASE_URL", "")
    if not server:
        yield ""
        return
    name = f"driftbook_worker_{os.getpid()}"
    with closing(psycopg.connect(server, autocommit=True)) as book:
        book.execute(f'create database "{name}"')
        url = f"{server.rsplit('/', 1)[0]}/{name}"
        try:
            Site(tmp_path_factory.mktemp("postgres-site"), "", url).migrate()
            yield url
        finally:
            book.execute(f'drop database "{name}" with (force)')


@pytest.fixture(params=["files", pytest.param("redis", marks=pytest.mark.redis)])
def worker_site(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Site]:
    if request.param == "redis":
        redis_url = os.environ["DRIFTBOOK_TEST_REDIS_URL"]
        with closing(redis.Redis.from_url(redis_url)) as client:
            client.flushdb()
        database_url = request.getfixturevalue("postgres_url")
        if database_url:  # shared by these tests, and a worker that was killed leaves its sign of life
            with closing(psycopg.connect(database_url, autocommit=True)) as book:
                book.execute("delete from plant_lifesign")
    else:
        redis_url = database_url = ""
    if not database_url:
        shutil.copytree(request.getfixturevalue("migrated"), tmp_path, dirs_exist_ok=True)
    site = Site(tmp_path, redis_url, database_url)
    yield site
    for process in site.started:
        if process.poll() is None:
            site.kill(process)


def test_a_job_that_is_asked_for_is_done(worker_site):
    worker_site.start(WORKER)
    job = worker_site.ask("count")
    wait_until(lambda: len(worker_site.lines("count")) == 10, "the job")
    wait_until(lambda: worker_site.state(job) == "done", "its end")


def test_a_killed_worker_loses_nothing_and_nothing_is_done_twice(worker_site):
    first = worker_site.start(WORKER)
    job = worker_site.ask("count", hold_at=3)
    wait_until(lambda: len(worker_site.lines("count")) == 3, "the first steps")
    worker_site.kill(first)
    assert worker_site.state(job) == "running"
    (worker_site.data / "count.go").touch()
    worker_site.start(WORKER)
    worker_site.start(TIMETABLE)  # its sweep finds the job that nobody holds
    wait_until(lambda: worker_site.state(job) == "done", "the end of the job")
    steps = [int(line.split()[0]) for line in worker_site.lines("count")]
    assert steps == list(range(10))
    assert len({line.split()[1] for line in worker_site.lines("count")}) == 2


def test_a_lost_message_is_sent_again_by_the_sweep(worker_site):
    job = worker_site.ask("count", tell=False)
    worker_site.start(WORKER)
    worker_site.start(TIMETABLE)
    wait_until(lambda: worker_site.state(job) == "done", "the job")


def test_two_workers_do_a_job_once(worker_site):
    job = worker_site.ask("count", pause_s=0.05)
    worker_site.python(f"[jobs.nudge({job}) for _ in range(5)]")
    for _ in range(2):
        worker_site.start(WORKER)
    wait_until(lambda: worker_site.state(job) == "done", "the job")
    assert len(worker_site.lines("count")) == 10


def test_worker_and_timetable_say_that_they_live_and_when_they_end(worker_site):
    def alive():
        return {part for (part,) in worker_site.rows("select part from plant_lifesign")}

    worker_site.start(TIMETABLE)
    wait_until(lambda: alive() == {"timetable"}, "the first tick")
    worker = worker_site.start(WORKER)
    wait_until(lambda: alive() == {"worker", "timetable"}, "the worker's sign of life")
    worker.terminate()
    worker.wait(timeout=GIVE_UP_AFTER_S)
    assert alive() == {"timetable"}
