"""What is late and why, what was put off, and whether the weeks ahead have the hands for what falls due."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any

from django.db.models import Case, Count, F, Min, Value, When
from django.urls import reverse

from inspections.calc.workload import ONCE, Cadence, Coming, Week, by_week, cadence, monday_of
from inspections.models import CheckKind, CheckPlan, Deferral, OverdueSpell, Shift, Task, TechnicianProfile
from inspections.models.rounds import words_of
from inspections.models.tasks import LATE_AGES, LateReason, TaskQuerySet
from inspections.selectors.due_dates import BeltHours, belts_hours, needs_hours, shortening_on
from inspections.selectors.round_problems import minutes_of_kinds
from plant.models import Conveyor, Plant

WEEKS = 12
CHART_HEIGHT = 160
CHART_STEP = 46


class FiguredBy(StrEnum):
    """What late checks are counted by."""

    AGE = "age"
    AREA = "area"
    REASON = "reason"


@dataclass(frozen=True)
class Figure:
    """A count, of what, and the list that holds exactly these rows; in words `inspections.words.backlog`.

    Attributes
    ----------
    by : FiguredBy
    of : str
        An age of `LATE_AGES`, code and name of an area, or a `LateReason`.
    """

    by: FiguredBy
    of: str
    n: int
    url: str


@dataclass(frozen=True)
class LoadWeek:
    """One week: work that falls due against the minutes of the shifts in the book."""

    week: Week
    shift_min: int
    is_planned: bool  # a shift is in the book for this week or a later one
    skills: list[SkillLoad]
    x: float
    locked_out_px: float
    other_px: float
    locked_out_y: float
    other_y: float
    shift_y: float

    @property
    def label(self) -> str:
        return f"{self.week.monday:%G-W%V}"

    @property
    def is_over(self) -> bool:
        """Whether more falls due than the shifts hold; weeks for which no shift is planned yet say nothing."""
        return self.is_planned and (self.week.minutes > self.shift_min or bool(self.skills_over))

    @property
    def skills_over(self) -> list[SkillLoad]:
        """Skills of which the week asks for more than the shifts hold, though the minutes of all may fit."""
        return [each for each in self.skills if each.is_over]

    @property
    def label_x(self) -> float:
        return self.x + 16

    @property
    def shift_end_x(self) -> float:
        return self.x + 36


@dataclass(frozen=True)
class Backlog:
    n_late: int
    late_url: str
    longest: int
    by_age: list[Figure]
    by_area: list[Figure]
    by_reason: list[Figure]
    deferrals: list[Deferral]
    n_deferrals: int
    n_put_off: int
    escalations: list[OverdueSpell]
    weeks: list[LoadWeek]
    chart_width: int
    chart_height: int

    @property
    def weeks_over(self) -> list[LoadWeek]:
        return [each for each in self.weeks if each.is_over]

    @property
    def n_planned(self) -> int:
        """Weeks up to the last one for which a shift is in the book."""
        return sum(each.is_planned for each in self.weeks)


def backlog_of(plant: Plant, today: date, now: datetime, *, most: int = 100) -> Backlog:
    """The backlog of a plant; the number of queries does not grow with it. Lists are cut at `most`, counts are not."""
    late = Task.objects.of_plant(plant).overdue(today)
    longest = late.aggregate(since=Min("closes_on"))["since"]
    open_ones = Deferral.objects.current().filter(task__plant=plant, task__closed_at__isnull=True)
    weeks = load_weeks(plant, today, now)
    return Backlog(
        n_late=late.count(),
        late_url=url_of(state="late"),
        longest=(today - longest).days if longest else 0,
        by_age=by_age(late, today),
        by_area=by_area(late),
        by_reason=by_reason(late, now),
        deferrals=list(
            open_ones.select_related(
                "task__check_kind", "task__installation__conveyor", "task__installation__device", "approved_by"
            ).order_by("-created_at", "-pk")[:most]
        ),
        n_deferrals=open_ones.count(),
        n_put_off=open_ones.values("task").distinct().order_by().count(),
        escalations=list(
            OverdueSpell.objects.filter(task__plant=plant, escalated_at__isnull=False, ended_at__isnull=True)
            .select_related("task__check_kind", "task__installation__conveyor", "task__installation__device")
            .order_by("began_at")[:most]
        ),
        weeks=weeks,
        chart_width=WEEKS * CHART_STEP,
        chart_height=CHART_HEIGHT + 24,
    )


def url_of(**asked: Any) -> str:
    query = "&".join(f"{name}={value}" for name, value in asked.items())
    return f"{reverse('task-list')}?{query}"


def by_age(late: TaskQuerySet, today: date) -> list[Figure]:
    counts = {age: late.late_for(age, today).count() for age in LATE_AGES}
    return [Figure(FiguredBy.AGE, age, n, url_of(state="late", age=age)) for age, n in counts.items() if n]


def by_area(late: TaskQuerySet) -> list[Figure]:
    area = "installation__conveyor__area"
    rows = late.order_by(f"{area}__code").values(f"{area}", f"{area}__code", f"{area}__name").annotate(n=Count("pk"))
    return [
        Figure(
            FiguredBy.AREA,
            f"{row[f'{area}__code']} {row[f'{area}__name']}",
            row["n"],
            url_of(state="late", area=row[area]),
        )
        for row in rows
    ]


def by_reason(late: TaskQuerySet, now: datetime) -> list[Figure]:
    known: Any = late.with_late_reason(now)
    rows = known.order_by().values("late_reason").annotate(n=Count("pk"))
    counts = {row["late_reason"]: row["n"] for row in rows}
    return [
        Figure(FiguredBy.REASON, reason, counts[reason], url_of(state="late", why=reason))
        for reason in LateReason.values
        if reason in counts
    ]


# --- Work ahead against hands -----------------------------------------------------------------------------------------
@dataclass(frozen=True)
class OpenChecks:
    """Open checks that are alike in all that the weeks ahead ask for, and how many they are."""

    plan_id: int | None
    conveyor_id: int
    kind_id: int
    due_on: date
    n: int = 1


@dataclass(frozen=True)
class Ahead:
    """What the weeks ahead are worked out from: plans, kinds, belts with their hours, minutes of each kind."""

    plans: dict[int, CheckPlan]
    kinds: dict[int, CheckKind]
    belts: dict[int, Conveyor]
    hours: dict[int, BeltHours]
    minutes: dict[int, float]


def open_checks(rows: TaskQuerySet) -> list[OpenChecks]:
    """Open tasks, counted where they are alike; what was not asked for by a plan comes once."""
    by_plan = Case(When(origin=Task.Origin.PLAN, then=F("check_plan")), default=Value(None))
    known = rows.open().order_by().annotate(by_plan=by_plan)
    counted = known.values_list("by_plan", "installation__conveyor", "check_kind", "due_on").annotate(n=Count("pk"))
    return [OpenChecks(*row) for row in counted]


def ahead_of(plant: Plant, checks: Iterable[OpenChecks], today: date, now: datetime, *more: CheckPlan) -> Ahead:
    """What these checks need to be known; `more` stand beside the saved plans, or instead of those with their key."""
    plans = {plan.pk: plan for plan in CheckPlan.objects.of_plant(plant).select_related("check_kind")}
    plans |= {plan.pk: plan for plan in more}
    kinds = {kind.pk: kind for kind in CheckKind.objects.known_in(plant)}
    belts = {belt.pk: belt for belt in Conveyor.objects.of_plant(plant).select_related("plant")}
    by_hours = {
        each.conveyor_id
        for each in checks
        if each.plan_id in plans and any(needs_hours(plan) for plan in (plans[each.plan_id], *more))
    }
    hours = {}
    if by_hours:
        hours = belts_hours([belts[pk] for pk in by_hours], first_days={}, today=today, zone=plant.zone)
    return Ahead(plans, kinds, belts, hours, minutes_of_kinds(plant, now))


def coming_checks(checks: Iterable[OpenChecks], known: Ahead, today: date, last: date) -> list[Coming]:
    """Checks as they come round by their plans up to a day; each plan's cadence is worked out once a belt."""
    cadences: dict[tuple[int, int], Cadence] = {}

    def cadence_of(plan: CheckPlan, belt_id: int) -> Cadence:
        key = (plan.pk, belt_id)
        if key not in cadences:
            hours = known.hours.get(belt_id)
            cadences[key] = cadence(
                today,
                last,
                interval_days=plan.interval_days,
                interval_hours=plan.interval_h,
                daily_hours=hours.recent.per_day if hours else None,
                outages=hours.outages if hours else (),
                shortening=shortening_on(plan, known.belts[belt_id], hours),
                fixed=plan.fixed_dates,
            )
        return cadences[key]

    found = []
    for each in checks:
        plan, kind = known.plans.get(each.plan_id or 0), known.kinds[each.kind_id]
        comes_again = plan is not None and not plan.is_suspended
        found.append(
            Coming(
                due_on=each.due_on,
                cadence=cadence_of(plan, each.conveyor_id) if plan is not None and comes_again else ONCE,
                minutes=known.minutes[each.kind_id],
                needs_lockout=kind.needs_lockout,
                skill=skill_words(kind.skills_needed),
                n=each.n,
            )
        )
    return found


