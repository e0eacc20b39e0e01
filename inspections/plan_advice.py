"""Before an interval is changed: the year's work under it, and what the findings say about it. Advice only."""

from __future__ import annotations

import copy
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from django.utils.translation import gettext as _

from inspections.backlog import hours_of_tasks, recurring_checks
from inspections.calc.grading import Grade
from inspections.calc.intervals import ENOUGH_CHECKS, FindingCurve, finding_curve
from inspections.calc.workload import Recurring, Week, by_week, effective_days
from inspections.models import CheckPlan, Task
from inspections.services.round_problems import minutes_of_kinds
from plant.models import Conveyor

YEAR_WEEKS = 52
USUAL_RISK = 0.05


# --- The year under another interval ----------------------------------------------------------------------------------
@dataclass(frozen=True)
class Year:
    """Checks of one plan in the 52 weeks ahead."""

    weeks: list[Week]

    @property
    def n(self) -> int:
        return sum(week.n for week in self.weeks)

    @property
    def locked_out_h(self) -> float:
        return sum(week.locked_out_min for week in self.weeks) / 60

    @property
    def other_h(self) -> float:
        return sum(week.other_min for week in self.weeks) / 60

    @property
    def most_in_a_week_h(self) -> float:
        return max(week.minutes for week in self.weeks) / 60


@dataclass(frozen=True)
class WhatIf:
    """The year as the plan is, and as it would be."""

    now: Year
    then: Year

    @property
    def weeks(self) -> list[tuple[Week, Week]]:
        return list(zip(self.now.weeks, self.then.weeks, strict=True))


def year_if(plan: CheckPlan, interval_days: int | None, interval_h: float | None, today: date, now: datetime) -> WhatIf:
    """The year's work of a plan as it is and with other intervals; nothing is written.

    The next check of each device moves by as many days as the interval does, never before today.
    """
    changed = copy.copy(plan)
    changed.interval_days, changed.interval_h = interval_days, interval_h
    tasks = list(
        plan.tasks.open()
        .filter(origin=Task.Origin.PLAN)
        .select_related("check_plan", "check_kind", "installation__conveyor")
        .order_by("pk")
    )
    minutes = minutes_of_kinds(plan.plant, now)
    for task in tasks:
        # So that the belt's hours are looked up where only the changed plan goes by hours.
        task.check_plan = changed if interval_h is not None else plan
    hours = hours_of_tasks(plan.plant, tasks, today)
    for task in tasks:
        task.check_plan = plan
    before = recurring_checks(tasks, hours, minutes)
    after = [
        moved(each, then) for each, then in zip(before, recurring_checks(tasks, hours, minutes, changed), strict=True)
    ]
    return WhatIf(*(Year(by_week(rows, today=today, n_weeks=YEAR_WEEKS)) for rows in (before, after)))


def moved(before: Recurring, then: Recurring) -> Recurring:
    if before.every_days is None or then.every_days is None:
        return then
    due_on = before.due_on + timedelta(days=round(then.every_days - before.every_days))
    return Recurring(due_on, then.every_days, then.minutes, then.needs_lockout)


# --- What the findings say --------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Advice:
    """One duty of a plan's devices: the curve of its findings, read at the present interval and at a chosen risk."""

    duty: str
    n_checks: int
    curve: FindingCurve | None
    present_d: float | None
    chance: tuple[float, float, float] | None
    longest_d: int | None
    sure_d: int | None
    reasons: tuple[str, ...]
    change_reason: str


def advice_of(plan: CheckPlan, risk: float) -> list[Advice]:
    """For each duty, from checks of this kind on the same model (removed devices too) or on the plan's own device.

    A pair counts where the check before did not find act, or the device was new: after a finding of act what was put
    right, and when, is not known well enough.
    """
    rows = Task.objects.of_plant(plan.plant).done().filter(check_kind=plan.check_kind_id).exclude(grade="")
    if plan.installation_id:
        rows = rows.filter(installation=plan.installation_id)
    else:
        rows = rows.filter(installation__device__device_model=plan.device_model_id)
    by_device: dict[int, list[Task]] = defaultdict(list)
    for task in rows.select_related("installation__conveyor", "visit").order_by("closed_at", "pk"):
        by_device[task.installation_id].append(task)
    days: dict[str, list[float]] = defaultdict(list)
    acts: dict[str, list[bool]] = defaultdict(list)
    for tasks in by_device.values():
        installation = tasks[0].installation
        duty = installation.conveyor.duty
        points = [(installation.installed_at, ""), *((done_at(task), task.grade) for task in tasks)]
        for (since, grade), (at, found) in pairwise(points):
            gap = (at - since) / timedelta(days=1)
            if grade != Grade.ACT.value and gap >= 1:
                days[duty].append(gap)
                acts[duty].append(found == Grade.ACT.value)
    return [advice_at(plan, duty, days[duty], acts[duty], risk) for duty in sorted(days)]


def done_at(task: Task) -> datetime:
    moment = task.visit.visited_at if task.visit is not None else task.closed_at
    if moment is None:
        raise ValueError(f"task {task.pk} is not done; give tasks that are")
    return moment


def advice_at(plan: CheckPlan, duty: str, days: list[float], acts: list[bool], risk: float) -> Advice:
    words = str(Conveyor.Duty(duty).label)
    present = effective_days(plan.interval_days, None, None)
    curve = finding_curve(days, acts)
    if curve is None:
        why = _("Only %(n)s checks are in the book; %(least)s are needed before anything can be said.")
        return Advice(
            words, len(days), None, present, None, None, None, (why % {"n": len(days), "least": ENOUGH_CHECKS},), ""
        )
    estimate, sure = (whole_days(each) for each in curve.longest_days(risk))
    reasons = list(curve.reasons)
    longest_seen = max(days)
    if estimate is not None and estimate > longest_seen:
        reasons.append(
            _("No check came later than %(days)s days after the one before: longer intervals are beyond what was seen.")
            % {"days": round(longest_seen)}
        )
    reason = _("Findings: %(act)s of %(n)s checks at act (%(duty)s); at most %(risk)s %% wanted") % {
        "act": curve.n_act,
        "n": curve.n_checks,
        "duty": words,
        "risk": f"{risk * 100:g}",
    }
    return Advice(
        duty=words,
        n_checks=curve.n_checks,
        curve=curve,
        present_d=present,
        chance=curve.chance(present) if present else None,
        longest_d=estimate,
        sure_d=sure,
        reasons=tuple(reasons),
        change_reason=reason[:100],
    )


def whole_days(days: float | None) -> int | None:
    """Down to whole days, and no longer than a plan may be."""
    return None if days is None else min(int(days), 3650)
