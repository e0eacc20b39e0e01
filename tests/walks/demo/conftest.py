"""The demo plant on a real server of its own, loaded once for all walks; people use it through Chromium only."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from fixtures.people import DEMO_PASSWORD
from tests.migrated_book import lay_down
from tests.servers import free_port

ROOT = Path(__file__).resolve().parents[3]
START_WITHIN_S = 60


@dataclass(frozen=True)
class Site:
    address: str
    data: Path

    def manage(self, *args: str) -> str:
        done = subprocess.run(
            [sys.executable, "manage.py", *args], cwd=ROOT, env=environment(self.data), capture_output=True, text=True,
            check=False, timeout=300,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout


def environment(data: Path) -> dict[str, str]:
    known = {
        name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "REDIS_URL", "PYTHONWARNINGS"}
    }
    return {**known, "DRIFTBOOK_DATA": str(data), "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "DRIFTBOOK_SECRET_KEY": "only-for-walks-" + "x" * 50}  # fmt: skip


def wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + START_WITHIN_S
    while time.monotonic() < until:
        assert server.poll() is None, "the server ended at once"
        try:
            with urllib.request.urlopen(f"{address}/sign-in/", timeout=5):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise AssertionError(f"no answer from {address} within {START_WITHIN_S} s")


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    running = os.environ.get("DRIFTBOOK_WALK_ADDRESS")
    if running:  # while a walk is written: a demo site that runs already, with its data folder
        yield Site(address=running, data=Path(os.environ["DRIFTBOOK_WALK_DATA"]))
        return
    data = tmp_path_factory.mktemp("demo-site")
    port = free_port()
    made = Site(address=f"http://127.0.0.1:{port}", data=data)
    lay_down(data)
    made.manage("migrate", "--verbosity=0")
    made.manage("collectstatic", "--noinput", "--verbosity=0")
    made.manage("load_demo")
    server = subprocess.Popen(
        [str(Path(sys.executable).parent / "granian"), "--interface", "wsgi", "--host", "127.0.0.1",
         "--port", str(port), "--workers", "1", "--blocking-threads", "4", "deploy.wsgi:application"],
        cwd=ROOT, env=environment(data), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        wait_for(made.address, server)
        yield made
    finally:
        server.terminate()
        server.wait(timeout=20)


@pytest.fixture
def sign_in(site: Site, context):
    """Gives back a page on which the person has signed in."""

    def act(name: str, width: int = 1440, height: int = 900):
        page = context.new_page()
        page.set_viewport_size({"width": width, "height": height})
        page.goto(f"{site.address}/sign-in/")
        page.get_by_label("Username").fill(name)
        page.get_by_label("Password").fill(DEMO_PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(f"{site.address}/")
        return page

    return act
