"""The year under a plan: kept where somebody asked before, else made by a worker while the page says how far it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from inspections.models import CheckPlan
from inspections.selectors.plan_advice import YEAR_STEPS, year_if
from inspections.selectors.plan_years import YEAR, part_of, plan_as_text, plan_from_text, year_from_text
from plant.models import Job, Plant
from plant.selectors.kept import Kept, kept_of, standing_of
from plant.services.job_kinds import JobHandle
from plant.services.jobs import ask_for_job, has_worker
from plant.services.kept import REST, keep_one


@dataclass(frozen=True)
class YearAtHand:
    """What a page can show of a year: what is kept of it, and the job that makes it, where one does."""

    part: str
    kept: Kept | None
    job: Job | None

    @property
    def is_awaited(self) -> bool:
        return self.job is not None and self.job.state in (Job.State.WAITING, Job.State.RUNNING)


def year_at_hand(plan: CheckPlan, *, by: Any) -> YearAtHand:
    """The year under a plan, saved or not, for a page: nobody waits for it where there is a worker."""
    now, part = timezone.now(), part_of(plan)
    kept = kept_of(plan.plant, YEAR, part, now, year_from_text)
    if kept is not None and kept.is_fresh:
        return YearAtHand(part, kept, None)
    if not has_worker():
        return YearAtHand(part, make_year(plan), None)
    return YearAtHand(part, kept, ask_for_year(plan.plant, {"part": part, "plan": plan_as_text(plan)}, by=by))


def year_of_part(plant: Plant, part: str, *, by: Any) -> YearAtHand | None:
    """The same for a page that shows it already and asks again; None where nobody ever asked for that year."""
    now = timezone.now()
    kept = kept_of(plant, YEAR, part, now, year_from_text)
    job = Job.objects.filter(kind=YEAR, plant=plant, args__part=part).order_by("-created_at").first()
    if job is None:
        return None
    found = YearAtHand(part, kept, job)
    standing = standing_of(plant, YEAR, part, now)
    # The book went on while the year was made: it is made again, but not over and over.
    if not found.is_awaited and standing is not None and not standing.is_fresh and standing.is_rested(now, REST):
        return YearAtHand(part, kept, ask_for_year(plant, job.args, by=by))
    return found


def ask_for_year(plant: Plant, args: dict[str, Any], *, by: Any) -> Job:
    """Ask a worker for a year, once however many pages want it."""
    with transaction.atomic():
        known = Job.objects.unfinished().filter(kind=YEAR, plant=plant, args__part=args["part"]).first()
        return known or ask_for_job(YEAR, args=args, plant=plant, by=by)


def make_year(plan: CheckPlan, handle: JobHandle | None = None) -> Kept:
    def step(n: int) -> None:
        if handle is not None:
            handle.progress(n, YEAR_STEPS)

    now = timezone.now()
    today = timezone.localdate(now, timezone=plan.plant.zone)
    return keep_one(plan.plant, YEAR, part_of(plan), now, lambda: year_if(plan, today, now, step))


def do_year(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    """The job: make the year of the plan that it carries."""
    handle.progress(0, YEAR_STEPS)
    make_year(plan_from_text(args["plan"]), handle)
    return {}
