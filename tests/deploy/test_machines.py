"""The files for a machine of its own and for several name only what the site has; the proxy does as it says."""

from __future__ import annotations

import configparser
import http.client
import json
import re
import shutil
import socket
import ssl
import subprocess
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import dj_database_url
import pytest
import yaml

from deploy import parts, running
from tests.servers import GIVE_UP_AFTER_S, free_port

ROOT = Path(__file__).resolve().parents[2]
CONTAINERS = ROOT / "deploy" / "containers"
UNIT = ROOT / "deploy" / "units" / "driftbook.service"
OF_OTHERS = {"POSTGRES_USER", "POSTGRES_DB", "POSTGRES_PASSWORD_FILE"}
INSTALLED_AT = "/opt/driftbook"


def settings_read():
    """Names that the site and its programs read from the environment."""
    words = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "deploy").glob("*.py"))
    return set(re.findall(r"(?:env_(?:text|flag|number)\(|environ(?:\.get\(|\[))\s*\"([A-Z_]+)\"", words))


# --- Parts ------------------------------------------------------------------------------------------------------------
@pytest.fixture
def became(monkeypatch, tmp_path):
    """The command that a part became, instead of becoming it."""
    seen = []
    monkeypatch.setenv("DRIFTBOOK_DATA", str(tmp_path))
    monkeypatch.setattr(parts.environment, "ensure", lambda _requirements: tmp_path / "python")
    monkeypatch.setattr(parts, "counters_folder", lambda: str(tmp_path / "counters"))
    monkeypatch.setattr(parts.os, "execve", lambda path, command, env: seen.append((path, command, env)))
    return seen


@pytest.mark.parametrize(("part", "name"), [*parts.RUNS.items()])
def test_a_part_is_what_the_start_of_all_runs_under_that_name(part, name, became, tmp_path):
    parts.main([part])
    ((path, command, env),) = became
    assert path == command[0]
    assert command == running.commands(tmp_path / "python", "127.0.0.1", 8000, running.web_processes())[name]
    assert env["DJANGO_SETTINGS_MODULE"] == "deploy.settings"
    # Processes of pages count together.
    assert env.get("PROMETHEUS_MULTIPROC_DIR") == (str(tmp_path / "counters") if part == "pages" else None)


def test_every_program_of_the_start_is_a_part():
    assert set(parts.RUNS.values()) == set(running.commands(Path("python"), "127.0.0.1", 8000))


def test_preparing_makes_no_demo_plant_and_ends(became, monkeypatch):
    seen = []
    monkeypatch.setattr(parts, "prepare", lambda *_a, is_empty: seen.append(is_empty))
    assert parts.main(["prepare"]) == 0
    assert seen == [True]
    assert became == []


# --- One machine ------------------------------------------------------------------------------------------------------
def unit():
    words = configparser.RawConfigParser(strict=False)
    words.optionxform = str
    words.read_string(UNIT.read_text(encoding="utf-8"))
    return words


def test_the_unit_starts_with_options_that_there_are():
    command = unit()["Service"]["ExecStart"].split()
    assert (ROOT / Path(command[0]).relative_to(INSTALLED_AT)).stat().st_mode & 0o111
    assert running.arguments(command[1:]).empty, "a plant of one's own begins with a blank site"


def test_the_unit_sets_what_the_site_reads():
    names = re.findall(r"^Environment=([A-Z_]+)=", UNIT.read_text(encoding="utf-8"), re.MULTILINE)
    assert names
    assert set(names) <= settings_read()


def test_a_start_that_a_person_has_to_mend_is_not_tried_for_ever():
    from deploy.environment import CannotStart, run_to_end

    def refused(_given):
        raise CannotStart("no room")

    assert str(run_to_end(refused, [])) == unit()["Service"]["RestartPreventExitStatus"]


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="a system without systemd does not use its unit")
def test_systemd_takes_the_unit(tmp_path):
    text = UNIT.read_text(encoding="utf-8").replace(INSTALLED_AT, str(ROOT))
    copy = tmp_path / UNIT.name
    copy.write_text(re.sub(r"^(User|Group)=.*$", r"\1=root", text, flags=re.MULTILINE), encoding="utf-8")
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", str(copy)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0
    assert [line for line in (done.stdout + done.stderr).splitlines() if UNIT.name in line] == []


