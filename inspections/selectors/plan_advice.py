"""Before an interval is changed: the year's work under it, and what the findings say about it. Advice only."""

from __future__ import annotations

import copy
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import Coalesce

from inspections.calc.fixed_dates import LONGEST_INTERVAL_DAYS
from inspections.calc.grading import Grade
from inspections.calc.intervals import (
    ENOUGH_CHECKS,
    CurveRule,
    FindingCurve,
    IntervalAdvice,
    finding_curve,
    interval_advice,
)
from inspections.calc.workload import Week, by_week, monday_of
from inspections.models import CheckPlan, Deferral, Task
from inspections.selectors.backlog import (
    Ahead,
    OpenChecks,
    SkillLoad,
    ahead_of,
    coming_checks,
    hands_of,
    open_checks,
    skill_loads,
)
from inspections.selectors.check_plans import installations_of
from inspections.selectors.wanted_tasks import (
    PlanningRun,
    TaskWanted,
    Undated,
    due_grounds_of,
    plans_in_force,
    wanted_tasks,
)
from installs.models import Installation
from plant.calc.reasons import Reason
from plant.models import Conveyor

YEAR_WEEKS = 52
YEAR_STEPS = 4
USUAL_RISK = 0.05
# The latest checks of a plan that are looked at: enough for any interval, and as quick in a large book as in a small.
MOST_CHECKS = 4000


# --- The year under another plan --------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Year:
    """Checks of the 52 weeks ahead."""

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
class SkillYear:
    """Hours of checks that take a skill in the year, as it is and as asked."""

    skill: str
    now_h: float
    then_h: float


@dataclass(frozen=True)
class WhatIfWeek:
    """One week of all the plant's checks, as it is and as asked, against the shifts in the book."""

    now: Week
    then: Week
    shift_min: int | None
    over: list[SkillLoad]

    @property
    def is_over(self) -> bool:
        return self.shift_min is not None and (self.then.minutes > self.shift_min or bool(self.over))


@dataclass(frozen=True)
class WhatIf:
    """The year of one plan, and of all checks of the plant, as it is and as it would be."""

    now: Year
    then: Year
    plant_now: Year
    plant_then: Year
    weeks: list[WhatIfWeek]
    skills: list[SkillYear]
    n_late: int
    shortened: list[tuple[str, int]]
    undated: list[Undated]

    @property
    def chart(self) -> YearChart:
        return year_chart(self)


def year_if(plan: CheckPlan, today: date, now: datetime, step: Callable[[int], None] = lambda _n: None) -> WhatIf:
    """The year's work as the book is and with one plan as given, saved under its key or not; nothing is written.

    `step` is told how many of `YEAR_STEPS` are done.

    The next check of each device is worked out as the night would: hours, outages, fixed dates and wear taken in. What
    is late already, or was put off, stays where it is until somebody does it.
    """
    plant = plan.plant
    until = monday_of(today) + timedelta(weeks=YEAR_WEEKS)
    those, wanted, undated = wanted_under(plan, today)
    step(1)
    open_ones = Task.objects.of_plant(plant).open()
    mine = open_ones.filter(check_kind=plan.check_kind_id, origin=Task.Origin.PLAN, installation__in=those)
    others = open_checks(open_ones.exclude(pk__in=mine.values("pk")))
    before = open_checks(mine)
    put_off = Deferral.objects.current().filter(task=OuterRef("pk"))
    staying = mine.filter(Q(closes_on__lt=today) | Exists(put_off)).select_related("installation")
    stays = {task.installation_id: task.due_on for task in staying}
    key = plan.pk or UNSAVED
    after = [
        OpenChecks(
            key,
            each.installation.conveyor_id,
            plan.check_kind_id,
            stays.get(each.installation.pk, each.due.due_on or until),
        )
        for each in wanted
    ]
    changed = copy.copy(plan)
    changed.pk = key
    every = [*others, *before, *after]
    saved = ahead_of(plant, every, today, now)
    asked = ahead_of(plant, every, today, now, changed)
    step(2)

    def weeks_of(checks: list[OpenChecks], known: Ahead) -> list[Week]:
        return by_week(coming_checks(checks, known, today, until), today=today, n_weeks=YEAR_WEEKS)

    rest, now_weeks, then_weeks = weeks_of(others, saved), weeks_of(before, saved), weeks_of(after, asked)
    step(3)
    plant_now, plant_then = together(rest, now_weeks), together(rest, then_weeks)
    skills = sorted({skill for week in (*plant_now, *plant_then) for skill in week.by_skill if skill})
    hands = hands_of(plant, today, until, skills)
    last_shift = max(hands.all, default=None)
    weeks = []
    for week, then in zip(plant_now, plant_then, strict=True):
        # Beyond the last shift in the book nothing is known of hands.
        is_known = last_shift is not None and week.monday <= last_shift
        over = [each for each in skill_loads(then, hands) if each.is_over] if is_known else []
        weeks.append(WhatIfWeek(week, then, hands.all[week.monday] if is_known else None, over))
    return WhatIf(
        Year(now_weeks),
        Year(then_weeks),
        Year(plant_now),
        Year(plant_then),
        weeks,
        [SkillYear(skill, hours_of(skill, plant_now), hours_of(skill, plant_then)) for skill in skills],
        len(stays),
        shortened_by(wanted),
        undated,
    )


