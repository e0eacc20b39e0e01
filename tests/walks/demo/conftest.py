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
from tests.demo_site import environment, lay_down_demo, manage
from tests.servers import GIVE_UP_AFTER_S, free_port

ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True)
class Site:
    address: str
    data: Path
    settings: str = "tests.site_settings"

    def manage(self, *args: str) -> str:
        return manage(self.data, *args, DJANGO_SETTINGS_MODULE=self.settings)


def wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + GIVE_UP_AFTER_S
    while time.monotonic() < until:
        assert server.poll() is None, "the server ended at once"
        try:
            with urllib.request.urlopen(f"{address}/sign-in/", timeout=GIVE_UP_AFTER_S):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise AssertionError(f"no answer from {address} within {GIVE_UP_AFTER_S} s")


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    running = os.environ.get("DRIFTBOOK_WALK_ADDRESS")
    if running:  # while a walk is written: a demo site that runs already, with its data folder and the machine's clock
        yield Site(running, Path(os.environ["DRIFTBOOK_WALK_DATA"]), "deploy.settings")
        return
    data = tmp_path_factory.mktemp("demo-site")
    port = free_port()
    made = Site(address=f"http://127.0.0.1:{port}", data=data)
    lay_down_demo(data)
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
        server.wait(timeout=GIVE_UP_AFTER_S)


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
