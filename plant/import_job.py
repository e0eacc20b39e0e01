"""The job that writes a sent file."""

from __future__ import annotations

from typing import Any

from plant.job_kinds import JobHandle, job_kind
from plant.services.imports import run_import


@job_kind("import")
def import_file(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    """Goes on after the last whole chunk, so it may be started again after a worker died."""
    return run_import(handle, args["batch"])
