"""deploy/test_days: which days, what is remembered, what is told."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from deploy import testing_days
from deploy.testing_days import (
    DEMO_DAYS,
    SUITE_DAYS,
    Run,
    arguments,
    day_of_commit,
    digest_of_code,
    main,
    plan_of,
    read_report,
)
from tests import clock

REPORT = '<testsuites><testsuite tests="12" failures="{failed}" errors="1" skipped="2" time="3.5"/></testsuites>'


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Nothing is installed and no test is run: `days` says how each day ends."""
    monkeypatch.setattr(testing_days.tempfile, "gettempdir", lambda: str(tmp_path))
    monkeypatch.setattr(testing_days, "digest_of_code", lambda: "same")
    monkeypatch.setattr(testing_days.environment, "ensure", lambda requirements: Path("python"))
    monkeypatch.setattr(testing_days, "tell_failures", lambda log: print("FAILED tests/one"))
    return tmp_path


@pytest.fixture
def asked(folder, monkeypatch):
    asked = []

    def run_on(python, day, part, folder):
        asked.append((day, part))
        return Run(day, part, 10, day == "2028-02-29" and len(asked) < 3, 1, 12.0)

    monkeypatch.setattr(testing_days, "run_on", run_on)
    return asked


def test_the_usual_days_hold_what_the_calendar_does():
    days = {clock.moment_of(each).date() for each in DEMO_DAYS}
    assert len(DEMO_DAYS) >= 12
    assert {dt.date(2028, 2, 29), dt.date(2027, 3, 28), dt.date(2027, 10, 31), dt.date(2026, 12, 24)} <= days
    assert any((day + dt.timedelta(days=1)).day == 1 for day in days)
    years = [clock.moment_of(each).year for each in SUITE_DAYS]
    assert [later - earlier for earlier, later in pairwise(years)] == [2, 2]


def test_a_commit_names_one_day_of_the_next_four_years():
    hashes = [f"{n * 7919:012x}" + "0" * 28 for n in range(2000)]
    days = {day_of_commit(each) for each in hashes}
    assert day_of_commit(hashes[5]) == day_of_commit(hashes[5])
    assert len(days) > 1000
    assert min(days) > clock.DAY
    assert max(days) < "2030-12-01"
    assert plan_of(arguments(["--of-commit"]))[0][1] == "stories"


def test_a_folder_that_is_no_clone_takes_its_day_from_its_files(monkeypatch):
    def no_git(*_args, **_words):
        raise FileNotFoundError("git")

    monkeypatch.setattr(subprocess, "run", no_git)
    [(day, part)] = plan_of(arguments(["--of-commit"]))
    assert (day, part) == (day_of_commit(digest_of_code()), "stories")


def test_parts_and_days_are_chosen():
    assert plan_of(arguments([])) == [(day, "demo") for day in DEMO_DAYS] + [(day, "suite") for day in SUITE_DAYS]
    assert plan_of(arguments(["2027-01-01"])) == [("2027-01-01", "demo")]
    assert plan_of(arguments(["--part", "suite", "2027-01-01"])) == [("2027-01-01", "suite")]


def test_a_broken_off_run_goes_on_and_what_failed_is_run_again(asked, capsys):
    days = ["2027-03-28", "2028-02-29"]
    assert main([*days, "--part", "stories"]) == 1
    words = capsys.readouterr().out
    assert "stories on 2028-02-29: DRIFTBOOK_TEST_DAY=2028-02-29 deploy/test tests/fixtures" in words
    assert "FAILED tests/one" in words
    assert asked == [("2027-03-28", "stories"), ("2028-02-29", "stories")]
    assert main([*days, "--part", "stories"]) == 0
    assert asked[2:] == [("2028-02-29", "stories")]
    table = capsys.readouterr().out.splitlines()
    assert any(each.split() == ["2027-03-28", "stories", "10", "0", "1", "12"] for each in table)
    assert main([*days, "--part", "stories", "--again"]) == 0
    assert len(asked) == 5


def test_what_would_run_is_shown_without_running(asked, capsys):
    assert main(["--list"]) == 0
    assert capsys.readouterr().out.count("not run yet") == len(DEMO_DAYS) + len(SUITE_DAYS)
    assert asked == []


def test_counts_come_from_the_report_and_a_run_without_one_failed(tmp_path):
    report = tmp_path / "report.xml"
    report.write_text(REPORT.format(failed=2))
    assert read_report(report, "2027-01-01", "demo", 9.0) == Run("2027-01-01", "demo", 7, 3, 2, 9.0)
    assert not read_report(tmp_path / "none.xml", "2027-01-01", "demo", 9.0).is_good
    assert json.loads(json.dumps(Run("2027-01-01", "demo", 7, 0, 2, 9.0).__dict__))["passed"] == 7
