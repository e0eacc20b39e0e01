"""Which checks should be open at each device, and when, by the plans in force and by what the book knows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import Max, Q
from django.db.models.functions import Coalesce

from inspections.calc.due_dates import DueDate, DueRule
from inspections.check_rules.kinds import rule_of
from inspections.models import CheckPlan, Task
from inspections.selectors.due_dates import BeltHours, belts_hours, fixed_due, forecast, needs_hours
from inspections.selectors.wear import DeviceWear, pulled_forward, wear_of
from installs.models import Installation, OutOfService, PartChange
from plant.calc.reasons import Reason
from plant.models import Plant


@dataclass(frozen=True)
class Undated:
    """A check for which no day can be told, with the reason."""

    installation: Installation
    plan: CheckPlan
    reason: Reason


@dataclass
class PlanningRun:
    """What one run of `plan_tasks` did; `undated` names checks for which no day can be told, with the reason."""

    made: int = 0
    moved: int = 0
    withdrawn: int = 0
    undated: list[Undated] = field(default_factory=list)


def plans_in_force(plant: Plant, installations: Iterable[Installation]) -> dict[tuple[int, int], CheckPlan]:
    """The plan of each installation and check kind: its own where there is one, else its model's. Suspended too."""
    by_model: dict[int, list[CheckPlan]] = defaultdict(list)
    own: dict[int, list[CheckPlan]] = defaultdict(list)
    for plan in CheckPlan.objects.of_plant(plant).select_related("check_kind"):
        if plan.installation_id:
            own[plan.installation_id].append(plan)
        elif plan.device_model_id:
            by_model[plan.device_model_id].append(plan)
    return {
        (each.pk, plan.check_kind_id): plan
        for each in installations
        for plan in [*by_model[each.device.device_model_id], *own[each.pk]]
    }


def is_active(plan: CheckPlan, today: date) -> bool:
    retired_on = plan.check_kind.retired_on
    return not plan.is_suspended and (retired_on is None or retired_on > today)


def is_wear_plan(plan: CheckPlan, today: date) -> bool:
    return rule_of(plan.check_kind).reads_wear and is_active(plan, today)


@dataclass(frozen=True)
class DueGrounds:
    """What the dates of next checks are worked out from; by installation (and check kind), or by belt."""

    plant: Plant
    plans: dict[tuple[int, int], CheckPlan]
    last_done: dict[tuple[int, int], date]
    kept: dict[tuple[int, int], date]
    renewed: dict[int, Renewal]
    back: dict[int, date]
    hours: dict[int, BeltHours]
    wear: dict[int, DeviceWear]

    def plans_at(self, installation: Installation) -> list[CheckPlan]:
        return self.by_place.get(installation.pk, [])

    @cached_property
    def by_place(self) -> dict[int, list[CheckPlan]]:
        found: dict[int, list[CheckPlan]] = defaultdict(list)
        for (at, _kind), plan in self.plans.items():
            found[at].append(plan)
        return found


def due_grounds_of(
    plant: Plant, standing: Sequence[Installation], plans: dict[tuple[int, int], CheckPlan], today: date
) -> DueGrounds:
    """A fixed number of queries whatever the number of devices."""
    last_done = last_done_days(plant, standing)
    measured = {at for (at, _kind), plan in plans.items() if is_wear_plan(plan, today)}
    return DueGrounds(
        plant=plant,
        plans=plans,
        last_done=last_done,
        kept=kept_days(plant, plans),
        renewed=part_change_days(plant, standing),
        back=days_back(plant, standing),
        hours=hours_needed(plant, standing, plans, last_done, today),
        wear=wear_of([each for each in standing if each.pk in measured]),
    )


def hours_needed(
    plant: Plant,
    installations: Sequence[Installation],
    plans: dict[tuple[int, int], CheckPlan],
    last_done: dict[tuple[int, int], date],
    today: date,
) -> dict[int, BeltHours]:
    """Running hours of the belts with a plan in hours, from the oldest day that one of their checks counts from."""
    at_place = {each.pk: each for each in installations}
    first_days: dict[int, date] = {}
    for (at, kind), plan in plans.items():
        if is_active(plan, today) and needs_hours(plan):
            each = at_place[at]
            begin = last_done.get((at, kind)) or local_day(each.installed_at, plant)
            first_days[each.conveyor_id] = min(begin, first_days.get(each.conveyor_id, today))
    belts = {each.conveyor_id: each.conveyor for each in installations if each.conveyor_id in first_days}
    if not belts:
        return {}
    return belts_hours(belts.values(), first_days=first_days, today=today, zone=plant.zone)


def local_day(moment: datetime, plant: Plant) -> date:
    return moment.astimezone(plant.zone).date()


def last_done_days(
    plant: Plant, installations: Sequence[Installation], *, skipped: bool = True
) -> dict[tuple[int, int], date]:
    """Day on which each check was last done, or (if asked for) skipped by a person who withdrew its plan's task."""
    counts = Q(outcome=Task.Outcome.DONE)
    if skipped:
        counts |= Q(outcome=Task.Outcome.WITHDRAWN, closed_by__isnull=False, origin=Task.Origin.PLAN)
    return latest_days(plant, Task.objects.filter(counts, plant=plant, installation__in=installations))


def latest_days(plant: Plant, rows: Any) -> dict[tuple[int, int], date]:
    """The latest day on which tasks were done or closed, by installation and check kind."""
    latest = (
        rows.order_by()
        .values("installation_id", "check_kind_id")
        .annotate(last=Max(Coalesce("visit__visited_at", "closed_at")))
    )
    return {(row["installation_id"], row["check_kind_id"]): local_day(row["last"], plant) for row in latest}


