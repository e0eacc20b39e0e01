"""A kind of job that only tests know: counts to ten in the data folder, and may stand still half-way to be killed.

The worker of a test runs with tests.deploy.worker_settings, which register it.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from plant.services.job_kinds import JobHandle, job_kind

STEPS = 10


@job_kind("test-count")
def count(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    """Writes one line a step; goes on after the last line that is there."""
    path = Path(args["path"])
    done = len(path.read_text().splitlines()) if path.exists() else 0
    for step in range(done, STEPS):
        handle.progress(step, STEPS)
        while step == args["hold_at"] and not path.with_suffix(".go").exists():
            time.sleep(0.05)
        with path.open("a") as file:
            file.write(f"{step} {os.getpid()}\n")
        time.sleep(args["pause_s"])
    return {"steps": STEPS}
