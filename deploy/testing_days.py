"""What `deploy/test_days` does: the same tests on other days, because a plant's book is opened on all of them.

Standard library only. The tests themselves move the clock (tests/clock.py); what passed on a day is remembered until a
file of the code changes, so a run that was broken off goes on where it stood.
"""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import json
import os
import subprocess
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from deploy import environment, testing
from deploy.environment import ROOT

# What the calendar does to a plant: ends of month and year, the leap day, both changes of the clock (Berlin), weekends,
# holidays. A moment with a time lies where the plant's day is not that of UTC.
DEMO_DAYS = (
    "2026-11-29",
    "2026-12-24",
    "2026-12-31T23:50+01:00",
    "2027-01-01T00:30+01:00",
    "2027-02-28",
    "2027-03-01",
    "2027-03-28",
    "2027-07-31",
    "2027-10-31",
    "2028-02-29",
    "2028-05-14",
    "2029-01-01",
    "2030-06-30T23:30+00:00",
)
SUITE_DAYS = ("2026-11-25", "2028-11-27", "2030-11-29")
DEMO_TESTS = ("tests/fixtures",)
# What the book holds of a demo plant that was loaded on the day; tests of the generator name their days by themselves.
LOADED = ("tests/fixtures/loading",)
# The crawl looks at every page of the demo plant and takes longer than all the rest; it runs with the whole suite.
DEMO_WALKS = ("tests/walks/demo", "--deselect", "tests/walks/demo/test_every_page.py")
PARTS = {"demo": (*DEMO_TESTS, *DEMO_WALKS), "stories": LOADED, "suite": ("tests",)}
FIRST_DAY, DAYS_OF_COMMITS = dt.date(2026, 11, 25), 4 * 365 + 1
CODE = ("plant", "installs", "inspections", "reports", "fixtures", "tests", "deploy")
ENDINGS = {".py", ".html", ".js", ".css", ".txt", ".typ", ".json", ".csv", ".svg", ".md"}


@dataclass(frozen=True)
class Run:
    """The tests of one part on one day."""

    day: str
    part: str
    passed: int
    failed: int
    skipped: int
    seconds: float

    @property
    def is_good(self) -> bool:
        return self.passed > 0 and self.failed == 0


