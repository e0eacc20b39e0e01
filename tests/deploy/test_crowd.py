"""A real server that is asked for more than it can serve: it says so at once, and works on."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from pathlib import Path

import pytest

from deploy import running
from deploy.environment import CannotStart
from tests.servers import GIVE_UP_AFTER_S, free_port

ROOT = Path(__file__).resolve().parents[2]
WAITING = 3


def asked(address, wanted="text/html"):
    """Status, headers and text of an answer; status 0 where the connection was ended."""
    request = urllib.request.Request(address, headers={"Accept": wanted})
    try:
        with urllib.request.urlopen(request, timeout=GIVE_UP_AFTER_S) as answer:
            return answer.status, answer.headers, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.headers, error.read().decode()
    except OSError:
        return 0, {}, ""


def wait_until(holds, what):
    until = time.monotonic() + GIVE_UP_AFTER_S
    while not holds():
        assert time.monotonic() < until, what
        time.sleep(0.05)


@pytest.fixture
def site(tmp_path):
    """One process of pages, started as deploy/start does it, in whose folder `open` lets the held pages go."""
    (tmp_path / "held").mkdir()
    env = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "REDIS_URL"}} | {
        "DJANGO_SETTINGS_MODULE": "tests.deploy.crowded_site",
        "DRIFTBOOK_DATA": str(tmp_path / "data"),
        "TEST_FOLDER": str(tmp_path),
        "DRIFTBOOK_WAITING_REQUESTS": str(WAITING),
        "DRIFTBOOK_LONGEST_WAIT_S": "600",
    }
    somebody = "from plant.models import Person; Person.objects.create_user('pat')"
    for command in ("migrate", "collectstatic --noinput", "shell --no-imports -c"):
        words = [*command.split(), "--verbosity=0"] if "shell" not in command else [*command.split(), somebody]
        subprocess.run([sys.executable, "manage.py", *words], cwd=ROOT, env=env, check=True, stdout=subprocess.DEVNULL)
    port = free_port()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DRIFTBOOK_WAITING_REQUESTS", str(WAITING))
        command = running.commands(Path(sys.executable), "127.0.0.1", port)["web server"]
    server = subprocess.Popen(command, cwd=ROOT, env=env)
    address = f"http://127.0.0.1:{port}"
    try:
        wait_until(lambda: asked(f"{address}/health/ready")[0] == 200, "the server answers")
        yield address
    finally:
        (tmp_path / "open").touch()
        server.terminate()
        server.wait(timeout=GIVE_UP_AFTER_S)


@pytest.mark.worker
def test_a_server_with_too_much_to_do_says_so_at_once_and_serves_whom_it_let_in(site, tmp_path):
    """Four are served and three wait; all others are told while those still hang, and health answers beside them."""
    n_asked = 40
    n_kept = running.THREADS_OF_EACH + WAITING
    answers = []
    crowd = [threading.Thread(target=lambda: answers.append(asked(f"{site}/held/"))) for _n in range(n_asked)]
    for each in crowd:
        each.start()
    wait_until(lambda: len(answers) == n_asked - n_kept, "those without a place are answered")
    wait_until(lambda: len(list((tmp_path / "held").iterdir())) == running.THREADS_OF_EACH, "the others are served")
    assert {status for status, _headers, _text in answers} == {429}
    assert all(int(headers["Retry-After"]) > 0 for _status, headers, _text in answers)
    assert asked(f"{site}/health/live")[0] == 200
    assert asked(f"{site}/health/ready")[0] == 200
    assert asked(f"{site}/")[0] == 429
    assert '"code": "busy"' in asked(f"{site}/round/api/who/", "application/json")[2]
    assert len(list((tmp_path / "held").iterdir())) == running.THREADS_OF_EACH
    (tmp_path / "open").touch()
    for each in crowd:
        each.join(GIVE_UP_AFTER_S)
    assert Counter(status for status, _headers, _text in answers) == {429: n_asked - n_kept, 200: n_kept}
    assert asked(f"{site}/sign-in/")[0] == 200


@pytest.mark.parametrize(("given", "n"), [("", 44), ("0", 12), ("100", 112)])
def test_a_process_has_threads_for_all_that_it_lets_wait(monkeypatch, given, n):
    monkeypatch.setenv("DRIFTBOOK_WAITING_REQUESTS", given)
    assert running.threads_of_pages() == n


@pytest.mark.parametrize("given", ["-1", "many", "1001"])
def test_a_number_that_is_none_is_said(monkeypatch, given):
    monkeypatch.setenv("DRIFTBOOK_WAITING_REQUESTS", given)
    with pytest.raises(CannotStart, match="DRIFTBOOK_WAITING_REQUESTS is “"):
        running.threads_of_pages()
