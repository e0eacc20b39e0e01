"""What `deploy/start` does: checks, installs, migrates, loads the demo plant on first use, serves.

Standard library only: Django and the rest run as children in the virtual environment.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Sequence
from contextlib import suppress
from itertools import pairwise
from pathlib import Path

from deploy import environment, folder_lock
from deploy.children import Child, Children, die_with_parent
from deploy.data_folder import RESTORE_MARK
from deploy.environment import ROOT, CannotStart
from deploy.keeping import check_folder

# A web server that runs and does not answer is given up after so long; one that ended, at once.
ANSWER_WITHIN_S = 1800
SAY_AGAIN_AFTER_S = 15
UNDO_WITHIN_S = 120
BLANK_MARK = "begun-empty"
# A process of pages takes 150 to 250 MB, so that many cores do not fill the memory by themselves; who has it sets more.
MOST_WEB_PROCESSES = 8
THREADS_OF_EACH = 4
# Requests that wait in a process for one of its threads, about four seconds of its work; more are told to come back.
MOST_WAITING = 32
# Health, static files and those who are told to come back find a thread though all others wait.
THREADS_BESIDE = 8


def arguments(given: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="deploy/start", description="Start the site with its worker and timetable. Ctrl-C ends all of them."
    )
    parser.add_argument("--port", type=int, default=int(os.environ.get("PORT", "8000")), help="port (default 8000)")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine only)")
    parser.add_argument("--data", type=Path, help="folder of data base, files and mails (default: data)")
    parser.add_argument("--empty", action="store_true", help="begin with a blank site instead of the demo plant")
    return parser.parse_args(list(given))


def check_port(host: str, port: int) -> None:
    if not 1 <= port <= 65535:
        raise CannotStart(f"Port {port} does not exist; give one from 1 to 65535, for example --port 8001.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except PermissionError as error:
            raise CannotStart(
                f"Port {port} needs special rights; give a port above 1023, such as --port 8000."
            ) from error
        except OSError as error:
            raise CannotStart(
                f"Port {port} on {host} is in use or not to be had ({error.strerror}); end the other program or give "
                f"another port: deploy/start --port {port + 1 if port < 65535 else 8000}."
            ) from error


def check_no_restore(folder: Path) -> None:
    """A backup that is half put back is no book to serve, and no blank folder to begin a new one in."""
    mark = folder / RESTORE_MARK
    if not mark.exists():
        return
    name = "FILE"
    with suppress(OSError, ValueError, KeyError):
        name = json.loads(mark.read_text(encoding="utf-8"))["file"]
    raise CannotStart(
        f"A backup was being put back into {folder}, and that was broken off. Run it again: "
        f"deploy/restore {name} --data {folder}"
    )


def manage(python: Path, env: dict[str, str], *args: str, show: bool = False, says: bool = False) -> str:
    """Run a command of the site; what it prints, or nothing where that is shown as it comes.

    Parameters
    ----------
    show : bool, optional
        All that it prints goes to the terminal.
    says : bool, optional
        What it says of its progress goes to the terminal; why it failed becomes the sentence of the start.

    Raises
    ------
    CannotStart
        If it fails.
    """
    with subprocess.Popen(
        [str(python), "manage.py", *args],
        cwd=ROOT,
        env=env,
        text=True,
        stdout=None if show or says else subprocess.PIPE,
        stderr=None if show else subprocess.PIPE if says else subprocess.STDOUT,
        # Whatever ends this script, the command does not go on alone.
        preexec_fn=die_with_parent if os.name == "posix" else None,
    ) as process:
        try:
            output = "".join(each or "" for each in process.communicate())
        except KeyboardInterrupt:
            let_undo(process)
            raise
    if process.returncode != 0:
        raise CannotStart(why_not(output) or f"'manage.py {args[0]}' failed: see above")
    return output


def let_undo(process: subprocess.Popen[str]) -> None:
    """End a command that was interrupted: it may undo what it had begun and say what stands. Ctrl-C again: at once."""
    process.terminate()
    try:
        process.wait(timeout=UNDO_WITHIN_S)
    except (KeyboardInterrupt, subprocess.TimeoutExpired):
        process.kill()


def why_not(output: str) -> str:
    """The sentence of a check of the site with its remedy, else the last line."""
    lines = [line.strip() for line in output.strip().splitlines()]
    for line, after in pairwise([*lines, ""]):
        if "(driftbook.E" in line:
            return f"{line.partition(') ')[2]} {after.removeprefix('HINT: ')}".strip()
    return lines[-1] if lines else ""


def is_blank(python: Path, env: dict[str, str]) -> bool:
    """True while nobody can sign in yet."""
    code = "from plant.models import Person; print('blank' if not Person.objects.exists() else 'used')"
    return manage(python, env, "shell", "--verbosity=0", "-c", code).strip().endswith("blank")


def say_now(words: str) -> None:
    print(words, flush=True)


def wait_until_it_answers(
    address: str,
    web: Child,
    *,
    now: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
    say: Callable[[str], None] = say_now,
) -> None:
    """Return once the web server answers. It may take its time while it runs: a machine with much to do is slow."""
    begun = said_at = now()
    fault = ""
    while now() - begun < ANSWER_WITHIN_S:
        if not web.is_running:
            raise CannotStart(f"The {web.name} ended before it answered (code {web.code}); the lines above say why.")
        try:
            with urllib.request.urlopen(f"{address}/health/ready", timeout=30):
                return
        except (urllib.error.URLError, OSError) as error:
            fault = str(error)
        if now() - said_at >= SAY_AGAIN_AFTER_S:
            said_at = now()
            say(f"Waiting for the {web.name} to answer: it runs, {said_at - begun:.0f} s by now ...")
        sleep(0.2)
    raise CannotStart(
        f"The {web.name} runs and has not answered for {ANSWER_WITHIN_S // 60} minutes ({fault}); the lines above may "
        "say why. End what keeps this machine busy, then start again."
    )


def cores() -> int:
    """Cores that this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def web_processes() -> int:
    """How many processes serve pages: one a core, unless the setting names another number.

    Raises
    ------
    CannotStart
        If the setting is no number of processes.
    """
    return whole_number("DRIFTBOOK_WEB_PROCESSES", min(cores(), MOST_WEB_PROCESSES), least=1, most=64)