def skill_words(text: str) -> str:
    """ "Welding, lifting" as people with these skills are compared: in order, without case; empty: anybody."""
    return ", ".join(sorted(words_of(text)))


def shift_minutes(shift: Shift) -> int:
    """Minutes of work in a shift: without the break, up to the time from which its person is away."""
    end = min(shift.ends_at, shift.away_from or shift.ends_at)
    length = max((end - shift.starts_at) / timedelta(minutes=1), 0)
    has_break = shift.break_starts_at is not None and shift.break_starts_at < end
    return round(max(length - (shift.break_minutes if has_break else 0), 0))


@dataclass(frozen=True)
class Hands:
    """Minutes of the shifts in the book by week (its Monday): all of them, and those of people with a skill."""

    all: Counter[date]
    skilled: dict[str, Counter[date]]

    def of(self, skill: str) -> Counter[date]:
        return self.skilled[skill] if skill else self.all


def hands_of(plant: Plant, today: date, until: date, skills: Iterable[str]) -> Hands:
    """Capacity of the weeks up to a day, for each of these sets of skills; two queries."""
    wanted = {skill: words_of(skill) for skill in skills if skill}
    has = {each.person_id: words_of(each.skills) for each in TechnicianProfile.objects.of_plant(plant)}
    hands = Hands(Counter(), {skill: Counter() for skill in wanted})
    for shift in Shift.objects.of_plant(plant).filter(day__gte=today, day__lt=until):
        monday, minutes = monday_of(shift.day), shift_minutes(shift)
        hands.all[monday] += minutes
        for skill, words in wanted.items():
            if words <= has.get(shift.person_id, frozenset()):
                hands.skilled[skill][monday] += minutes
    return hands


