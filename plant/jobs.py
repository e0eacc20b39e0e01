"""Celery tasks of this app: ids in, one service call."""

from __future__ import annotations

from celery import shared_task

from plant.services import clearing, jobs


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
    """Clear ended sign-ins and old import files away."""
    clearing.clear_old()