# The key of a plan that is not saved yet; rows begin with 1.
UNSAVED = -1


def hours_of(skill: str, weeks: list[Week]) -> float:
    return sum(week.by_skill.get(skill, 0.0) for week in weeks) / 60


def together(rest: list[Week], those: list[Week]) -> list[Week]:
    return [
        Week(
            a.monday,
            a.n + b.n,
            a.locked_out_min + b.locked_out_min,
            a.other_min + b.other_min,
            {
                skill: a.by_skill.get(skill, 0.0) + b.by_skill.get(skill, 0.0)
                for skill in sorted({*a.by_skill, *b.by_skill})
            },
        )
        for a, b in zip(rest, those, strict=True)
    ]


def wanted_under(plan: CheckPlan, today: date) -> tuple[set[int], list[TaskWanted], list[Undated]]:
    """Devices that would go by this plan, the next check of each, and those for which no day can be told."""
    plant = plan.plant
    places = [each.pk for each in installations_of([plan])]
    known = Installation.objects.of_plant(plant).select_related("conveyor", "device__device_model", "sheet")
    standing = list(known.filter(pk__in=places).in_service().exclude(conveyor__retired_on__lte=today))
    in_force = plans_in_force(plant, standing)
    kind = plan.check_kind_id
    plans = {}
    for each in standing:
        other = in_force.get((each.pk, kind))
        # A device's own plan stands before its model's.
        if plan.installation_id or other is None or not other.installation_id:
            plans[each.pk, kind] = plan
    done = PlanningRun()
    grounds = due_grounds_of(plant, standing, plans, today)
    found = [
        each
        for place in standing
        for each in wanted_tasks(grounds, place, today, done)
        if each.origin == Task.Origin.PLAN
    ]
    return {at for at, _kind in plans}, found, done.undated


def shortened_by(wanted: list[TaskWanted]) -> list[tuple[str, int]]:
    """What shortened the next interval, and at how many devices."""
    return Counter(name for each in wanted for name in each.due.shortened_by).most_common()


@dataclass(frozen=True)
class YearBar:
    """One week of the chart: the bar as asked, the mark as it is, in pixels."""

    week: WhatIfWeek
    x: float
    then_px: float
    then_y: float
    now_y: float
    shift_y: float | None


@dataclass(frozen=True)
class YearChart:
    bars: list[YearBar]
    top_h: float
    width: int
    height: int
    base: int
    step: int


CHART_HEIGHT, CHART_STEP = 140, 15


def year_chart(found: WhatIf) -> YearChart:
    """Bars from zero, on a scale that holds the greater of both; shifts that hold more lie above it."""
    top = max([60.0, *(max(week.now.minutes, week.then.minutes) for week in found.weeks)])

    def px(minutes: float) -> float:
        return round(minutes / top * (CHART_HEIGHT - 12), 1)

    bars = [
        YearBar(
            week,
            n * CHART_STEP,
            px(week.then.minutes),
            round(CHART_HEIGHT - px(week.then.minutes), 1),
            round(CHART_HEIGHT - px(week.now.minutes), 1),
            None if week.shift_min is None or week.shift_min > top else round(CHART_HEIGHT - px(week.shift_min), 1),
        )
        for n, week in enumerate(found.weeks)
    ]
    return YearChart(bars, top / 60, YEAR_WEEKS * CHART_STEP, CHART_HEIGHT + 22, CHART_HEIGHT, CHART_STEP)