# --- Several ----------------------------------------------------------------------------------------------------------
def compose():
    return yaml.safe_load((CONTAINERS / "compose.yaml").read_text(encoding="utf-8"))


def of_the_site():
    return {name: each for name, each in compose()["services"].items() if each["image"].startswith("driftbook:")}


def test_every_part_has_a_container_with_options_that_there_are():
    options = {name: parts.arguments(each["command"]) for name, each in of_the_site().items()}
    assert {each.part for each in options.values()} == {parts.PREPARE, *parts.RUNS}
    assert options["pages"].host == "0.0.0.0", "others than the container itself ask for pages"
    assert of_the_site()["timetable"]["deploy"]["replicas"] == 1


def test_containers_set_what_the_site_reads():
    for each in of_the_site().values():
        assert {name.removesuffix("_FILE") for name in each["environment"]} <= settings_read()
    others = {name for each in compose()["services"].values() for name in each.get("environment", ())}
    assert {name for name in others if name.removesuffix("_FILE") not in settings_read()} == OF_OTHERS


def test_what_a_container_uses_is_declared_and_all_that_is_declared_is_used():
    whole = compose()
    for kind in ("secrets", "networks"):
        used = {name for each in whole["services"].values() for name in each.get(kind, ())}
        assert used == set(whole[kind])
    named = {volume.split(":")[0] for each in whole["services"].values() for volume in each.get("volumes", ())}
    assert {name for name in named if not name.startswith(".")} == set(whole["volumes"])
    assert all((CONTAINERS / name).exists() for name in named if name.startswith("."))
    waited_for = {name for each in whole["services"].values() for name in each.get("depends_on", ())}
    assert waited_for <= set(whole["services"])


def test_secrets_are_files_of_the_engine_and_the_data_base_is_one_that_many_can_write():
    whole = compose()
    for each in whole["services"].values():
        files = {str(value) for name, value in each.get("environment", {}).items() if name.endswith("_FILE")}
        assert files <= {f"/run/secrets/{name}" for name in each.get("secrets", ())}
    words = (CONTAINERS / "compose.yaml").read_text(encoding="utf-8")
    address = re.search(r"# (postgres://\S+)", words)
    assert address
    parsed = dj_database_url.parse(address[1])
    store = whole["services"]["store"]["environment"]
    assert (parsed["USER"], parsed["NAME"]) == (store["POSTGRES_USER"], store["POSTGRES_DB"])
    assert parsed["HOST"] == "store"


def test_no_secret_and_no_book_goes_into_the_image():
    left_out = (ROOT / ".dockerignore").read_text(encoding="utf-8").split()
    assert {"data", ".git", ".venv", "deploy/containers/secrets"} <= set(left_out)


