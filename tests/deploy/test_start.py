"""deploy/start: one sentence for what is wrong, all children end with it."""

from __future__ import annotations

import ast
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import nullcontext
from pathlib import Path

import psutil
import pytest

from deploy import environment, folder_lock, python_version, running
from deploy.children import Children
from deploy.python_version import runs
from tests.servers import GIVE_UP_AFTER_S, free_port

ROOT = Path(__file__).resolve().parents[2]
# By its name, or where a version manager puts it.
PYTHONS_2 = [shutil.which("python2"), *Path.home().glob(".pyenv/versions/2.*/bin/python2")]
START = [sys.executable, str(ROOT / "deploy" / "start")]


def start(*args: str, **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*START, *args], env={**os.environ, **env}, capture_output=True, text=True, check=False, timeout=GIVE_UP_AFTER_S
    )


def one_sentence(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    return done.stderr.strip()


def test_a_port_in_use_is_said(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        words = one_sentence(start("--port", str(port), "--data", str(tmp_path)))
    assert f"Port {port} on 127.0.0.1 is in use" in words
    assert f"--port {port + 1}" in words


def test_a_port_that_does_not_exist_is_said(tmp_path):
    assert "Port 99999 does not exist" in one_sentence(start("--port", "99999", "--data", str(tmp_path)))


def test_a_folder_that_cannot_be_written_is_said(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    words = one_sentence(start("--port", str(free_port()), "--data", str(blocked / "data")))
    assert "cannot be written" in words
    assert "--data" in words


@pytest.fixture
def old_python(monkeypatch):
    """This Python counts as 3.8."""
    monkeypatch.setattr(python_version.sys, "version_info", (3, 8, 18))


def program(path, code):
    path.write_text(f"#!/bin/sh\nexit {code}\n")
    path.chmod(0o755)


def test_a_python_that_is_too_old_is_said(old_python, monkeypatch, tmp_path, capsys):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(SystemExit) as ended:
        python_version.check_python("start")
    assert ended.value.code == 2
    assert capsys.readouterr().err.startswith("Python 3.11 or later is needed; this is 3.8.")


def test_the_newest_python_that_runs_takes_over(old_python, monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    program(tmp_path / "python3.13", 127)  # a stand-in with nothing behind it
    program(tmp_path / "python3.12", 0)
    program(tmp_path / "python3.11", 0)
    called = []
    monkeypatch.setattr(python_version.os, "execv", lambda path, argv: called.append((path, argv[1])) or sys.exit(0))
    with pytest.raises(SystemExit):
        python_version.check_python("start")
    assert called == [(str(tmp_path / "python3.12"), "start")]


@pytest.mark.parametrize("script", ["start", "part", "test", "check", "backup", "restore"])
def test_python_2_gets_the_sentence(script):
    """Where a Python 2 is installed it is asked itself."""
    old = next((path for path in PYTHONS_2 if path and runs(path)), None)
    if old is None:
        pytest.skip("no Python 2 on this machine")
    done = subprocess.run(
        [old, str(ROOT / "deploy" / script)], env={"PATH": "/nowhere"}, capture_output=True, text=True, check=False
    )
    assert done.stderr.startswith("Python 3.11 or later is needed; this is 2.")
    assert done.returncode == 2


@pytest.mark.parametrize(
    "name", ["start", "part", "test", "check", "backup", "restore", "python_version.py", "__init__.py"]
)
def test_nothing_that_python_2_cannot_read_stands_before_the_sentence(name):
    """Everywhere, also with no Python 2: what it lacks is not used in the files that it has to read."""
    text = (ROOT / "deploy" / name).read_bytes()
    text.decode("ascii")
    for node in ast.walk(ast.parse(text)):
        assert not isinstance(node, ast.JoinedStr | ast.AnnAssign | ast.NamedExpr | ast.AsyncFunctionDef | ast.Nonlocal)
        if isinstance(node, ast.FunctionDef):
            assert not node.returns
            assert not node.args.kwonlyargs
            assert not any(each.annotation for each in node.args.args)
        if isinstance(node, ast.Call):
            assert not any(isinstance(each, ast.Starred) for each in node.args[:-1])
            assert not (isinstance(node.func, ast.Name) and node.func.id == "print")
        if isinstance(node, ast.List | ast.Tuple):
            assert not any(isinstance(each, ast.Starred) for each in node.elts)
        if isinstance(node, ast.Import):
            assert {each.name for each in node.names} <= {"os", "sys", "subprocess"}
        if isinstance(node, ast.ImportFrom) and node.col_offset == 0:
            assert node.module in {"deploy.python_version", "deploy.environment"}


def test_a_second_start_on_one_folder_is_refused_and_names_the_first(tmp_path):
    code = "import sys, time; sys.path.insert(0, '.')\nfrom pathlib import Path\nfrom deploy import folder_lock\n"
    code += f"kept = folder_lock.hold(Path({str(tmp_path)!r}), port=8123)\nprint('held', flush=True)\ntime.sleep(600)"
    first = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    try:
        assert first.stdout.readline().strip() == "held"
        words = one_sentence(start("--port", str(free_port()), "--data", str(tmp_path)))
        assert f"The data folder {tmp_path} is in use: process {first.pid} serves it on port 8123." in words
        assert "--data" in words
    finally:
        first.kill()
        first.wait()
        first.stdout.close()
    # Killed outright it holds nothing any more.
    with folder_lock.hold(tmp_path, port=8124) as file:
        file.seek(0)
        assert file.read() == f"{os.getpid()} 8124\n"


def test_a_mark_of_another_account_is_said_in_a_sentence(tmp_path):
    (tmp_path / folder_lock.NAME).mkdir()  # as little to be opened for writing as another account's file
    with pytest.raises(environment.CannotStart, match=r"started cannot be written .*\. Start with the account"):
        folder_lock.hold(tmp_path, port=8123)


def test_no_program_of_the_environment_is_called_by_its_path(tmp_path):
    """After the folder was moved they name a Python that is gone; the environment's own Python still runs."""
    for command in running.commands(tmp_path / "python", "127.0.0.1", 8000).values():
        assert command[:2] == [str(tmp_path / "python"), "-m"]


def number_of_web_processes():
    command = running.commands(Path("python"), "127.0.0.1", 8000, running.web_processes())["web server"]
    return int(command[command.index("--workers") + 1])


@pytest.mark.parametrize(("n_cores", "n_processes"), [(1, 1), (2, 2), (6, 6), (64, 8)])
def test_pages_are_served_by_a_process_a_core(monkeypatch, n_cores, n_processes):
    monkeypatch.delenv("DRIFTBOOK_WEB_PROCESSES", raising=False)
    monkeypatch.setattr(running, "cores", lambda: n_cores)
    assert number_of_web_processes() == n_processes


def test_the_number_of_web_processes_can_be_set(monkeypatch):
    monkeypatch.setenv("DRIFTBOOK_WEB_PROCESSES", "3")
    assert number_of_web_processes() == 3


@pytest.mark.parametrize("given", ["0", "65", "two", "-1", "1.5"])
def test_a_number_of_web_processes_that_cannot_be_is_said(tmp_path, given):
    words = one_sentence(start("--port", str(free_port()), "--data", str(tmp_path), DRIFTBOOK_WEB_PROCESSES=given))
    assert words == f"DRIFTBOOK_WEB_PROCESSES is “{given}”; give a whole number from 1 to 64, or leave it out."


def test_worker_and_timetable_run_once_however_many_processes_serve_pages():
    assert list(running.commands(Path("python"), "127.0.0.1", 8000, 8)) == ["web server", "worker", "timetable"]


LEAVES_ONE_BEHIND = """
import subprocess, sys, time
left = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(3600)"])
print(left.pid, flush=True)
time.sleep(3600)
"""


def wait_until(holds, words):
    until = time.monotonic() + GIVE_UP_AFTER_S
    while not holds():
        assert time.monotonic() < until, words
        time.sleep(0.05)


def is_over(process):
    return not process.is_running() or process.status() == psutil.STATUS_ZOMBIE


def test_what_a_killed_server_left_behind_ends_before_it_is_started_anew(tmp_path):
    """Its processes would go on answering on the port, with the code and the settings of before."""
    said = []
    children = Children(cwd=tmp_path, env=os.environ, say=said.append)
    child = children.start("web server", [sys.executable, "-c", LEAVES_ONE_BEHIND])
    try:
        first = psutil.Process(child.process.pid)
        wait_until(first.children, "it starts no process")
        (left,) = first.children()
        first.kill()
        wait_until(lambda: not child.is_running, "it was killed")
        children.look_after()
        wait_until(lambda: is_over(left), "what it left behind goes on")
        assert said == ["The web server ended by itself (code -9); starting it again in 1 s."]
        child.start_again_at = 0.001  # the pause is over
        children.look_after()
        assert child.is_running
        assert child.process.pid != first.pid
    finally:
        children.kill()
        child.kill_rest()


@pytest.mark.parametrize("script", ["test", "check", "start", "backup", "restore"])
def test_help_is_the_script_s_own_and_installs_nothing(tmp_path, script):
    env = {**os.environ, "DRIFTBOOK_VENV": str(tmp_path / "venv")}
    done = subprocess.run(
        [sys.executable, str(ROOT / "deploy" / script), "--help"], env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0
    assert done.stdout.startswith(f"usage: deploy/{script}")
    assert done.stderr == ""
    assert not (tmp_path / "venv").exists()


def test_ctrl_c_before_anything_runs_is_one_word(capsys):
    def interrupted(given):
        raise KeyboardInterrupt

    assert environment.run_to_end(interrupted, []) == 130
    assert capsys.readouterr().err.strip() == "Stopped."


def test_a_second_ctrl_c_ends_all_at_once(monkeypatch, capsys):
    """The first waits for children to end well; the second does not."""
    set_for, ended = {}, []

    class Slow(Children):
        def stop(self):
            raise KeyboardInterrupt

        def kill(self):
            ended.append(dict(set_for))

    monkeypatch.setattr(running.signal, "signal", set_for.__setitem__)
    running.stop(Slow(cwd=ROOT, env={}))
    # A third finds nobody listening, so that none is left behind.
    assert ended == [{signal.SIGINT: signal.SIG_IGN, signal.SIGTERM: signal.SIG_IGN}]
    assert capsys.readouterr().out == "Ending at once ...\n"


class Web:
    """A web server that runs for so many looks."""

    name = "web server"
    code = 3

    def __init__(self, looks):
        self.looks = looks

    @property
    def is_running(self):
        self.looks -= 1
        return self.looks >= 0


@pytest.fixture
def waiting(monkeypatch):
    """Waits on a clock that goes on with each sleep; the server answers from a second of that clock on."""

    def wait(web, answers_at_s):
        clock, said = [0.0], []

        def ask(address, timeout):
            assert address == "http://127.0.0.1:8000/health/ready"
            if clock[0] < answers_at_s:
                raise urllib.error.URLError("refused")
            return nullcontext()

        monkeypatch.setattr(running.urllib.request, "urlopen", ask)
        running.wait_until_it_answers(
            "http://127.0.0.1:8000", web, now=lambda: clock[0], say=said.append,
            sleep=lambda seconds: clock.__setitem__(0, clock[0] + seconds),
        )  # fmt: skip
        return said

    return wait


def test_a_slow_machine_is_waited_for_and_says_so(waiting):
    """Three minutes until the first answer: every quarter of a minute a line says what is waited for."""
    said = waiting(Web(looks=10_000), answers_at_s=180)
    assert len(said) == 11
    assert said[0].startswith("Waiting for the web server to answer: it runs, 15 s by now")


def test_a_web_server_that_ended_is_not_waited_for(waiting):
    with pytest.raises(environment.CannotStart, match=r"The web server ended before it answered \(code 3\)"):
        waiting(Web(looks=2), answers_at_s=180)


def test_a_web_server_that_never_answers_is_given_up_in_the_end(waiting):
    with pytest.raises(environment.CannotStart, match=r"runs and has not answered for 30 minutes .*refused"):
        waiting(Web(looks=100_000), answers_at_s=10_000)


def test_a_command_that_is_interrupted_may_undo_before_the_start_ends(tmp_path):
    """It says itself what stands; killed at once it could not."""
    command = tmp_path / "python"
    program(command, "0")
    command.write_text("#!/bin/sh\ntrap 'echo undone; exit 130' TERM\necho begun\nwhile :; do sleep 0.1; done\n")
    code = (
        "import os, sys; sys.path.insert(0, '.')\n"
        "from pathlib import Path\n"
        "from deploy import running\n"
        "running.stop_on_signals()\n"
        "try:\n"
        f"    running.manage(Path({str(command)!r}), dict(os.environ), 'load_demo', show=True)\n"
        "except KeyboardInterrupt:\n"
        "    print('stopped', flush=True)\n"
    )
    with subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, text=True) as start_:
        assert start_.stdout.readline() == "begun\n"
        start_.send_signal(signal.SIGTERM)
        rest, _none = start_.communicate(timeout=GIVE_UP_AFTER_S)
    assert sorted(rest.splitlines()) == ["stopped", "undone"]


def test_packages_that_cannot_be_installed_are_said(tmp_path, monkeypatch):
    monkeypatch.setenv("DRIFTBOOK_VENV", str(tmp_path / "venv"))
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", str(tmp_path))
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)
    with pytest.raises(environment.CannotStart, match="could not be installed"):
        environment.ensure("requirements.txt", say=lambda words: None)


def programs_of(process, word):
    """Processes below it that were started as such a program, and those that this one forked."""
    return [each for each in process.children(recursive=True) if word in command_of(each)]


def command_of(process):
    """What it was started as; nothing for one that is over, by now or in the moment of asking."""
    try:
        return process.cmdline()
    except psutil.NoSuchProcess:
        return []


def test_a_process_that_is_over_counts_as_none_of_any_program():
    """Between its end and its parent's asking for it, it is listed and has no command line."""
    with subprocess.Popen([sys.executable, "-c", "input()", "granian"], stdin=subprocess.PIPE) as child:
        me = psutil.Process()
        assert psutil.Process(child.pid) in programs_of(me, "granian")
        child.kill()
        wait_until(lambda: is_over(psutil.Process(child.pid)), "killed")
        assert psutil.Process(child.pid) in me.children(recursive=True)
        assert programs_of(me, "granian") == []


@pytest.mark.worker
def test_a_blank_site_starts_mends_itself_and_ctrl_c_leaves_no_child(tmp_path):
    port = free_port()
    # The environment of the test run stands in for the one that the first start makes.
    env = {
        name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "REDIS_URL", "PYTHONWARNINGS"}
    } | {"DRIFTBOOK_WEB_PROCESSES": "2"}
    code = (
        "import sys; sys.path.insert(0, '.')\n"
        "from pathlib import Path\n"
        "from deploy import environment, running\n"
        "environment.ensure = lambda *a, **k: Path(sys.executable)\n"
        "environment.program = lambda name: Path(sys.executable).parent / name\n"
        f"sys.exit(running.main(['--empty', '--port', '{port}', '--data', {str(tmp_path)!r}]))"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    try:
        words = []
        for line in process.stdout or ():
            words.append(line)
            if line.startswith("Ctrl-C ends it"):
                break
        assert not [line for line in words if "Warning" in line or "site-packages" in line]
        assert len(words) >= 6, "the steps of the start say themselves"
        assert "Starting pages (2 processes), worker and timetable ...\n" in words
        site = psutil.Process(process.pid)
        # However many serve pages: one worker, one timetable.
        assert [len(programs_of(site, word)) for word in ("granian", "worker", "beat")] == [3, 1, 1]
        answers(port)
        server = next(each for each in site.children() if "granian" in each.cmdline())
        serving = programs_of(server, "granian")
        serving[0].kill()
        wait_until(
            lambda: is_over(serving[0]) and len(programs_of(server, "granian")) == 2, "the one that died comes anew"
        )
        assert not is_over(serving[1]), "the other one goes on"
        answers(port)
        children = site.children(recursive=True)
        process.send_signal(signal.SIGINT)
        process.wait(timeout=GIVE_UP_AFTER_S)
    finally:
        for each in [*below(process), process]:
            each.kill()
        process.wait()
        (process.stdout or sys.stdin).close()
    assert process.returncode == 0
    wait_until(lambda: all(is_over(child) for child in children), "a child was left behind")


def below(process):
    """What it started, so that a test that fails leaves nothing running; nothing where it ended by itself."""
    return psutil.Process(process.pid).children(recursive=True) if process.poll() is None else []


def answers(port):
    """The page of the first sign-in, asked for until it comes: a process that dies takes its connections along."""
    until = time.monotonic() + GIVE_UP_AFTER_S
    while True:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=GIVE_UP_AFTER_S) as answer:
                assert answer.url.endswith("/first-sign-in/")
                return
        except OSError:
            assert time.monotonic() < until
            time.sleep(0.1)


def test_the_folder_of_the_counters_is_fresh_and_open_to_this_account_alone():
    first, second = running.counters_folder(), running.counters_folder()
    try:
        assert first != second
        assert Path(first).stat().st_mode & 0o077 == 0
    finally:
        for each in (first, second):
            Path(each).rmdir()