def kept_days(plant: Plant, plans: dict[tuple[int, int], CheckPlan]) -> dict[tuple[int, int], date]:
    """The last fixed date that each check kept: done once its window was open, or withdrawn by a person.

    A check that wear had pulled to a day before that window was done besides; its date still stands.
    """
    fixed = {key: plan for key, plan in plans.items() if plan.fixed_dates is not None}
    if not fixed:
        return {}
    rows = Task.objects.filter(
        Q(outcome=Task.Outcome.DONE) | Q(outcome=Task.Outcome.WITHDRAWN, closed_by__isnull=False),
        plant=plant,
        fixed_on__isnull=False,
        installation__in={at for at, _kind in fixed},
    )
    kept: dict[tuple[int, int], date] = {}
    for at, kind, day, outcome, closed_at in rows.values_list(
        "installation_id", "check_kind_id", "fixed_on", "outcome", Coalesce("visit__visited_at", "closed_at")
    ):
        plan = fixed.get((at, kind))
        if plan is None or day is None:
            continue
        opens_on = day - timedelta(days=plan.opens_days_before)
        if outcome == Task.Outcome.WITHDRAWN or local_day(closed_at, plant) >= opens_on:
            kept[at, kind] = max(day, kept.get((at, kind), date.min))
    return kept


@dataclass(frozen=True)
class Renewal:
    """The last part change of a device: when it was made and when that was written down."""

    changed_on: date
    entered_on: date


def part_change_days(plant: Plant, installations: Sequence[Installation]) -> dict[int, Renewal]:
    rows = PartChange.objects.current().filter(installation__in=installations).order_by("changed_at", "pk")
    return {
        pk: Renewal(local_day(changed_at, plant), local_day(created_at, plant))
        for pk, changed_at, created_at in rows.values_list("installation_id", "changed_at", "created_at")
    }


def days_back(plant: Plant, installations: Sequence[Installation]) -> dict[int, date]:
    """The day on which a device was last back from a spell out of service."""
    rows = OutOfService.objects.filter(installation__in=installations, ends_at__isnull=False).order_by()
    latest = rows.values_list("installation_id").annotate(last=Max("ends_at"))
    return {pk: local_day(last, plant) for pk, last in latest}


def has_bedded_in(last: date | None, renewed: Renewal | None) -> bool:
    """Whether a check of that day counts as the one after bedding-in: on a later day than the last part change."""
    return last is not None and (renewed is None or last > renewed.changed_on)


# Installation, kind of check, origin: no two open tasks share them.
TaskKey = tuple[int, int, str]


@dataclass(frozen=True)
class TaskWanted:
    """A task that should be open."""

    installation: Installation
    plan: CheckPlan
    origin: str
    due: DueDate

    @property
    def key(self) -> TaskKey:
        return self.installation.pk, self.plan.check_kind_id, self.origin


def wanted_tasks(
    grounds: DueGrounds, installation: Installation, today: date, done: PlanningRun, not_before: date | None = None
) -> Iterable[TaskWanted]:
    """The tasks that should be open at a device; checks for which no day can be told are named in `done`."""
    plant, at = grounds.plant, installation.pk
    installed_on = local_day(installation.installed_at, plant)
    hours, renewed, back_on = grounds.hours.get(installation.conveyor_id), grounds.renewed.get(at), grounds.back.get(at)
    for plan in grounds.plans_at(installation):
        if not is_active(plan, today):
            continue
        # A plan asks for nothing before it was written.
        began_on = max(local_day(plan.created_at, plant), not_before or date.min)
        last = grounds.last_done.get((at, plan.check_kind_id))
        if plan.fixed_dates is not None:
            kept = grounds.kept.get((at, plan.check_kind_id))
            due = fixed_due(plan, kept=kept, installed_on=installed_on, back_on=back_on)
        else:
            due = forecast(plan, installation.conveyor, last_done_on=last or installed_on, today=today, hours=hours)
        if due.due_on is None:
            done.undated.append(Undated(installation, plan, due.reason))
        else:
            if is_wear_plan(plan, today):
                due = pulled_forward(due, grounds.wear.get(at), today)
            # What fell due while the device was out of service is due on the day on which it is back.
            yield TaskWanted(installation, plan, Task.Origin.PLAN, not_earlier(due, max(began_on, back_on or date.min)))
        has_bedding_in = plan.bedding_in_days is not None or plan.bedding_in_h is not None
        if has_bedding_in and not has_bedded_in(last, renewed):
            begin = max(installed_on, back_on or date.min, renewed.changed_on if renewed else date.min)
            bedding = forecast(
                plan, installation.conveyor, last_done_on=begin, today=today, hours=hours, is_bedding_in=True
            )
            if renewed is not None:
                # A change that was written late asks for nothing before it was known.
                bedding = not_earlier(bedding, renewed.entered_on)
            if bedding.due_on is not None and bedding.closes_on is not None and bedding.closes_on >= began_on:
                yield TaskWanted(installation, plan, Task.Origin.BEDDING_IN, bedding)


def not_earlier(due: DueDate, day: date) -> DueDate:
    """The same task, due on that day where it would have been due before it."""
    if due.due_on is None or due.due_on >= day or due.closes_on is None:
        return due
    after = due.closes_on - due.due_on
    told = Reason(DueRule.ASKED_SINCE, {"due": due.reason, "on": day})
    return replace(due, due_on=day, opens_on=day, closes_on=day + after, reason=told)
