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

import argparse
import os
import subprocess
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from deploy import environment
from deploy.environment import ROOT

# Tests keep away from the site of this machine; and without kept bytecode each process compiles every test anew.
APART = ("DJANGO_SETTINGS_MODULE", "DRIFTBOOK_DATA", "PYTHONDONTWRITEBYTECODE")
# Two even on one core: tests wait for servers and browsers.
N_WORKERS = str(max(2, os.cpu_count() or 2))
TYPED = [f"{app}/{layer}" for app in ("plant", "installs", "inspections", "reports") for layer in ("calc", "services")]
TYPED += ["fixtures/loading", "deploy/bench", "inspections/check_rules"]

# Programs of the environment begin with the path at which it was made; its Python finds the same after a move.
LINT_IMPORTS = "from importlinter.cli import lint_imports_command; lint_imports_command()"
CHECK_HELP = "The quick look before a commit: style, types, contracts, migrations. Installs what it needs."
TEST_HELP = """usage: deploy/test [words for pytest ...]

Installs what the tests need and runs them all: style, types and migrations first, then the tests on SQLite, and on
PostgreSQL where it is named. With words it runs the tests that they choose, without the looks before:

  deploy/test tests/plant -k incidents     tests of a folder, by name
  deploy/test -x --lf                      those that failed last, up to the first failure
  deploy/test --collect-only -q            what tests there are
  deploy/check                             style, types, contracts and migrations alone

in the environment:
  DRIFTBOOK_TEST_DATABASE_URL   a PostgreSQL data base: the suite runs a second time on it
  DRIFTBOOK_TEST_REDIS_URL      a Redis server: the real worker is tested on it too
  DRIFTBOOK_CHROMIUM            the browser, default /usr/bin/chromium
  DRIFTBOOK_VENV                folder of the virtual environment, default .venv
  CI=true                       what is missing fails instead of being skipped

All other words go to pytest as they are: https://docs.pytest.org/en/stable/how-to/usage.html"""


def run(title: str, command: Sequence[str | Path], *, is_beside: bool = False, **more: str) -> int:
    """Run a program and say what it is; beside another one its words come when it has ended."""
    if not is_beside:
        print(f"\n--- {title}", flush=True)
    env = {**os.environ, **more}
    for name in APART:
        env.pop(name, None)
    words = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT} if is_beside else {}
    done = subprocess.run([str(part) for part in command], cwd=ROOT, env=env, check=False, text=True, **words)
    if is_beside:
        print(f"\n--- {title}\n{done.stdout.strip()}", flush=True)
    return done.returncode


def look(python: Path, *, is_beside: bool = False) -> int:
    """Style, types, contracts, migrations; the number of those that failed."""
    steps = [
        ("style", [python, "-m", "ruff", "check", "."]),
        ("format", [python, "-m", "ruff", "format", "--check", "--quiet", "."]),
        ("types of calc and services", [python, "-m", "mypy", *TYPED]),
        ("migrations", [python, "manage.py", "makemigrations", "--check", "--dry-run", "--verbosity=0",
                        "--settings=tests.settings"]),
    ]  # fmt: skip
    return sum(run(title, command, is_beside=is_beside) != 0 for title, command in steps)


def quick_look(given: Sequence[str] = ()) -> int:
    """Style, types, contracts and migrations; returns 0 if all are good."""
    argparse.ArgumentParser(prog="deploy/check", description=CHECK_HELP).parse_args(list(given))
    python = environment.ensure("requirements-test.txt")
    failed = look(python)
    failed += run("contracts", [python, "-c", LINT_IMPORTS, "--no-cache"]) != 0
    print(f"\n{failed} of the looks failed." if failed else "\nAll looks are good.")
    return 1 if failed else 0


def main(given: Sequence[str]) -> int:
    """Run all tests; returns 0 if all passed."""
    if {"-h", "--help"} & set(given):
        print(TEST_HELP)
        return 0
    python = environment.ensure("requirements-test.txt")
    workers = ["-n", N_WORKERS, "--durations=25"] if not given else []
    with ThreadPoolExecutor(max_workers=1) as beside:  # the look fills the pauses in which a test waits for something
        looks = None if given else beside.submit(look, python, is_beside=True)
        failed = run("tests on SQLite", [python, "-m", "pytest", *workers, *given], DATABASE_URL="") != 0
        postgres = os.environ.get("DRIFTBOOK_TEST_DATABASE_URL")
        if postgres:
            # The browser walks bring a site of their own, calculations and the scenario know of no data base, and what
            # the stories of the demo, the table of rights and the numbers of queries say does not depend on which it
            # is; all have run above.
            left_out = ["--of-database", "-m", "not browser and not worker", "--ignore-glob=*/calc"]
            left_out += ["--ignore=tests/fixtures", "--ignore=tests/walks"]
            left_out += ["--ignore=tests/deploy/management/test_load_demo.py"]
            left_out += ["--ignore=tests/test_access.py"]
            left_out += ["--ignore=tests/deploy/bench"]
            command = [python, "-m", "pytest", *workers, *left_out, *given]
            failed += run("tests on PostgreSQL", command, DATABASE_URL=postgres) != 0
        else:
            print("\nNo DRIFTBOOK_TEST_DATABASE_URL: the run on PostgreSQL was skipped.")
            failed += os.environ.get("CI") == "true" and not given
        failed += looks.result() if looks else 0
    print("\nSomething failed; see above." if failed else "\nAll passed.")
    return 1 if failed else 0