def test_the_image_runs_a_python_that_the_site_takes():
    words = (CONTAINERS / "Containerfile").read_text(encoding="utf-8")
    version = re.search(r"^FROM \S*python:3\.(\d+)", words, re.MULTILINE)
    least = re.search(r'requires-python = ">=3\.(\d+)"', (ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert version
    assert least
    assert int(version[1]) >= int(least[1])
    for source in re.findall(r"^COPY (.+) \S+$", words, re.MULTILINE):
        assert all((ROOT / each).exists() for each in source.split())


# --- The proxy --------------------------------------------------------------------------------------------------------
class Echo(BaseHTTPRequestHandler):
    """Says with which headers it was asked, and how much came."""

    def do_GET(self):
        body = json.dumps(dict(self.headers.items())).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_POST(self):
        self.rfile.read(int(self.headers["Content-Length"]))
        self.do_GET()

    def log_message(self, *_args):
        pass


@pytest.fixture(scope="module")
def proxy(tmp_path_factory):
    """Ports for plain and for TLS of a proxy with the site's own configuration before a server that echoes."""
    folder = tmp_path_factory.mktemp("proxy")
    plain, tls = free_port(), free_port()
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost",
         "-addext", "subjectAltName=DNS:localhost", "-keyout", folder / "certificate_key",
         "-out", folder / "certificate"],
        check=True, capture_output=True,
    )  # fmt: skip
    pages = ThreadingHTTPServer(("127.0.0.1", 0), Echo)
    threading.Thread(target=pages.serve_forever, daemon=True).start()
    site = (CONTAINERS / "proxy.conf").read_text(encoding="utf-8")
    for here, there in {
        r"listen 80;": f"listen 127.0.0.1:{plain};",
        r"listen 443 ssl;": f"listen 127.0.0.1:{tls} ssl;",
        r"listen \[::\].*;": "",
        r"/run/secrets/": f"{folder}/",
        r"http://pages:8000": f"http://127.0.0.1:{pages.server_address[1]}",
    }.items():
        site, n = re.subn(here, there, site)
        assert n
    temporary = "\n".join(
        f"{each}_temp_path {folder}/{each};" for each in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    (folder / "nginx.conf").write_text(
        f"daemon off; master_process off; pid {folder}/pid; error_log {folder}/log;\nevents {{}}\n"
        f"http {{ access_log off; {temporary}\n{site}\n}}\n",
        encoding="utf-8",
    )
    command = ["nginx", "-c", str(folder / "nginx.conf"), "-p", str(folder), "-e", str(folder / "log")]
    checked = subprocess.run([*command, "-t"], capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stderr
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        wait_for(tls, process)
        yield plain, tls, folder / "certificate"
        process.terminate()
    pages.shutdown()
    pages.server_close()


def wait_for(port, process):
    until = time.monotonic() + GIVE_UP_AFTER_S
    while True:
        assert process.poll() is None, "the proxy ended"
        assert time.monotonic() < until
        try:
            socket.create_connection(("127.0.0.1", port), timeout=5).close()
            return
        except OSError:
            time.sleep(0.05)


def ask(proxy, method="GET", body=None, headers=None):
    _plain, tls, certificate = proxy
    trust = ssl.create_default_context(cafile=str(certificate))
    link = http.client.HTTPSConnection("localhost", tls, context=trust, timeout=60)
    try:
        link.request(method, "/today/?a=1", body=body, headers=headers or {})
        answer = link.getresponse()
        return answer.status, answer.read()
    finally:
        link.close()


@pytest.mark.proxy
def test_the_proxy_says_who_asked_and_how_whatever_a_stranger_writes(proxy):
    status, body = ask(
        proxy, headers={"X-Forwarded-For": "10.9.8.7", "X-Forwarded-Proto": "http", "Host": "book.example"}
    )
    told = json.loads(body)
    assert status == 200
    assert told["X-Forwarded-For"] == "127.0.0.1"
    assert told["X-Forwarded-Proto"] == "https"
    assert told["Host"] == "book.example"


@pytest.mark.proxy
def test_the_proxy_leads_plain_addresses_to_tls(proxy):
    plain, _tls, _certificate = proxy
    link = http.client.HTTPConnection("127.0.0.1", plain, timeout=60)
    link.request("GET", "/checks/?late=1", headers={"Host": "book.example"})
    answer = link.getresponse()
    assert (answer.status, answer.headers["Location"]) == (308, "https://book.example/checks/?late=1")
    link.close()


@pytest.mark.proxy
def test_the_proxy_lets_through_whatever_some_address_takes(proxy, settings):
    most = max(settings.LARGEST_FORM_MB, settings.LARGEST_IMPORT_MB, settings.LARGEST_PHOTO_MB)
    assert ask(proxy, "POST", body=b"x" * (most * 1024 * 1024 + 100_000))[0] == 200
