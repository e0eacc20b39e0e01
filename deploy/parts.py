"""What `deploy/part` does: one part of the site alone, watched by whoever started it (systemd, a container's engine).

Standard library only: Django and the rest run in the virtual environment.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from pathlib import Path

from deploy import environment
from deploy.environment import ROOT
from deploy.keeping import check_folder
from deploy.running import commands, counters_folder, prepare, web_processes

PREPARE = "prepare"
# Each part by the name under which deploy/start starts it.
RUNS = {"pages": "web server", "worker": "worker", "timetable": "timetable"}


def arguments(given: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="deploy/part",
        description="Run one part of the site. “prepare” brings tables and styles up to date and ends; the others run "
        "until they are told to end. Any number of pages and workers, one timetable; DATABASE_URL and REDIS_URL name "
        "what they share. On one machine deploy/start runs all of them.",
    )
    parser.add_argument("part", choices=[PREPARE, *RUNS], help="which part")
    parser.add_argument("--port", type=int, default=8000, help="port of the pages (default 8000)")
    parser.add_argument("--host", default="127.0.0.1", help="address the pages listen on (default: this machine only)")
    return parser.parse_args(list(given))


def main(given: Sequence[str]) -> int:
    """Prepare and return, or become that part: what watches this process then watches the program itself."""
    options = arguments(given)
    data = Path(os.environ.get("DRIFTBOOK_DATA", ROOT / "data")).resolve()
    check_folder(data)
    python = environment.ensure("requirements.txt")
    env = {**os.environ, "DRIFTBOOK_DATA": str(data), "DJANGO_SETTINGS_MODULE": "deploy.settings"}
    if options.part == PREPARE:
        prepare(python, env, data, is_empty=True)
        return 0
    if options.part == "pages":
        env.setdefault("PROMETHEUS_MULTIPROC_DIR", counters_folder())
    command = commands(python, options.host, options.port, web_processes())[RUNS[options.part]]
    os.chdir(ROOT)
    os.execve(command[0], command, env)
    return 0
