"""A belt stopped: what may be done on it now, by whom and with what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from inspections.calc.opportunity import Work, fill
from inspections.calc.round_problem import worth_s
from inspections.check_rules.kinds import rule_of
from inspections.models import Action, Shift, Stop, Task, TechnicianProfile
from inspections.models.rounds import words_of
from inspections.selectors.round_problems import minutes_of_kinds
from inspections.selectors.tasks import WORN, ask_once, mark_twice
from installs.models import Fitting
from plant.models import Conveyor, OutageWindow

# A check this far ahead of its window may be offered: done early, the next one counts from the day it was done.
EARLY_DAYS = 30


@dataclass(frozen=True)
class FittingTask:
    """A check with a stopped belt: minutes, whether it is early, who of today's shifts could do it, where it stands."""

    task: Task
    minutes: int
    is_early: bool
    people: list[Shift]
    on_round: Stop | None


@dataclass(frozen=True)
class Hand:
    """Somebody at work now: the shift, and which of the fitting checks they lack a skill or a tool for."""

    shift: Shift
    can: list[Task]
    lacks: list[str]

    @property
    def keys(self) -> str:
        return ",".join(str(task.pk) for task in self.can)


@dataclass(frozen=True)
class Opportunity:
    conveyor: Conveyor
    minutes: int
    lockout_minutes: int
    taken: int
    fits: list[FittingTask]
    left: list[FittingTask]
    hands: list[Hand]
    tools: list[str]
    rollers: list[Task]
    actions: list[Action]
    fittings: list[Fitting]
    window: OutageWindow | None


def opportunity_of(conveyor: Conveyor, minutes: int, now: datetime) -> Opportunity:
    """What fits on a belt that stands for so many minutes from now; the number of queries does not grow with it."""
    plant = conveyor.plant
    today = now.astimezone(plant.zone).date()
    tasks = tasks_behind_lockout(conveyor, today)
    early = {task.pk for task in tasks if all(each.opens_on > today for each in (task, *task.asked_too))}
    usual = minutes_of_kinds(plant, now)
    works = [
        Work(
            task.pk,
            usual[task.check_kind_id],
            worth_s(
                days_late=task.most_pressing.days_late(today),
                days_left=max((task.most_pressing.closes_on - today).days, 0),
                criticality=conveyor.criticality,
                last_grade=task.last_grade or "",
            )
            # What is early comes after all that may be done in its window.
            - (10**6 if task.pk in early else 0),
            task.installation.chainage_m,
        )
        for task in tasks
    ]
    filled = fill(works, minutes=minutes, lockout_minutes=plant.lockout_minutes, walking_m_s=plant.walking_m_s)
    shifts = shifts_at(conveyor, now, minutes)
    profiles = {each.person_id: each for each in TechnicianProfile.objects.of_plant(plant)}
    stops = stops_of_tasks(tasks, now)
    by_key = {task.pk: task for task in tasks}

    def row(key: int) -> FittingTask:
        task = by_key[key]
        people = [shift for shift in shifts if not lacking(task, profiles.get(shift.person_id))]
        return FittingTask(task, round(usual[task.check_kind_id]), task.pk in early, people, stops.get(key))

    fits = [row(key) for key in filled.fits]
    chosen = [each.task for each in fits]
    return Opportunity(
        conveyor=conveyor,
        minutes=minutes,
        lockout_minutes=plant.lockout_minutes,
        taken=round(filled.minutes),
        fits=fits,
        left=[row(key) for key in filled.left],
        hands=hands_of(shifts, profiles, chosen),
        tools=sorted(frozenset().union(*(words_of(task.check_kind.tools_needed) for task in chosen))),
        rollers=[task for task in chosen if rule_of(task.check_kind).reads_wear and task.last_grade in WORN],
        actions=list(
            Action.objects.of_plant(plant)
            .open()
            .filter(installation__conveyor=conveyor)
            .select_related("installation__conveyor", "installation__device", "owner")
        ),
        fittings=list(Fitting.objects.of_plant(plant).open().filter(conveyor=conveyor).with_place()),
        window=OutageWindow.objects.filter(conveyor=conveyor, starts_at__lte=now, ends_at__gt=now).first(),
    )


def tasks_behind_lockout(conveyor: Conveyor, today: date) -> list[Task]:
    """Open checks of a belt that has to stand for them, due now or soon; what several asked for is read once."""
    tasks = list(
        Task.objects.of_plant(conveyor.plant)
        .due_by(today + timedelta(days=EARLY_DAYS))
        .filter(installation__conveyor=conveyor, check_kind__needs_lockout=True)
        # Done before its window, a check would not stand for its fixed date.
        .exclude(fixed_on__isnull=False, opens_on__gt=today)
        .with_place()
        .with_last_grade()
        .order_by("closes_on", "pk")
    )
    # What several asked for is as pressing as the first of them.
    tasks = ask_once(tasks)
    mark_twice(tasks, "last_task_id")
    return tasks


def hands_of(shifts: Iterable[Shift], profiles: Mapping[int, TechnicianProfile], chosen: Sequence[Task]) -> list[Hand]:
    """Who is on shift, what they may do of the chosen checks, and what they lack for the others."""
    hands = []
    for shift in shifts:
        profile = profiles.get(shift.person_id)
        lacks = sorted({word for task in chosen for word in lacking(task, profile)})
        hands.append(Hand(shift, [task for task in chosen if not lacking(task, profile)], lacks))
    return hands


def shifts_at(conveyor: Conveyor, now: datetime, minutes: int) -> list[Shift]:
    """Shifts of people who are at work now or come while the belt stands."""
    rows = Shift.objects.of_plant(conveyor.plant).filter(
        starts_at__lt=now + timedelta(minutes=minutes), ends_at__gt=now
    )
    return [shift for shift in rows.select_related("person", "plant") if not shift.away_from or shift.away_from > now]


def lacking(task: Task, profile: TechnicianProfile | None) -> frozenset[str]:
    """Skills and tools that a check needs and the person does not have in the book."""
    known = profile or TechnicianProfile()
    skills = words_of(task.check_kind.skills_needed) - words_of(known.skills)
    return skills | (words_of(task.check_kind.tools_needed) - words_of(known.tools))


def stops_of_tasks(tasks: list[Task], now: datetime) -> dict[int, Stop]:
    """The stop of a round in force on which each of these checks stands already."""
    rows = Stop.objects.filter(tasks__in=tasks, round__superseded_at__isnull=True, round__shift__ends_at__gt=now)
    found: dict[int, Stop] = {}
    wanted = {task.pk for task in tasks}
    for stop in rows.select_related("round__shift__person").distinct().order_by("starts_at"):
        for key in stop.task_order:
            if key in wanted:
                found.setdefault(key, stop)
    return found
