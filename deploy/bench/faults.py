"""A site that is hurt while people write: what was taken stands in the book once, and how long until it works again.

Each round starts from work going on: people record incidents, one after the other, and send files of incidents in.
Something of the site is killed, cut off or filled up at a random moment. Whoever got no answer sends the same again, as
a browser does with the form that is still open. At the end all that was answered has to be in the book once, and every
job has to be over.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path

import psycopg

from deploy.bench.load import FormReader, Measured, Visitor
from deploy.children import Child, Children
from deploy.environment import ROOT
from deploy.running import commands, wait_until_it_answers

PASSWORD = "seven-quiet-belts"
ROWS_OF_FILE = 200
GIVE_UP_AFTER_S = 600.0
FIRST_ROW = datetime(2020, 1, 1)  # noqa: DTZ001  (as it stands in the file, by the clock of the plant)
MINUTES = count()
SET_UP = f"""
from plant.models import Plant
from plant.services.conveyors import add_area, add_conveyor
from plant.services.people import open_site
person = open_site(username="pat", password={PASSWORD!r}, email="", plant_name="Alder Pit", time_zone="UTC")
plant = Plant.objects.get()
area = add_area(plant=plant, by=person, code="A", name="Quarry")
add_conveyor(plant=plant, by=person, area=area, tag="A-1", belt_width_mm=1200, speed_m_s=2.5, length_m=200, lift_m=10)
"""


class NotTried(Exception):
    """What this machine lacks for a fault."""


def wait_until(holds: Callable[[], bool], what: str) -> None:
    until = time.monotonic() + GIVE_UP_AFTER_S
    while not holds():
        if time.monotonic() > until:
            raise TimeoutError(f"{what}: not within {GIVE_UP_AFTER_S:.0f} s")
        time.sleep(0.1)


@dataclass
class HurtSite:
    """A private site over a folder, and what it was told to keep.

    Parameters
    ----------
    database_url, redis_url : str
        Empty: SQLite, and messages as files.
    """

    data: Path
    port: int
    database_url: str = ""
    redis_url: str = ""
    said: list[str] = field(default_factory=list)
    children: Children = field(init=False)
    is_watched: bool = False

    def __post_init__(self) -> None:
        known = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")}
        self.env = known | {
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "DRIFTBOOK_DATA": str(self.data),
            "DRIFTBOOK_ADDRESS": self.address,
            "DRIFTBOOK_JOB_SILENT_S": "4",
            "DRIFTBOOK_SWEEP_EVERY_S": "1",
            "DRIFTBOOK_LOG_LEVEL": "ERROR",
            "DRIFTBOOK_WORKER_LOG_LEVEL": "CRITICAL",
            "DATABASE_URL": self.database_url,
            "REDIS_URL": self.redis_url,
        }
        self.children = Children(cwd=ROOT, env=self.env, say=self.said.append)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def manage(self, *args: str) -> None:
        done = subprocess.run(
            [sys.executable, "manage.py", *args], cwd=ROOT, env=self.env, capture_output=True, text=True, check=False
        )
        if done.returncode:
            raise RuntimeError(done.stdout + done.stderr)

    def prepare(self) -> None:
        self.manage("migrate", "--verbosity=0")
        self.manage("collectstatic", "--noinput", "--verbosity=0")
        self.manage("shell", "--verbosity=0", "--no-imports", "-c", SET_UP)

    def start(self) -> None:
        for name, command in commands(Path(sys.executable), "127.0.0.1", self.port, 2).items():
            self.children.start(name, command)
        wait_until_it_answers(self.address, self.child("web server"), say=self.said.append)

    def look_after(self) -> None:
        """As deploy/start does, but with the same short pause each time: here nobody fails by a fault of its own."""
        while self.is_watched:
            self.children.look_after()
            for child in self.children.all:
                child.pause_s = 1.0
            time.sleep(0.1)

    @contextmanager
    def watched(self) -> Iterator[None]:
        self.is_watched = True
        thread = threading.Thread(target=self.look_after, daemon=True)
        thread.start()
        try:
            yield
        finally:
            self.is_watched = False
            thread.join()

    def child(self, name: str) -> Child:
        return next(each for each in self.children.all if each.name == name)

    def rows(self, query: str) -> list[tuple[object, ...]]:
        """Read past the site."""
        if self.database_url:
            with closing(psycopg.connect(self.database_url)) as book:
                return list(book.execute(query.encode()).fetchall())
        with closing(sqlite3.connect(self.data / "driftbook.sqlite3", timeout=GIVE_UP_AFTER_S)) as book:
            return list(book.execute(query).fetchall())

    def n_open(self) -> int:
        [(n,)] = self.rows("select count(*) from plant_job where state in ('waiting', 'running')")
        return int(str(n))


# --- People who write -------------------------------------------------------------------------------------------------
@dataclass
class Taken:
    """Notes of incidents that the site said it has taken, and how often somebody had to send again."""

    notes: set[str] = field(default_factory=set)
    n_again: int = 0
    answers: Counter[str] = field(default_factory=Counter)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def add(self, notes: Sequence[str]) -> None:
        with self.lock:
            self.notes.update(notes)

    def again(self, words: str) -> None:
        with self.lock:
            self.n_again += 1
            self.answers[words] += 1


class Writer:
    """Somebody at a browser: sends a form until it is answered, the same each time."""

    def __init__(self, site: HurtSite, taken: Taken, name: str, is_over: threading.Event) -> None:
        self.site, self.taken, self.name, self.is_over = site, taken, name, is_over
        self.visitor = Visitor(site.address, Measured(), random.Random(name))

    def until_answered(self, ask: Callable[[], str | None]) -> str:
        until = time.monotonic() + GIVE_UP_AFTER_S
        while True:
            answer = ask()
            if answer is not None:
                return answer
            self.taken.again(fault_in_short(self.visitor.measured.faults[-1]))
            if time.monotonic() > until:
                raise TimeoutError(self.visitor.measured.faults[-1])
            time.sleep(0.2)

    def sign_in(self) -> None:
        self.until_answered(lambda: "in" if self.visitor.sign_in("pat", PASSWORD) else None)

    def form(self, path: str, holds: str) -> tuple[str, dict[str, str]]:
        page = self.until_answered(lambda: self.visitor.ask("form", path))
        reader = FormReader()
        reader.feed(page)
        return next((action or path, held) for action, held in reader.forms if holds in held)

    def write_incidents(self) -> None:
        n = 0
        while not self.is_over.is_set():
            self.write_incident(f"{self.name} {n}")
            n += 1

    def write_incident(self, note: str) -> None:
        path, held = self.form("/incidents/new/", "note")
        typed = {**held, "strand": "carry", "chainage_m": "40 m", "severity": "contact", "note": note}
        self.until_answered(lambda: self.visitor.ask("sent", path, typed))
        self.taken.add([note])

    def write_files(self) -> None:
        n = 0
        while not self.is_over.is_set():
            notes = [f"{self.name} {n} {row}" for row in range(ROWS_OF_FILE)]
            self.write_file(f"{self.name}-{n}.csv", notes)
            n += 1
            # The next one when this one is through, as one person does it.
            wait_until(lambda: self.is_over.is_set() or self.site.n_open() == 0, "the file that was sent in")

    def write_file(self, name: str, notes: Sequence[str]) -> None:
        # A minute of its own for each row: one that the book has with another note would rightly be refused.
        moments = (FIRST_ROW + timedelta(minutes=next(MINUTES)) for _note in notes)
        lines = [
            f"A-1,{at:%Y-%m-%d %H:%M},carry,{n % 200},{note}\n"
            for n, (at, note) in enumerate(zip(moments, notes, strict=True))
        ]
        _path, held = self.form("/imports/", "subject")
        sent = {**held, "subject": "incidents"}
        body, kind = multipart(sent, name, ("tag,when,strand,chainage,note\n" + "".join(lines)).encode())
        page = self.until_answered(lambda: self.visitor.ask_with("file", "/imports/new/", body, kind))
        reader = FormReader(chooses=False)
        reader.feed(page)
        path, form = next((action, held) for action, held in reader.forms if action.endswith("/choices/"))
        self.until_answered(lambda: self.visitor.ask("written", path, {**form, "act": "write"}))
        self.taken.add(notes)


def multipart(fields: dict[str, str], file_name: str, file: bytes) -> tuple[bytes, str]:
    """A form with a file as browsers send it (RFC 7578), and its content type."""
    edge = uuid.uuid4().hex
    head = f"--{edge}\r\nContent-Disposition: form-data; name="
    parts = [f'{head}"{name}"\r\n\r\n{value}\r\n' for name, value in fields.items()]
    parts.append(f'{head}"file"; filename="{file_name}"\r\nContent-Type: text/csv\r\n\r\n')
    return "".join(parts).encode() + file + f"\r\n--{edge}--\r\n".encode(), f"multipart/form-data; boundary={edge}"


def fault_in_short(words: str) -> str:
    """“answers 503” or “no answer” of what a visitor met."""
    known = re.search(r"answers (\d+)", words)
    return known[0] if known else "no answer"


# --- Faults -----------------------------------------------------------------------------------------------------------
def kill(child: Child) -> None:
    if child.process is not None:
        with suppress(ProcessLookupError):
            os.killpg(child.process.pid, signal.SIGKILL)


def kill_pages(site: HurtSite, rng: random.Random) -> None:
    kill(site.child("web server"))


def kill_one_of_the_pages(site: HurtSite, rng: random.Random) -> None:
    server = site.child("web server").process
    assert server is not None
    below = Path(f"/proc/{server.pid}/task/{server.pid}/children")
    if not below.exists():
        raise NotTried("a system that does not tell which process began which")
    # The first is Python's own tracker of what processes share.
    serving = [int(pid) for pid in below.read_text().split()][1:]
    if serving:
        with suppress(ProcessLookupError):
            os.kill(rng.choice(serving), signal.SIGKILL)


def kill_worker(site: HurtSite, rng: random.Random) -> None:
    kill(site.child("worker"))


def kill_timetable(site: HurtSite, rng: random.Random) -> None:
    kill(site.child("timetable"))


def kill_all(site: HurtSite, rng: random.Random) -> None:
    for child in site.children.all:
        kill(child)


def double_worker_and_timetable(site: HurtSite, rng: random.Random) -> None:
    """A second pair works for some seconds, then is killed."""
    known = commands(Path(sys.executable), "127.0.0.1", site.port)
    second = Children(cwd=ROOT, env=site.env, say=site.said.append)
    for name in ("worker", "timetable"):
        second.start(name, known[name])
    time.sleep(rng.uniform(4.0, 8.0))
    for child in second.all:
        kill(child)
        assert child.process is not None
        child.process.wait()


def cut_broker_off(site: HurtSite, rng: random.Random) -> None:
    """Messages go nowhere for some seconds, and those on their way are lost."""
    if site.redis_url:
        import redis

        with closing(redis.Redis.from_url(site.redis_url)) as broker:
            broker.flushall()
            broker.client_kill_filter(skipme=True, _type="normal")
            broker.client_pause(int(rng.uniform(2000, 5000)))
        return
    folder, away = site.data / "messages", site.data / "messages-away"
    folder.rename(away)
    time.sleep(rng.uniform(2.0, 5.0))
    for path in away.rglob("*"):
        if path.is_file() and path.parent.name == "queue":
            path.unlink()
    with suppress(FileNotFoundError):
        shutil.rmtree(folder)
    away.rename(folder)


def cut_data_base_off(site: HurtSite, rng: random.Random) -> None:
    """PostgreSQL: every connection ends in whatever it is doing, ten times. SQLite: somebody else holds the lock."""
    if not site.database_url:
        with closing(sqlite3.connect(site.data / "driftbook.sqlite3", timeout=60, isolation_level=None)) as book:
            book.execute("begin immediate")
            time.sleep(rng.uniform(2.0, 6.0))
            book.execute("rollback")
        return
    ends = (
        b"select pg_terminate_backend(pid) from pg_stat_activity "
        b"where pid <> pg_backend_pid() and datname = current_database()"
    )
    with closing(psycopg.connect(site.database_url, autocommit=True)) as book:
        for _n in range(10):
            book.execute(ends)
            time.sleep(rng.uniform(0.05, 0.5))


def fill_disk(site: HurtSite, rng: random.Random) -> None:
    """Nothing is left where the data folder lies, for some seconds; only where that is a small disk of its own."""
    if shutil.disk_usage(site.data).total > 2 * 2**30:
        raise NotTried("the data folder has to lie on a disk of its own, of at most 2 GB")
    filler = site.data / "filler"
    with suppress(OSError), filler.open("wb", buffering=0) as file:
        while file.write(b"\0" * 65536):
            pass
    with suppress(OSError), (site.data / "filler-2").open("wb", buffering=0) as file:
        while file.write(b"\0"):
            pass
    time.sleep(rng.uniform(3.0, 6.0))
    filler.unlink()
    (site.data / "filler-2").unlink(missing_ok=True)


@dataclass(frozen=True)
class Fault:
    """Something that happens to a site, by the words of the table."""

    words: str
    strike: Callable[[HurtSite, random.Random], None]


FAULTS = {
    "pages": Fault("all that serves pages is killed", kill_pages),
    "one-of-the-pages": Fault("one of two processes of pages is killed", kill_one_of_the_pages),
    "worker": Fault("the worker is killed", kill_worker),
    "timetable": Fault("the timetable is killed", kill_timetable),
    "all": Fault("everything is killed at once", kill_all),
    "twice": Fault("a second worker and timetable run, then are killed", double_worker_and_timetable),
    "broker": Fault("the broker is away, its messages are lost", cut_broker_off),
    "data-base": Fault("the data base ends all connections (PostgreSQL), or is locked (SQLite)", cut_data_base_off),
    "disk": Fault("the disk is full", fill_disk),
}


# --- The round --------------------------------------------------------------------------------------------------------
@dataclass
class Outcome:
    """What came of one fault."""

    words: str
    times: int = 0
    taken: int = 0
    n_again: int = 0
    answers: Counter[str] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    doubled: list[str] = field(default_factory=list)
    files: list[str] = field(default_factory=list)
    failed_jobs: list[str] = field(default_factory=list)
    healed_s: list[float] = field(default_factory=list)
    not_tried: str = ""

    @property
    def is_good(self) -> bool:
        return not (self.lost or self.doubled)


def suffer(site: HurtSite, fault: Fault, *, times: int, seed: int = 1) -> Outcome:
    """Let a fault strike so often while two people record incidents and one sends files in."""
    outcome, taken, is_over = Outcome(fault.words), Taken(), threading.Event()
    rng = random.Random(f"{fault.words} {seed}")
    run = f"{fault.words[:12]} {uuid.uuid4().hex[:6]}"
    writers = [Writer(site, taken, f"{run} {name}", is_over) for name in ("hand 1", "hand 2", "file")]
    faults: list[BaseException] = []

    def guarded(act: Callable[[], None]) -> None:
        try:
            act()
        except BaseException as error:
            faults.append(error)

    for each in writers:
        each.sign_in()
    acts = [writers[0].write_incidents, writers[1].write_incidents, writers[2].write_files]
    threads = [threading.Thread(target=guarded, args=(act,), daemon=True) for act in acts]
    for thread in threads:
        thread.start()
    try:
        for n in range(times):
            time.sleep(rng.uniform(0.3, 2.5))
            fault.strike(site, rng)
            outcome.times += 1
            outcome.healed_s.append(heal(site, taken, f"{run} after {n}", is_over))
    except NotTried as reason:
        outcome.not_tried = str(reason)
    finally:
        is_over.set()
        for thread in threads:
            thread.join(GIVE_UP_AFTER_S)
    if faults:
        raise faults[0]
    wait_until(lambda: site.n_open() == 0, "the jobs")
    judge(site, run, taken, outcome)
    return outcome


def heal(site: HurtSite, taken: Taken, name: str, is_over: threading.Event) -> float:
    """Seconds until a further incident is taken and the worker has done what waited."""
    began = time.monotonic()
    writer = Writer(site, taken, name, is_over)
    writer.sign_in()
    writer.write_incident(f"{name} healed")
    [(last,)] = site.rows("select coalesce(max(id), 0) from plant_job")
    query = f"select count(*) from plant_job where state in ('waiting', 'running') and id <= {int(str(last))}"
    wait_until(lambda: site.rows(query) == [(0,)], "the jobs that waited")
    return time.monotonic() - began


def judge(site: HurtSite, run: str, taken: Taken, outcome: Outcome) -> None:
    found = Counter(str(note) for (note,) in site.rows("select note from plant_incident") if str(note).startswith(run))
    outcome.taken, outcome.n_again, outcome.answers = len(taken.notes), taken.n_again, taken.answers
    outcome.lost = sorted(taken.notes - found.keys())
    outcome.doubled = sorted(note for note, n in found.items() if n > 1)
    query = "select file_name, state, n_rows, n_written, n_unchanged, n_refused, problem from plant_importbatch"
    outcome.files = [
        f"{name}: {state}, {n} rows, {new} written, {known} known, {bad} refused {why}"
        for name, state, n, new, known, bad, why in site.rows(query)
        if str(name).startswith(run) and (state != "done" or bad)
    ]
    outcome.failed_jobs = [str(error) for (error,) in site.rows("select error from plant_job where state = 'failed'")]


def table_of(outcomes: Sequence[Outcome]) -> str:
    """The outcomes in Markdown, a line a fault."""
    lines = [
        "| what happens | times | taken | sent again | answers meanwhile | lost | doubled | works again after (median; "
        "longest) |",
        "| --- | ---: | ---: | ---: | --- | ---: | ---: | --- |",
    ]
    return "\n".join([*lines, *map(line_of, outcomes)]) + "\n"


def line_of(outcome: Outcome) -> str:
    """What came of one fault, as a line of the table."""
    if outcome.not_tried:
        return f"| {outcome.words} | not tried: {outcome.not_tried} | | | | | | |"
    seconds = sorted(outcome.healed_s)
    answers = ", ".join(f"{words} {n}" for words, n in outcome.answers.most_common()) or "none failed"
    return (
        f"| {outcome.words} | {outcome.times} | {outcome.taken} | {outcome.n_again} | {answers} | "
        f"{len(outcome.lost)} | {len(outcome.doubled)} | {seconds[len(seconds) // 2]:.1f} s; {seconds[-1]:.1f} s |"
    )
