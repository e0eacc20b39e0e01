"""`manage.py check --deploy` has nothing to say of a site behind TLS, and something of one without."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests import clock

ROOT = Path(__file__).resolve().parents[2]
# The last is of the tests of pages in a browser, and is itself a fault here.
APART = {"DATABASE_URL", "REDIS_URL", "PYTHONWARNINGS", "DJANGO_SETTINGS_MODULE", "DJANGO_ALLOW_ASYNC_UNSAFE"}
BEHIND_TLS = {
    "DRIFTBOOK_ADDRESS": "https://driftbook.plant.example",
    "DRIFTBOOK_HOSTS": "driftbook.plant.example,localhost",
    "DRIFTBOOK_BEHIND_PROXY": "yes",
    "DRIFTBOOK_HSTS_SECONDS": "31536000",
    "DRIFTBOOK_REQUEST_ID_HEADER": "X-Request-ID",
    "DRIFTBOOK_METRICS_TOKEN": "only-for-the-watch",
    "DRIFTBOOK_MAIL_HOST": "mail.plant.example",
    "DRIFTBOOK_MAIL_FROM": "driftbook@plant.example",
}


def check(data: Path, **given: str) -> subprocess.CompletedProcess[str]:
    clock.mark(data)
    known = {
        name: value for name, value in os.environ.items() if name not in APART and not name.startswith("DRIFTBOOK_")
    }
    # The site's own settings, with the key that it makes by itself.
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env={
            **known,
            "DRIFTBOOK_DATA": str(data),
            **given,
        },  # the site's own settings, with the key that it makes itself
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_site_behind_tls_is_clean(tmp_path):
    done = check(tmp_path, **BEHIND_TLS)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "no issues" in done.stdout


def test_a_site_without_tls_is_told_what_it_lacks(tmp_path):
    done = check(tmp_path, **{**BEHIND_TLS, "DRIFTBOOK_ADDRESS": "http://driftbook.plant.example"})
    assert done.returncode == 1
    for lacking in ("security.W012", "security.W016"):  # cookies that go over plain http
        assert lacking in done.stderr
