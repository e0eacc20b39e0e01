"""What `deploy/test` and `deploy/check` do. Standard library only; the tools run in the virtual environment.

Addresses of services that tests may use:

DRIFTBOOK_TEST_DATABASE_URL
    A PostgreSQL data base; the suite runs a second time on it.
DRIFTBOOK_TEST_REDIS_URL
    A Redis server; the tests of the real worker run a second time on it.
DRIFTBOOK_CHROMIUM
    The browser; default chromium-headless-shell or chromium, whichever is there.

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
# One more than cores: tests wait for servers and browsers.
N_WORKERS = str((os.cpu_count() or 1) + 1)
APPS = ("plant", "installs", "inspections", "reports")
# All Python but migrations, which are history, and tests (both left out in pyproject.toml).
TYPED = [*APPS, "fixtures", "deploy", "manage.py"]

# What `--quick` runs: whatever needs no data base, and services whose tests are done in a second or two.
QUICK = [f"tests/{app}/calc" for app in APPS]
QUICK += ["tests/test_house.py", "tests/test_words.py", "tests/test_docstrings.py"]
QUICK += [
    f"tests/{app}/services/test_{topic}.py"
    for app, topics in {
        "plant": ("incidents", "outages", "records", "running_hours", "switch_events"),
        "installs": ("devices", "fit_up", "out_of_service", "part_changes", "placement"),
        "inspections": ("actions", "check_plans"),
        "reports": ("study_windows",),
    }.items()
    for topic in topics
]
# Calculations that are tried on thousands of drawn plants: half a minute that the quick choice leaves out.
SIMULATIONS = [
    "tests/reports/calc/test_pooled.py::test_pooled_against_expectation_the_middle_does_not_lean_and_its_limits_hold",
    "tests/reports/calc/test_pooled.py::test_the_ranges_hold_the_middle_and_the_next_device_as_often_as_they_say",
    "tests/reports/calc/test_life.py::test_the_interval_of_the_demand_holds_what_comes",
    "tests/reports/calc/test_life.py::test_intervals_cover_the_truth_by_simulation",
    "tests/inspections/calc/test_intervals.py::test_interval_of_the_chance_covers_the_truth_by_simulation",
]

# The browser walks bring a site of their own, calculations and the scenario know of no data base, and what the stories
# of the demo, the table of rights and the numbers of queries say does not depend on which it is; all run on SQLite.
# What shows rows gets them from services and selectors, which are asked on both. Backups, restores and upgrades have
# sites of their own, of either data base: which one the run has changes nothing of them.
NOT_OF_DATABASE = ["--of-database", "-m", "not browser and not worker"]
NOT_OF_DATABASE += [f"--ignore-glob=*/{layer}" for layer in ("calc", "words", "charts", "files", "tables", "forms")]
NOT_OF_DATABASE += ["--ignore=tests/fixtures", "--ignore=tests/walks", "--ignore=tests/test_access.py"]
NOT_OF_DATABASE += ["--ignore=tests/deploy/management/test_load_demo.py", "--ignore=tests/deploy/bench"]
NOT_OF_DATABASE += ["--ignore=tests/deploy/backups"]

# Programs of the environment begin with the path at which it was made; its Python finds the same after a move.
LINT_IMPORTS = "from importlinter.cli import lint_imports_command; lint_imports_command()"
CHECK_HELP = "The quick look before a commit: style, types, contracts, migrations. Installs what it needs."
TEST_HELP = """usage: deploy/test [words for pytest ...]

Installs what the tests need and runs them all: the tests on SQLite, and beside them style, types, migrations and
contracts, and on PostgreSQL, where it is named, what may come out otherwise there. With words it runs the tests that
they choose, without the looks:

  deploy/test tests/plant -k incidents     tests of a folder, by name
  deploy/test --quick                      the quick choice below
  deploy/test -x --lf                      those that failed last, up to the first failure
  deploy/test --collect-only -q            what tests there are
  deploy/check                             style, types, contracts and migrations alone

--quick is for the loop of writing and trying, under two minutes on two idle cores once the tools have their caches:
style, types, migrations and contracts, then, on SQLite, all calculations, the rules of the house, of words and of
docstrings, and a few services of each app (QUICK in deploy/testing.py). It leaves out the simulations among the
calculations (SIMULATIONS there) and most examples that are drawn at random, the other services, all
selectors, words, forms, views, files and charts, who may open which page, the demo plant, the browser walks, real
workers, and PostgreSQL. Words after it go to pytest.