def threads_of_pages() -> int:
    """Threads of each such process: some serve, the others wait for them or say that there is no place.

    Raises
    ------
    CannotStart
        If the setting is no number of requests.
    """
    waiting = whole_number("DRIFTBOOK_WAITING_REQUESTS", MOST_WAITING, least=0, most=1000)
    return THREADS_OF_EACH + waiting + THREADS_BESIDE


def whole_number(name: str, default: int, *, least: int, most: int) -> int:
    given = os.environ.get(name, "").strip()
    if not given:
        return default
    if not (given.isdecimal() and least <= int(given) <= most):
        raise CannotStart(f"{name} is “{given}”; give a whole number from {least} to {most}, or leave it out.")
    return int(given)


def commands(python: Path, host: str, port: int, n_web: int = 1) -> dict[str, list[str]]:
    celery = [str(python), "-m", "celery", "--quiet", "-A", "deploy.celery_app"]
    return {
        "web server": [
            # Not the program of that name: it begins with the path at which the environment was made.
            str(python), "-m", "granian", "--interface", "wsgi", "--host", host, "--port", str(port),
            # One thread of Python computes at a time in a process: each core gets a process of its own. One that dies
            # is started anew while the others go on; where it dies again at once the server ends, and is looked after.
            # Most of its threads wait for their turn (plant/views/crowded.py); so many it warns about at each start.
            "--workers", str(n_web), "--blocking-threads", str(threads_of_pages()), "--respawn-failed-workers",
            "--log-level", "error", "deploy.wsgi:application",
        ],
        "worker": [
            *celery, "worker", "--pool=threads", "--concurrency=2", "--without-gossip", "--without-mingle",
            "--loglevel=WARNING",
        ],
        "timetable": [*celery, "beat", "--pidfile=", "--loglevel=WARNING"],
    }  # fmt: skip


def counters_folder() -> str:
    """Where the processes that serve pages add up what they count, for as long as they run.

    In memory where there is such a folder: on a full disk a write to a mapped file would end the process.
    """
    in_memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    return tempfile.mkdtemp(prefix="driftbook-counters-", dir=in_memory)


