"""Celery tasks of this app and kinds of its jobs: ids in, one service call."""

from __future__ import annotations

from typing import Any

from celery import shared_task
from django.utils.translation import gettext_lazy as _

from plant.files.plant_export import write_zip
from plant.models import Job
from plant.services import clearing, import_again, import_undo, jobs, kept
from plant.services.import_writing import run_import, tell_end
from plant.services.job_kinds import JobHandle, job_kind, when_job_ends
from plant.services.plant_exports import EXPORT, do_export, tell_export_end


@shared_task(name="plant.do_job", ignore_result=True)
def do_job(job_id: int) -> None:
    """Nudge: there is a job to do."""
    jobs.do_job(job_id)


@shared_task(name="plant.sweep_jobs", ignore_result=True)
def sweep_jobs() -> None:
    """Pick up what a dead worker or a lost message left."""
    jobs.sweep_jobs()


@shared_task(name="plant.clear_old", ignore_result=True)
def clear_old() -> None:
    """Clear away what is over, once a night."""
    clearing.clear_if_due()


@shared_task(name="plant.keep_up", ignore_result=True)
def keep_up() -> None:
    """Ask for kept results that the book has gone past."""
    kept.keep_up()


@job_kind(kept.KEEP, _("results made anew"))
def keep(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    return kept.do_keep(handle, args)


@job_kind("import", _("import of a file"))
def import_file(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    """Goes on after the last whole chunk, so it may be started again after a worker died."""
    return run_import(handle, args["batch"])


@job_kind(import_again.AGAIN, _("refused rows of a file tried again"))
def import_rows_again(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    return import_again.run_again(handle, args["batch"], args["act"], args["code"])


@job_kind(import_undo.UNDO, _("import of a file taken back"))
def import_taken_back(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    """Goes on after the last whole chunk, so it may be started again after a worker died."""
    return import_undo.run_undo(handle, args["batch"])


@when_job_ends(import_undo.UNDO)
@when_job_ends(import_again.AGAIN)
@when_job_ends("import")
def import_is_over(job: Job) -> None:
    tell_end(job)


@job_kind(EXPORT, _("everything of a plant as one file"))
def export_plant(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    return do_export(handle, args, write_zip)


@when_job_ends(EXPORT)
def export_is_over(job: Job) -> None:
    tell_export_end(job)
