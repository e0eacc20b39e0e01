"""One moved clock for the whole suite: test, child processes and browser agree; a real site never moves."""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
import time_machine
from django.core.exceptions import ImproperlyConfigured
from django.utils import timezone

from tests import clock

ROOT = Path(__file__).resolve().parent.parent
TELL = "import django; django.setup(); from django.utils import timezone; print(timezone.now().timestamp())"


def run(data, settings, code=TELL, **env):
    apart = ("DATABASE_URL", "REDIS_URL", *env)
    known = {name: value for name, value in os.environ.items() if name not in apart}
    known |= {"DRIFTBOOK_DATA": str(data), "DJANGO_SETTINGS_MODULE": settings}
    known |= {name: value for name, value in env.items() if value is not None}
    return subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=known, capture_output=True, text=True, check=False
    )


def told(done):
    assert done.returncode == 0, done.stderr
    return float(done.stdout)


def test_a_whole_site_in_tests_has_the_time_of_the_test(tmp_path):
    clock.mark(tmp_path)
    before = time.time()
    there = told(run(tmp_path, "tests.site_settings"))
    assert before - 0.01 <= there <= time.time() + 0.01


@pytest.mark.parametrize(
    ("words", "moment"),
    [
        ("2028-02-29", "2028-02-29T10:00:00+00:00"),
        ("2026-12-31T23:50", "2026-12-31T23:50:00+00:00"),
        ("2027-01-01T00:30+01:00", "2026-12-31T23:30:00+00:00"),
    ],
)
def test_the_day_is_a_setting(tmp_path, words, moment):
    clock.mark(tmp_path)
    began = time.monotonic()
    there = told(run(tmp_path, "tests.site_settings", **{"DRIFTBOOK_TEST_DAY": words, clock.AHEAD: None}))
    wanted = dt.datetime.fromisoformat(moment).timestamp()
    assert wanted <= there <= wanted + time.monotonic() - began
    assert clock.moment_of(words) == dt.datetime.fromisoformat(moment)


def test_a_day_that_cannot_be_is_named():
    with pytest.raises(ImproperlyConfigured, match="DRIFTBOOK_TEST_DAY is '2027-02-29'; give a date such as"):
        clock.moment_of("2027-02-29")


def test_a_real_site_keeps_the_machines_clock_whatever_is_set(tmp_path):
    before = clock.machine_s()
    day = {"DRIFTBOOK_TEST_DAY": "2040-01-01", clock.AHEAD: "1000000", "DRIFTBOOK_SECRET_KEY": "x" * 50}
    there = told(run(tmp_path, "deploy.settings", **day))
    assert before - 0.01 <= there <= clock.machine_s() + 0.01


@pytest.mark.parametrize("settings", ["tests.settings", "tests.site_settings", "tests.deploy.worker_settings"])
def test_the_clock_of_a_folder_that_no_test_made_is_never_moved(tmp_path, settings):
    done = run(tmp_path, settings)
    assert done.returncode != 0
    assert "a folder that no test has made: the clock of a real site is never moved" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_product_knows_nothing_of_it():
    told_of = [
        str(path.relative_to(ROOT))
        for app in ("plant", "installs", "inspections", "reports", "fixtures", "deploy")
        for path in (ROOT / app).rglob("*.py")
        if any(word in path.read_text(encoding="utf-8") for word in ("time_machine", "TEST_DAY", clock.AHEAD))
    ]
    assert set(told_of) <= {"deploy/testing.py", "deploy/testing_days.py"}


def test_frozen_and_moved_moments_lie_inside_each_other_and_waits_keep_their_length():
    around, began = timezone.now(), time.monotonic()
    with time_machine.travel(dt.datetime(2031, 5, 5, 12, tzinfo=dt.UTC), tick=False):
        assert timezone.now() == dt.datetime(2031, 5, 5, 12, tzinfo=dt.UTC)
        with time_machine.travel(dt.datetime(2025, 1, 1, tzinfo=dt.UTC), tick=True):
            assert timezone.localdate() == dt.date(2025, 1, 1)
        assert timezone.localdate() == dt.date(2031, 5, 5)
        assert time.monotonic() - began < 24 * 3600
    assert around <= timezone.now() < around + dt.timedelta(days=1)


@pytest.mark.browser
def test_the_browsers_date_is_that_of_the_test(new_context):
    page = new_context().new_page()
    before = time.time()
    seen = page.evaluate("""() => ({
        now: Date.now(), made: new Date().getTime(), said: Date.parse(Date()), kind: new Date() instanceof Date,
        given: new Date(0).toISOString(), parts: Date.UTC(1970, 0, 2), parsed: Date.parse("1970-01-01T00:00:01Z"),
        zone: new Date(Date.UTC(2026, 0, 1)).toLocaleDateString("en-CA", { timeZone: "Europe/Berlin" }),
    })""")
    for name in ("now", "made", "said"):
        assert before - 1.1 <= seen[name] / 1000 <= time.time() + 0.1, name  # Date() tells whole seconds
    assert seen["kind"] is True
    assert (seen["given"], seen["parts"], seen["parsed"]) == ("1970-01-01T00:00:00.000Z", 86_400_000, 1000)
    assert seen["zone"] == "2026-01-01"


@pytest.mark.browser
def test_a_browser_that_is_opened_in_a_moved_moment_stands_there(new_context):
    with time_machine.travel(dt.datetime(2031, 5, 5, 12, tzinfo=dt.UTC), tick=True):
        page = new_context().new_page()
        assert page.evaluate("() => new Date().toISOString()").startswith("2031-05-05T12:")
