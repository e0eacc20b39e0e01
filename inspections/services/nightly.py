"""The night of a plant: one job for each local day, asked for again and again until it is there.

The timetable asks every hour; the job's key names plant and day, so all but the first request find the job that is
there. A night that was missed is asked for at the next hour at which the site runs.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.utils import timezone

from inspections.services.lateness import note_overdue
from inspections.services.tasks import plan_tasks
from inspections.words.due_dates import undated_words
from plant.models import Job, Plant
from plant.services.job_kinds import JobHandle
from plant.services.jobs import NIGHTLY, ask_for_job

NIGHT_HOUR = 2  # local time from which a night's job may run
MOST_TRIES = 3  # a night whose job failed is tried again at the next hours, so often in all


def ask_for_nightly(now: datetime | None = None) -> list[Job]:
    """The night's job of every plant whose local time is past two; made where it is missing."""
    now = now or timezone.now()
    asked = []
    for plant in Plant.objects.all():
        local = now.astimezone(plant.zone)
        if local.hour >= NIGHT_HOUR:
            asked.append(job_of_night(plant, local.date()))
    return asked


def job_of_night(plant: Plant, day: date) -> Job:
    args = {"plant": plant.pk, "day": day.isoformat()}
    job = ask_for_job(NIGHTLY, args=args, plant=plant, key=f"nightly:{plant.pk}:{day.isoformat()}")
    for n in range(2, MOST_TRIES + 1):
        if job.state != Job.State.FAILED:
            break
        job = ask_for_job(NIGHTLY, args=args, plant=plant, key=f"nightly:{plant.pk}:{day.isoformat()}:{n}")
    return job


def do_night(handle: JobHandle | None, args: dict[str, Any]) -> dict[str, Any]:
    """Make and move tasks, note what became late, tell people. Safe to run again from the start.

    A job that comes late works for the day on which it runs: what it makes is right for that day, and the beginning of
    each late spell is told by its dates.
    """
    plant = Plant.objects.get(pk=args["plant"])
    now = timezone.now()
    today = max(now.astimezone(plant.zone).date(), date.fromisoformat(args["day"]))
    with timezone.override(plant.zone):
        planned = plan_tasks(plant, today, handle)
        return {
            "made": planned.made,
            "moved": planned.moved,
            "withdrawn": planned.withdrawn,
            "undated": [undated_words(each) for each in planned.undated[:50]],
            **note_overdue(plant, now),
        }