# --- What the findings say --------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Advice:
    """One duty of a plan's devices: the curve of its findings, read at the present interval and at a chosen risk."""

    duty: Conveyor.Duty
    risk: float
    n_checks: int
    curve: FindingCurve | None
    present_d: float | None
    chance: tuple[float, float, float] | None
    longest_d: int | None
    sure_d: int | None
    reasons: tuple[Reason, ...]
    says: IntervalAdvice | None = None

    @property
    def offered_d(self) -> int | None:
        """The interval that the findings speak for, up to what a plan may have; None where they do not."""
        return min(self.says.days, LONGEST_INTERVAL_DAYS) if self.says and self.says.days else None


def advice_of(plan: CheckPlan, risk: float) -> list[Advice]:
    """For each duty, from checks of this kind on the same model (removed devices too) or on the plan's own device.

    A pair counts where the check before did not find act, or the device was new: after a finding of act what was put
    right, and when, is not known well enough.
    """
    rows = Task.objects.of_plant(plan.plant).read().filter(check_kind=plan.check_kind_id).exclude(grade="")
    if plan.installation_id:
        rows = rows.filter(installation=plan.installation_id)
    else:
        rows = rows.filter(installation__device__device_model=plan.device_model_id)
    latest = rows.order_by("-closed_at", "-pk").values_list(
        "installation_id",
        "installation__installed_at",
        "installation__conveyor__duty",
        Coalesce("visit__visited_at", "closed_at"),
        "grade",
    )[:MOST_CHECKS]
    checks = list(latest)[::-1]
    # Where older ones are left out, the first of a device has none before it, nor was the device new.
    before: dict[int, tuple[datetime, str]] = {}
    if len(checks) < MOST_CHECKS:
        before = {pk: (installed_at, "") for pk, installed_at, _duty, _at, _grade in checks}
    days: dict[str, list[float]] = defaultdict(list)
    acts: dict[str, list[bool]] = defaultdict(list)
    for pk, _installed_at, duty, at, found in checks:
        days.setdefault(duty, [])
        if pk in before:
            since, grade = before[pk]
            gap = (at - since) / timedelta(days=1)
            if grade != Grade.ACT.value and gap >= 1:
                days[duty].append(gap)
                acts[duty].append(found == Grade.ACT.value)
        before[pk] = (at, found)
    return [advice_at(plan, duty, days[duty], acts[duty], risk) for duty in sorted(days)]


def advice_at(plan: CheckPlan, duty: str, days: list[float], acts: list[bool], risk: float) -> Advice:
    present = present_days(plan, duty)
    curve = finding_curve(days, acts)
    if curve is None:
        too_few = Reason(CurveRule.TOO_FEW_CHECKS, {"n": len(days), "least": ENOUGH_CHECKS})
        return Advice(Conveyor.Duty(duty), risk, len(days), None, present, None, None, None, (too_few,))
    estimate, sure = (whole_days(each) for each in curve.longest_days(risk))
    reasons = list(curve.reasons)
    longest_seen = max(days)
    if estimate is not None and estimate > longest_seen:
        reasons.append(Reason(CurveRule.NONE_LATER, {"days": round(longest_seen)}))
    return Advice(
        duty=Conveyor.Duty(duty),
        risk=risk,
        n_checks=curve.n_checks,
        curve=curve,
        present_d=present,
        chance=curve.chance(present) if present else None,
        longest_d=estimate,
        sure_d=sure,
        reasons=tuple(reasons),
        says=interval_advice(curve, present, risk, longest_seen_d=longest_seen),
    )


def present_days(plan: CheckPlan, duty: str) -> float | None:
    """Days between two checks by the plan as it holds on belts of a duty; the season is left out."""
    if plan.fixed_months is not None:
        return plan.fixed_months * 365.25 / 12
    if plan.interval_days is None:
        return None
    is_shorter = duty == Conveyor.Duty.WET_ABRASIVE and plan.duty_pct is not None
    return plan.interval_days * (plan.duty_pct or 100) / 100 if is_shorter else float(plan.interval_days)


def whole_days(days: float | None) -> int | None:
    """Down to whole days, and no longer than a plan may be."""
    return None if days is None else min(int(days), LONGEST_INTERVAL_DAYS)