def stop_on_signals() -> None:
    def interrupt(signum: int, frame: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, interrupt)
    signal.signal(signal.SIGINT, interrupt)


def main(given: Sequence[str]) -> int:
    """Run until Ctrl-C. Returns the exit code."""
    options = arguments(given)
    data = (options.data or Path(os.environ.get("DRIFTBOOK_DATA", ROOT / "data"))).resolve()
    n_web = web_processes()
    check_folder(data)
    lock = folder_lock.hold(data, port=options.port)
    check_port(options.host, options.port)
    stop_on_signals()
    children = None
    counters = ""
    try:
        python = environment.ensure("requirements.txt")
        shown_host = "localhost" if options.host in ("127.0.0.1", "0.0.0.0", "::", "::1") else options.host
        address = f"http://{shown_host}:{options.port}"
        env = {**os.environ, "DRIFTBOOK_DATA": str(data), "DJANGO_SETTINGS_MODULE": "deploy.settings"}
        env.setdefault("DRIFTBOOK_ADDRESS", address)
        has_demo = prepare(python, env, data, is_empty=options.empty)
        of_pages = "one process" if n_web == 1 else f"{n_web} processes"
        print(f"Starting pages ({of_pages}), worker and timetable ...", flush=True)
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            print("This account may do everything on the machine (root); an account of its own is safer.", flush=True)
        counters = counters_folder()
        env.setdefault("PROMETHEUS_MULTIPROC_DIR", counters)
        children = Children(cwd=ROOT, env=env)
        for name, command in commands(python, options.host, options.port, n_web).items():
            children.start(name, command)
        probe_host = "127.0.0.1" if options.host in ("0.0.0.0", "127.0.0.1") else options.host
        wait_until_it_answers(f"http://{probe_host}:{options.port}", children.all[0])
        say_where(address, python, env, has_demo=has_demo)
        while True:
            time.sleep(0.5)
            children.look_after()
    except KeyboardInterrupt:
        print("\nStopping ...", flush=True)
        return 0
    finally:
        stop(children)
        shutil.rmtree(counters, ignore_errors=True)
        if lock is not None:
            lock.close()


def stop(children: Children | None) -> None:
    """End what was started. Whoever presses Ctrl-C again does not want to wait: then at once."""
    if children is None:
        return
    try:
        children.stop()
    except KeyboardInterrupt:
        for each in (signal.SIGINT, signal.SIGTERM):
            signal.signal(each, signal.SIG_IGN)
        print("Ending at once ...", flush=True)
        children.kill()


def prepare(python: Path, env: dict[str, str], data: Path, *, is_empty: bool) -> bool:
    """Tables, static files and, on first use, the demo plant. True if the demo plant is there."""
    check_no_restore(data)
    print("Bringing the data base up to date ...", flush=True)
    manage(python, env, "bring_up_to_date", says=True)
    print("Putting styles, scripts and pictures in place ...", flush=True)
    manage(python, env, "collectstatic", "--noinput", "--verbosity=0")
    print("Looking who can sign in ...", flush=True)
    mark = data / BLANK_MARK
    if is_blank(python, env):
        if is_empty:
            mark.touch()
        elif not mark.exists():
            print("Making the demo plant (one to three minutes, the first time only) ...", flush=True)
            manage(python, env, "load_demo", show=True)
            (data / "begun-with-demo").touch()
    print("Computing what pages show of the fleet ...", flush=True)
    manage(python, env, "make_kept")
    return (data / "begun-with-demo").exists()


def say_where(address: str, python: Path, env: dict[str, str], *, has_demo: bool) -> None:
    print(f"\nDriftbook answers at {address}", flush=True)
    if has_demo:
        # One place knows the people of the demo plant.
        code = "from fixtures.people import sign_in_words; print(sign_in_words())"
        print(subprocess.run([str(python), "-c", code], cwd=ROOT, env=env, text=True, check=True,
                             stdout=subprocess.PIPE).stdout.rstrip(), flush=True)  # fmt: skip
    elif is_blank(python, env):
        print("Nobody can sign in yet: open that address and name the first person and the plant.", flush=True)
    print("Ctrl-C ends it.", flush=True)
