"""What is late and why, what was put off, and whether the weeks ahead have the hands for what falls due."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from inspections.calc.workload import Recurring, Week, by_week, effective_days, monday_of
from inspections.models import CheckPlan, Deferral, OverdueSpell, Shift, Task
from inspections.models.tasks import LATE_AGES, LateReason
from inspections.services.due_dates import BeltHours, belts_hours
from inspections.services.round_problems import minutes_of_kinds
from plant.models import Plant

WEEKS = 12
CHART_HEIGHT = 160
CHART_STEP = 46


@dataclass(frozen=True)
class Figure:
    """A count, its words, and the list that holds exactly these rows."""

    words: str
    n: int
    url: str


@dataclass(frozen=True)
class LoadWeek:
    """One week: work that falls due against the minutes of the shifts in the book."""

    week: Week
    shift_min: int
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
        return self.week.minutes > self.shift_min

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


def backlog_of(plant: Plant, today: date, now: datetime, *, most: int = 100) -> Backlog:
    """The backlog of a plant; the number of queries does not grow with it. Lists are cut at `most`, counts are not."""
    late = list(
        Task.objects.of_plant(plant)
        .overdue(today)
        .with_late_reason(now)
        .select_related("installation__conveyor__area")
        .order_by("closes_on", "pk")
    )
    open_ones = Deferral.objects.current().filter(task__plant=plant, task__closed_at__isnull=True)
    weeks = load_weeks(plant, today, now)
    return Backlog(
        n_late=len(late),
        late_url=url_of(state="late"),
        longest=late[0].days_late(today) if late else 0,
        by_age=figures(
            late, lambda task: age_of(task.days_late(today)), [(age, age_words(age)) for age in LATE_AGES], "age"
        ),
        by_area=figures(
            late,
            lambda task: task.installation.conveyor.area_id,
            [
                (area.pk, str(area))
                for area in sorted({task.installation.conveyor.area for task in late}, key=lambda each: each.code)
            ],
            "area",
        ),
        by_reason=figures(late, lambda task: task.late_reason, LateReason.choices, "why"),
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


def age_of(days: int) -> str:
    return next(name for name, (least, most) in LATE_AGES.items() if days >= least and (most is None or days <= most))


def age_words(age: str) -> str:
    least, most = LATE_AGES[age]
    if most is None:
        return str(_("over %(days)s days") % {"days": least - 1})
    return str(_("%(least)s to %(most)s days") % {"least": least, "most": most})


def figures(
    tasks: Sequence[Task], key_of: Callable[[Any], Any], kinds: Iterable[tuple[Any, Any]], name: str
) -> list[Figure]:
    counts = Counter(key_of(task) for task in tasks)
    return [Figure(str(words), counts[key], url_of(state="late", **{name: key})) for key, words in kinds if counts[key]]


# --- Work ahead against hands -----------------------------------------------------------------------------------------
def recurring_checks(
    tasks: Iterable[Task], hours: dict[int, BeltHours], minutes: dict[int, float], changed: CheckPlan | None = None
) -> list[Recurring]:
    """Open checks as they come round by their plans; `changed` stands for the saved plan with the same key."""
    found = []
    for task in tasks:
        plan = changed if changed is not None and task.check_plan_id == changed.pk else task.check_plan
        every = None
        if plan is not None and task.origin == Task.Origin.PLAN and not plan.is_suspended:
            belt = hours.get(task.installation.conveyor_id)
            every = effective_days(plan.interval_days, plan.interval_h, belt.recent.per_day if belt else None)
        found.append(Recurring(task.due_on, every, minutes[task.check_kind_id], task.check_kind.needs_lockout))
    return found


def hours_of_tasks(plant: Plant, tasks: Sequence[Task], today: date) -> dict[int, BeltHours]:
    """Recent hours of the belts whose checks go by hours."""
    belts = {
        task.installation.conveyor_id: task.installation.conveyor
        for task in tasks
        if task.check_plan is not None and task.check_plan.interval_h is not None
    }
    return belts_hours(belts.values(), first_days={}, today=today, zone=plant.zone) if belts else {}


def shift_minutes(shift: Shift) -> int:
    """Minutes of work in a shift: without the break, up to the time from which its person is away."""
    end = min(shift.ends_at, shift.away_from or shift.ends_at)
    length = max((end - shift.starts_at) / timedelta(minutes=1), 0)
    has_break = shift.break_starts_at is not None and shift.break_starts_at < end
    return round(max(length - (shift.break_minutes if has_break else 0), 0))


def load_weeks(plant: Plant, today: date, now: datetime) -> list[LoadWeek]:
    """Minutes of checks that fall due in each of the weeks ahead, beside the shift minutes in the book."""
    tasks = list(
        Task.objects.of_plant(plant)
        .open()
        .select_related("check_plan", "check_kind", "installation__conveyor")
        .order_by("pk")
    )
    checks = recurring_checks(tasks, hours_of_tasks(plant, tasks, today), minutes_of_kinds(plant, now))
    weeks = by_week(checks, today=today, n_weeks=WEEKS)
    capacity: Counter[date] = Counter()
    for shift in Shift.objects.of_plant(plant).filter(day__gte=today, day__lt=weeks[0].monday + timedelta(weeks=WEEKS)):
        capacity[monday_of(shift.day)] += shift_minutes(shift)
    top = max([1.0, *(week.minutes for week in weeks), *(float(each) for each in capacity.values())])

    def px(minutes: float) -> float:
        return round(minutes / top * (CHART_HEIGHT - 10), 1)

    return [
        LoadWeek(
            week=week,
            shift_min=capacity[week.monday],
            x=n * CHART_STEP + 6,
            locked_out_px=px(week.locked_out_min),
            other_px=px(week.other_min),
            locked_out_y=round(CHART_HEIGHT - px(week.locked_out_min), 1),
            other_y=round(CHART_HEIGHT - px(week.minutes), 1),
            shift_y=round(CHART_HEIGHT - px(capacity[week.monday]), 1),
        )
        for n, week in enumerate(weeks)
    ]