def digest_of_code(folders: Sequence[str] = CODE) -> str:
    """A name for the state of the files; another one when any of them changed."""
    digest = hashlib.sha256()
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix in ENDINGS or (path.parent.name == "deploy" and path.is_file()):
                digest.update(str(path.relative_to(ROOT)).encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()[:20]


def commit_here() -> str:
    """The commit of this folder; empty where it is no clone (or not this account's), so the files themselves count."""
    try:
        done = subprocess.run(["git", "rev-parse", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False)
    except OSError:
        return ""
    return done.stdout.strip() if done.returncode == 0 else ""


def day_of_commit(commit: str) -> str:
    """A day within four years, another for each commit and always the same for one."""
    return (FIRST_DAY + dt.timedelta(days=1 + int(commit[:12], 16) % DAYS_OF_COMMITS)).isoformat()


def arguments(given: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="deploy/test_days",
        description="Run the demo's tests on a dozen days and the whole suite on three, two years apart. What passed "
        "is not run again while no file changed; break it off and start it again as you like.",
    )
    parser.add_argument("days", nargs="*", help="days instead of the usual ones: 2028-02-29, 2027-01-01T00:30+01:00")
    parser.add_argument("--part", choices=[*PARTS], action="append", help="only these tests (stories: no browser)")
    parser.add_argument("--of-commit", action="store_true", help="the stories on the one day that the commit names")
    parser.add_argument("--again", action="store_true", help="run what passed once more")
    parser.add_argument("--list", action="store_true", help="only show what is known and what would run")
    return parser.parse_args(list(given))


def plan_of(options: argparse.Namespace) -> list[tuple[str, str]]:
    """Day and part of each run, in order."""
    if options.of_commit:
        return [(day_of_commit(commit_here() or digest_of_code()), "stories")]
    parts = options.part or (["demo"] if options.days else ["demo", "suite"])
    usual = {"demo": DEMO_DAYS, "stories": DEMO_DAYS, "suite": SUITE_DAYS}
    return [(day, part) for part in parts for day in options.days or usual[part]]


def command_for(day: str, part: str) -> str:
    """What a person types to repeat it."""
    return f"DRIFTBOOK_TEST_DAY={day} deploy/test {' '.join(PARTS[part])}"


def run_on(python: Path, day: str, part: str, folder: Path) -> Run:
    stem = f"{part}-{day.replace(':', '')}"
    report, log = folder / f"{stem}.xml", folder / f"{stem}.log"
    report.unlink(missing_ok=True)
    env = {**os.environ, "DRIFTBOOK_TEST_DAY": day, "DATABASE_URL": ""}
    for name in testing.APART:
        env.pop(name, None)
    command = [str(python), "-m", "pytest", "-q", f"--junitxml={report}", *PARTS[part]]
    # All stories wait for one demo plant to be loaded.
    command += [] if part == "stories" else ["-n", testing.N_WORKERS]
    began = time.monotonic()
    with log.open("w") as file:
        subprocess.run(command, cwd=ROOT, env=env, stdout=file, stderr=subprocess.STDOUT, check=False)
    seconds = time.monotonic() - began
    return read_report(report, day, part, seconds)


def read_report(report: Path, day: str, part: str, seconds: float) -> Run:
    """Counts of a run; one that ended before its report counts as a failure."""
    if not report.exists():
        return Run(day, part, 0, 1, 0, seconds)
    suite = next(ElementTree.parse(report).getroot().iter("testsuite"))
    n, failed, errors, skipped = (int(suite.get(name, "0")) for name in ("tests", "failures", "errors", "skipped"))
    return Run(day, part, n - failed - errors - skipped, failed + errors, skipped, seconds)


def line(day: str, part: str, run: Run | None) -> str:
    if run is None:
        return f"{day:<25} {part:<8} {'not run yet':>25}"
    return f"{day:<25} {part:<8} {run.passed:>7} {run.failed:>7} {run.skipped:>8} {run.seconds:>8.0f}"


def main(given: Sequence[str]) -> int:
    """Run what is missing, print the table; 0 if nothing failed."""
    options = arguments(given)
    plan = plan_of(options)
    folder = Path(tempfile.gettempdir()) / "driftbook-test-days" / digest_of_code()
    folder.mkdir(parents=True, exist_ok=True)
    known: dict[tuple[str, str], Run] = {}
    for path in folder.glob("*.json"):
        run = Run(**json.loads(path.read_text(encoding="utf-8")))
        known[run.day, run.part] = run
    if not options.list:
        python = environment.ensure("requirements-test.txt")
        for day, part in plan:
            if not options.again and (before := known.get((day, part))) and before.is_good:
                continue
            print(f"{part} on {day}: {command_for(day, part)}", flush=True)
            run = known[day, part] = run_on(python, day, part, folder)
            (folder / f"{part}-{day.replace(':', '')}.json").write_text(json.dumps(run.__dict__), encoding="utf-8")
            if not run.is_good:
                tell_failures(folder / f"{part}-{day.replace(':', '')}.log")
    print(f"\n{'day':<25} {'tests':<8} {'passed':>7} {'failed':>7} {'skipped':>8} {'seconds':>8}")
    for day, part in plan:
        print(line(day, part, known.get((day, part))))
    print(f"Logs are in {folder}.")
    return 0 if options.list or all(known[each].is_good for each in plan) else 1


def tell_failures(log: Path) -> None:
    """The last lines of pytest, which name what failed."""
    lines = log.read_text(encoding="utf-8", errors="replace").splitlines()
    named = [each for each in lines if each.startswith(("FAILED", "ERROR"))]
    print("\n".join(named or lines[-20:]), flush=True)
