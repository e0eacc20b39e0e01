"""The day of the technician and of the planner."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format

from inspections.check_rules.base import Tool
from inspections.check_rules.kinds import rule_of
from inspections.models import (
    Action,
    CouldNotDo,
    SetAside,
    Task,
    TwiceClosed,
)
from inspections.models.tasks import week_end
from inspections.selectors.set_aside import set_aside_at
from inspections.selectors.tasks import (
    WORN,
    ask_once,
    came_back,
    mark_actions,
    mark_twice,
    undecided_at,
    with_deferrals,
    with_new_rollers,
)
from installs.models import Installation
from plant.models import Conveyor, OutageWindow, Plant


@dataclass(frozen=True)
class WindowAhead:
    """An outage window and the checks with a stopped belt that fit it."""

    window: OutageWindow
    tasks: list[Task]
    minutes: int

    @property
    def minutes_there(self) -> int:
        return int((self.window.ends_at - self.window.starts_at) / timedelta(minutes=1))


@dataclass(frozen=True)
class PlannersDay:
    """What a planner sees first. Lists are cut at `most`; counts are not."""

    n_due: int
    n_late: int
    longest_late: int
    late: list[Task]
    n_this_week: int
    n_due_before: int
    week_ends_on: date
    this_week: list[Task]
    windows: list[WindowAhead]
    actions: list[Action]
    n_actions: int
    n_actions_late: int
    n_actions_unowned: int
    came_back: list[CouldNotDo]
    set_aside: list[SetAside]
    twice: list[TwiceClosed]


def planners_day(plant: Plant, today: date, now: datetime, *, most: int = 15) -> PlannersDay:
    """Late, due in their window, due this week, the outage windows ahead with the checks that fit, open actions."""
    open_tasks = Task.objects.of_plant(plant).open()
    late = open_tasks.overdue(today).order_by("closes_on", "pk")
    week = open_tasks.due_this_week(today).order_by("due_on", "pk")
    actions = (
        Action.objects.of_plant(plant).open().select_related("installation__conveyor", "installation__device", "owner")
    )
    first = late.first()
    late_rows = list(with_deferrals(late.with_place().with_last_grade())[:most])
    week_rows = list(with_deferrals(week.with_place().with_last_grade())[:most])
    action_rows = list(actions[:most])
    twice = undecided_at(plant)
    mark_twice([*late_rows, *week_rows], "last_task_id", among=twice)
    mark_actions(action_rows, twice)
    return PlannersDay(
        n_due=open_tasks.filter(opens_on__lte=today, closes_on__gte=today).count(),
        n_late=late.count(),
        longest_late=first.days_late(today) if first else 0,
        late=late_rows,
        n_this_week=week.count(),
        n_due_before=week.filter(due_on__lt=today).count(),
        week_ends_on=week_end(today),
        this_week=week_rows,
        windows=windows_ahead(plant, now),
        actions=action_rows,
        n_actions=actions.count(),
        n_actions_late=actions.overdue(today).count(),
        n_actions_unowned=actions.unowned().count(),
        came_back=came_back(plant),
        set_aside=list(set_aside_at(plant)),
        twice=twice,
    )


def windows_ahead(plant: Plant, now: datetime, *, days: int = 14) -> list[WindowAhead]:
    """Outage windows of the next two weeks with the open checks that need a stopped belt and may be done by then.

    A task fits where it has opened by the window's day, whether its own window is still open or it is late. Minutes
    are those of the checks alone; walking and the lockout itself come on top.
    """
    windows = list(
        OutageWindow.objects.ahead(now)
        .filter(conveyor__plant=plant, starts_at__lt=now + timedelta(days=days))
        .select_related("conveyor")
    )
    by_belt: dict[int, list[Task]] = defaultdict(list)
    tasks = (
        Task.objects.of_plant(plant)
        .open()
        .filter(
            check_kind__needs_lockout=True,
            installation__conveyor__in={window.conveyor_id for window in windows},
            opens_on__lte=(now + timedelta(days=days + 1)).date(),
        )
        .with_place()
        .order_by("closes_on", "pk")
    )
    for task in tasks if windows else ():
        by_belt[task.installation.conveyor_id].append(task)
    ahead = []
    for window in windows:
        last_day = window.ends_at.astimezone(plant.zone).date()
        fitting = [task for task in by_belt[window.conveyor_id] if task.opens_on <= last_day]
        ahead.append(WindowAhead(window, fitting, sum(task.check_kind.minutes for task in ask_once(fitting))))
    return ahead


@dataclass(frozen=True)
class StopToday:
    """One device of the round with the checks that may be done there now."""

    installation: Installation
    tasks: list[Task]


@dataclass(frozen=True)
class BeltToday:
    """One conveyor of the round: its stops along the belt, and when it may be stopped."""

    conveyor: Conveyor
    stops: list[StopToday]
    window: OutageWindow | None
    is_today: bool

    @property
    def needs_lockout(self) -> bool:
        return any(task.check_kind.needs_lockout for stop in self.stops for task in stop.tasks)

    @property
    def end_words(self) -> str:
        """End of the window: the time alone where it is the day of its beginning."""
        if self.window is None:
            return ""
        begin, end = (timezone.localtime(each) for each in (self.window.starts_at, self.window.ends_at))
        return str(date_format(end, "H:i" if begin.date() == end.date() else "D j M H:i"))

    @property
    def minutes(self) -> int:
        return sum(task.check_kind.minutes for stop in self.stops for task in stop.tasks)


@dataclass(frozen=True)
class TechniciansDay:
    """What a technician sees first: the round in walking order, what it needs, and their own actions."""

    belts: list[BeltToday]
    n_checks: int
    n_stops: int
    n_late: int
    longest_late: int
    has_caliper: bool
    has_balance: bool
    torque_nm: float | None
    has_wrench: bool
    rollers: list[Task]
    actions: list[Action]
    became: list[Action]


def technicians_day(
    person: Any, plant: Plant, today: date, now: datetime, *, only: Collection[int] | None = None
) -> TechniciansDay:
    """Checks that are open or late, by belt and device as one walks; seven queries whatever their number.

    With `only`, the open ones of these tasks: what is on the person's published round.
    """
    rows = Task.objects.of_plant(plant).due_by(today) if only is None else Task.objects.open().filter(pk__in=only)
    rows = rows.with_place().select_related("installation__sheet").with_last_grade()
    tasks = list(
        rows.prefetch_related("installation__device__device_model__fasteners").order_by(
            "installation__conveyor__area__walking_order",
            "installation__conveyor__area__code",
            "installation__conveyor__tag",
            "installation__chainage_m",
            "closes_on",
            "pk",
        )
    )
    for task in tasks:
        task.installation.conveyor.plant = plant
    tasks = ask_once(tasks)
    twice = undecided_at(plant)
    mark_twice(tasks, "last_task_id", among=twice)
    windows: dict[int, OutageWindow] = {}
    belts_met = {task.installation.conveyor_id for task in tasks}
    for window in OutageWindow.objects.ahead(now).filter(conveyor__in=belts_met) if belts_met else ():
        windows.setdefault(window.conveyor_id, window)
    belts = [
        belt_of(list(those), windows.get(conveyor_id), plant, today)
        for conveyor_id, those in groupby(tasks, key=lambda task: task.installation.conveyor_id)
    ]
    tools = {tool for task in tasks for tool in rule_of(task.check_kind).tools}
    # A wrench for what the devices were fitted with, whatever the newest sheet of their model says.
    tightened = [
        task.installation.spec.fasteners for task in tasks if Tool.TORQUE_WRENCH in rule_of(task.check_kind).tools
    ]
    worn = [task for task in tasks if rule_of(task.check_kind).reads_wear and task.last_grade in WORN]
    renewed = with_new_rollers([task.last_task_id for task in worn if task.last_task_id])
    own_actions = list(
        Action.objects.open()
        .filter(plant=plant, owner=person)
        .select_related("installation__conveyor", "installation__device")
    )
    mark_actions(own_actions, twice)
    targets = [fastener.torque_nm for fasteners in tightened for fastener in fasteners]
    return TechniciansDay(
        belts=belts,
        n_checks=len(tasks),
        n_stops=sum(len(belt.stops) for belt in belts),
        n_late=sum(1 for task in tasks if task.most_pressing.days_late(today)),
        longest_late=max((task.most_pressing.days_late(today) for task in tasks), default=0),
        has_caliper=Tool.CALIPER in tools,
        has_balance=Tool.SPRING_BALANCE in tools,
        torque_nm=max((each for each in targets if each is not None), default=None),
        has_wrench=Tool.TORQUE_WRENCH in tools,
        rollers=[task for task in worn if task.last_task_id not in renewed],
        actions=own_actions,
        became=what_became(person, plant, now),
    )


def what_became(person: Any, plant: Plant, now: datetime, *, days: int = 30, most: int = 5) -> list[Action]:
    """Work that came of a person's findings and was done lately, the latest first."""
    done = Action.objects.of_plant(plant).from_findings_of(person).filter(done_at__gte=now - timedelta(days=days))
    return list(
        done.select_related("installation__conveyor", "installation__device", "done_by").order_by("-done_at")[:most]
    )


def belt_of(tasks: list[Task], window: OutageWindow | None, plant: Plant, today: date) -> BeltToday:
    stops = [
        StopToday(those[0].installation, those)
        for _pk, group in groupby(tasks, key=lambda task: task.installation_id)
        for those in [list(group)]
    ]
    is_today = window is not None and window.starts_at.astimezone(plant.zone).date() <= today
    return BeltToday(tasks[0].installation.conveyor, stops, window, is_today)
