"""What `deploy/test` and `deploy/check` do. Standard library only; the tools run in the virtual environment.

Addresses of services that tests may use:

DRIFTBOOK_TEST_DATABASE_URL
    A PostgreSQL data base; the suite runs a second time on it.
DRIFTBOOK_TEST_REDIS_URL
    A Redis server; the tests of the real worker run a second time on it.
DRIFTBOOK_CHROMIUM
    The browser, default /usr/bin/chromium.

Where one is missing its tests are skipped and say so; with CI=true such a skip is a failure.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from deploy import environment
from deploy.environment import ROOT

TYPED = [f"{app}/{layer}" for app in ("plant", "installs", "inspections", "reports") for layer in ("calc", "services")]


def run(title: str, command: Sequence[str | Path], *, is_beside: bool = False, **more: str) -> int:
    """Run a program and say what it is; beside another one its words come when it has ended."""
    if not is_beside:
        print(f"\n--- {title}", flush=True)
    env = {**os.environ, **more}
    for name in ("DJANGO_SETTINGS_MODULE", "DRIFTBOOK_DATA"):  # tests keep away from the site of this machine
        env.pop(name, None)
    words = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT} if is_beside else {}
    done = subprocess.run([str(part) for part in command], cwd=ROOT, env=env, check=False, text=True, **words)
    if is_beside:
        print(f"\n--- {title}\n{done.stdout.strip()}", flush=True)
    return done.returncode


def look(python: Path, *, is_beside: bool = False) -> int:
    """Style, types, contracts, migrations; the number of those that failed."""
    steps = [
        ("style", [environment.program("ruff"), "check", "."]),
        ("format", [environment.program("ruff"), "format", "--check", "--quiet", "."]),
        ("types of calc and services", [environment.program("mypy"), *TYPED]),
        ("migrations", [python, "manage.py", "makemigrations", "--check", "--dry-run", "--verbosity=0",
                        "--settings=tests.settings"]),
    ]  # fmt: skip
    return sum(run(title, command, is_beside=is_beside) != 0 for title, command in steps)


def quick_look() -> int:
    python = environment.ensure("requirements-test.txt")
    failed = look(python)
    failed += run("contracts", [environment.program("lint-imports"), "--no-cache"]) != 0
    print(f"\n{failed} of the looks failed." if failed else "\nAll looks are good.")
    return 1 if failed else 0


def main(given: Sequence[str]) -> int:
    """Run all tests; returns 0 if all passed."""
    python = environment.ensure("requirements-test.txt")
    workers = ["-n", "2", "--durations=25"] if not given else []
    with ThreadPoolExecutor(max_workers=1) as beside:  # the look fills the pauses in which a test waits for something
        looks = None if given else beside.submit(look, python, is_beside=True)
        failed = run("tests on SQLite", [python, "-m", "pytest", *workers, *given], DATABASE_URL="") != 0
        postgres = os.environ.get("DRIFTBOOK_TEST_DATABASE_URL")
        if postgres:
            # The browser walks bring a site of their own, calculations and the scenario know of no data base, and what
            # the stories of the demo and the table of rights say does not depend on which it is; all have run above.
            left_out = ["-m", "not browser and not worker", "--ignore-glob=*/calc", "--ignore=tests/fixtures"]
            left_out += ["--ignore=tests/reports/services/test_demo.py", "--ignore=tests/test_access.py"]
            command = [python, "-m", "pytest", *workers, *left_out, *given]
            failed += run("tests on PostgreSQL", command, DATABASE_URL=postgres) != 0
        else:
            print("\nNo DRIFTBOOK_TEST_DATABASE_URL: the run on PostgreSQL was skipped.")
            failed += os.environ.get("CI") == "true" and not given
        failed += looks.result() if looks else 0
    print("\nSomething failed; see above." if failed else "\nAll passed.")
    return 1 if failed else 0
