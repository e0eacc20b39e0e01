"""The job that writes a sent file."""

from __future__ import annotations

from typing import Any

from plant.job_kinds import JobHandle, job_kind, when_job_ends
from plant.models import Job
from plant.services.imports import run_import, tell_end


@job_kind("import")
def import_file(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    """Goes on after the last whole chunk, so it may be started again after a worker died."""
    return run_import(handle, args["batch"])


@when_job_ends("import")
def import_is_over(job: Job) -> None:
    tell_end(job)