in the environment:
  DRIFTBOOK_TEST_DATABASE_URL   a PostgreSQL data base: the suite runs a second time on it
  DRIFTBOOK_TEST_REDIS_URL      a Redis server: the real worker is tested on it too
  DRIFTBOOK_CHROMIUM            the browser, default chromium-headless-shell or chromium
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
    out, faults = (subprocess.PIPE, subprocess.STDOUT) if is_beside else (None, None)
    done = subprocess.run(
        [str(part) for part in command], cwd=ROOT, env=env, check=False, text=True, stdout=out, stderr=faults
    )
    if is_beside:
        print(f"\n--- {title}\n{done.stdout.strip()}", flush=True)
    return done.returncode


def look(python: Path, *, is_beside: bool = False) -> int:
    """Style, types, migrations, contracts; the number of those that failed. Each tool keeps its cache in the folder."""
    steps: list[tuple[str, list[str | Path]]] = [
        ("style", [python, "-m", "ruff", "check", "."]),
        ("format", [python, "-m", "ruff", "format", "--check", "--quiet", "."]),
        ("templates, scripts and sheets", [python, "-m", "deploy.formats", "--check"]),
        ("types", [python, "-m", "mypy", *TYPED]),
        ("migrations", [python, "manage.py", "makemigrations", "--check", "--dry-run", "--verbosity=0",
                        "--settings=tests.settings"]),
        ("contracts", [python, "-c", LINT_IMPORTS]),
    ]  # fmt: skip
    return sum(run(title, command, is_beside=is_beside) != 0 for title, command in steps)


def quick_look(given: Sequence[str] = ()) -> int:
    """Style, types, contracts and migrations; returns 0 if all are good."""
    argparse.ArgumentParser(prog="deploy/check", description=CHECK_HELP).parse_args(list(given))
    python = environment.ensure("requirements-test.txt")
    failed = look(python)
    print(f"\n{failed} of the looks failed." if failed else "\nAll looks are good.")
    return 1 if failed else 0


def quick_run(python: Path, words: Sequence[str]) -> int:
    """The looks and the quick choice of tests, side by side; returns 0 if all passed."""
    left_out = [f"--deselect={name}" for name in SIMULATIONS]
    command: list[str | Path] = [python, "-m", "pytest"]
    command += ["-q", "-n", N_WORKERS, "--hypothesis-profile=quick", *QUICK, *left_out, *words]
    with ThreadPoolExecutor(max_workers=1) as beside:
        looks = beside.submit(look, python, is_beside=True)
        failed = int(run("quick tests on SQLite", command, DATABASE_URL="") != 0)
        failed += looks.result()
    print("\nSomething failed; see above." if failed else "\nAll of the quick choice passed.")
    return 1 if failed else 0


def main(given: Sequence[str]) -> int:
    """Run all tests; returns 0 if all passed."""
    if {"-h", "--help"} & set(given):
        print(TEST_HELP)
        return 0
    python = environment.ensure("requirements-test.txt")
    if "--quick" in given:
        return quick_run(python, [word for word in given if word != "--quick"])
    if given:
        failed = int(run("tests on SQLite", [python, "-m", "pytest", *given], DATABASE_URL="") != 0)
        failed += run_on_postgres(python, given)
    else:
        failed = whole_run(python)
    print("\nSomething failed; see above." if failed else "\nAll passed.")
    return 1 if failed else 0


def whole_run(python: Path) -> int:
    """The looks and the suite on both data bases, side by side; the number of those that failed.

    Tests wait for servers and browsers, and towards its end one slow walk keeps a run of its own waiting: what runs
    beside it fills the cores. What runs beside says its words when it has ended.
    """
    workers = ["-n", N_WORKERS, "--durations=25"]
    with ThreadPoolExecutor(max_workers=2) as beside:
        looks = beside.submit(look, python, is_beside=True)
        on_postgres = beside.submit(run_on_postgres, python, ["--durations=25"], is_beside=True)
        failed = run("tests on SQLite", [python, "-m", "pytest", *workers], DATABASE_URL="") != 0
        return failed + on_postgres.result() + looks.result()


def run_on_postgres(python: Path, words: Sequence[str], *, is_beside: bool = False) -> int:
    """What may come out otherwise on PostgreSQL; 1 where it failed, or was skipped in CI."""
    postgres = os.environ.get("DRIFTBOOK_TEST_DATABASE_URL")
    if not postgres:
        print("\nNo DRIFTBOOK_TEST_DATABASE_URL: the run on PostgreSQL was skipped.")
        return int(os.environ.get("CI") == "true" and is_beside)
    command: list[str | Path] = [python, "-m", "pytest", *NOT_OF_DATABASE, *words]
    return int(run("tests on PostgreSQL", command, is_beside=is_beside, DATABASE_URL=postgres) != 0)