@dataclass(frozen=True)
class SkillLoad:
    """Checks of a week that take a skill, against the shifts of those who have it [min]."""

    skill: str
    minutes: float
    shift_min: int

    @property
    def is_over(self) -> bool:
        return self.minutes > self.shift_min


def skill_loads(week: Week, hands: Hands) -> list[SkillLoad]:
    return [
        SkillLoad(skill, week.by_skill[skill], hands.of(skill)[week.monday]) for skill in sorted(week.by_skill) if skill
    ]


def load_weeks(plant: Plant, today: date, now: datetime) -> list[LoadWeek]:
    """Minutes of checks that fall due in each of the weeks ahead, beside the shift minutes in the book."""
    until = monday_of(today) + timedelta(weeks=WEEKS)
    checks = open_checks(Task.objects.of_plant(plant))
    coming = coming_checks(checks, ahead_of(plant, checks, today, now), today, until)
    weeks = by_week(coming, today=today, n_weeks=WEEKS)
    hands = hands_of(plant, today, until, {skill for week in weeks for skill in week.by_skill})
    last = max((monday for monday, minutes in hands.all.items() if minutes), default=None)
    # On the scale of the checks: shifts that hold far more would leave nothing to see of them.
    top = max([60.0, *(week.minutes for week in weeks)])

    def px(minutes: float) -> float:
        return round(minutes / top * (CHART_HEIGHT - 10), 1)

    return [
        LoadWeek(
            week=week,
            shift_min=hands.all[week.monday],
            is_planned=last is not None and week.monday <= last,
            skills=skill_loads(week, hands),
            x=n * CHART_STEP + 6,
            locked_out_px=px(week.locked_out_min),
            other_px=px(week.other_min),
            locked_out_y=round(CHART_HEIGHT - px(week.locked_out_min), 1),
            other_y=round(CHART_HEIGHT - px(week.minutes), 1),
            shift_y=round(CHART_HEIGHT - px(min(hands.all[week.monday], top)), 1),
        )
        for n, week in enumerate(weeks)
    ]
