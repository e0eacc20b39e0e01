"""Between the book and the laying of rounds: tasks become errands, shifts and windows get seconds, and back again."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import groupby, pairwise

from django.utils import timezone

from inspections.calc.round_problem import (
    BeltState,
    Errand,
    MapPlace,
    PlannedErrand,
    RoundProblem,
    WorkShift,
    place_of,
    usual_minutes,
    walk_m,
    worth_s,
)
from inspections.calc.round_reasons import merged
from inspections.models import CheckKind, Round, Shift, Stop, Task, TechnicianProfile, Visit
from inspections.models.rounds import words_of
from installs.models import Fitting
from plant.calc.calendar import overdue_from
from plant.models import Area, Conveyor, OutageWindow, Plant

# Visits further back say little about how long a check takes today.
LEARN_FROM_DAYS = 730
# Two visits of one person are one walk if they lie this far apart at most; a longer gap is a break or another job.
LONGEST_GAP_MINUTES = 180
WITHOUT_END_S = 10**9
# The longest that a fitting may be planned for.
LONGEST_FITTING = timedelta(hours=240)


@dataclass
class Desk:
    """A problem and what stands behind its keys."""

    plant: Plant
    origin: datetime
    shifts: dict[int, Shift]
    tasks_of: dict[int, list[Task]] = field(default_factory=dict)
    # Fittings at which the person of a shift is planned to be, by shift.
    fittings: dict[int, list[Fitting]] = field(default_factory=dict)
    problem: RoundProblem = field(default_factory=lambda: RoundProblem((), ()))

    def seconds(self, moment: datetime) -> int:
        return round((moment - self.origin).total_seconds())

    def moment(self, seconds: int) -> datetime:
        return self.origin + timedelta(seconds=seconds)


# --- Where things stand and how long they take ------------------------------------------------------------------------
@dataclass
class Map:
    """Places of a plant's devices and start places."""

    area_rank: dict[int, int]
    areas: dict[int, Area]
    conveyor_rank: dict[int, int]

    def of_device(self, task: Task) -> MapPlace:
        belt = task.installation.conveyor
        return place_of(
            area_rank=self.area_rank[belt.area_id],
            conveyor_rank=self.conveyor_rank.get(belt.pk, 0),
            chainage_m=task.installation.chainage_m,
            length_m=belt.length_m,
            tail=pair(belt.x_m, belt.y_m),
            head=pair(belt.head_x_m, belt.head_y_m),
            area=pair(self.areas[belt.area_id].x_m, self.areas[belt.area_id].y_m),
        )

    def of_start(self, shift: Shift) -> MapPlace:
        first = next(iter(self.areas), None)
        pk = shift.start_area_id or first
        if pk is None:
            return MapPlace((0.0, 0.0))
        return place_of(
            area_rank=self.area_rank[pk], conveyor_rank=0, area=pair(self.areas[pk].x_m, self.areas[pk].y_m)
        )


def pair(x: float | None, y: float | None) -> tuple[float, float] | None:
    return None if x is None or y is None else (x, y)


def map_of(plant: Plant) -> Map:
    areas = list(Area.objects.of_plant(plant).order_by("walking_order", "code"))
    belts = Conveyor.objects.of_plant(plant).order_by("area_id", "tag").values_list("area_id", "pk")
    ranks = {pk: n for _area, those in groupby(belts, key=lambda row: row[0]) for n, (_a, pk) in enumerate(those)}
    return Map({area.pk: n for n, area in enumerate(areas)}, {area.pk: area for area in areas}, ranks)


def minutes_of_kinds(plant: Plant, now: datetime) -> dict[int, float]:
    """Minutes of each kind of check: learned from visits that followed each other on one walk, else as stated.

    Between two visits of one person on one belt lies the way, which is short, and the second visit's work. Where
    several checks were done in it, each takes the share that the stated times give it.
    """
    past: dict[int, list[float]] = defaultdict(list)
    since = now - timedelta(days=LEARN_FROM_DAYS)
    kinds_of: dict[int, list[tuple[int, int]]] = defaultdict(list)
    done = Task.objects.filter(plant=plant, visit__visited_at__gte=since, done_with__isnull=True).order_by()
    for visit, kind, minutes in done.values_list("visit_id", "check_kind_id", "check_kind__minutes"):
        kinds_of[visit].append((kind, minutes))
    # Plain values, not rows: the board asks this at each move.
    walks = (
        Visit.objects.current()
        .filter(plant=plant, visited_at__gte=since)
        .order_by("visited_by_id", "visited_at", "pk")
        .values_list("pk", "visited_by_id", "visited_at", "installation__conveyor_id", "installation__chainage_m")
    )
    for (_pk, who_before, at_before, belt_before, place_before), (visit, who, at, belt, place) in pairwise(walks):
        gap = (at - at_before).total_seconds() / 60
        if (who, belt) != (who_before, belt_before) or not 1 <= gap <= LONGEST_GAP_MINUTES:
            continue
        way = abs(place - place_before) / plant.walking_m_s / 60
        stated = sum(minutes for _kind, minutes in kinds_of[visit])
        for kind, minutes in kinds_of[visit]:
            past[kind].append(max(gap - way, 1.0) * minutes / stated)
    kinds_here = CheckKind.objects.known_in(plant)
    return {kind.pk: usual_minutes(past[kind.pk], kind.minutes) for kind in kinds_here}


def fittings_of(shifts: Sequence[Shift]) -> dict[int, list[Fitting]]:
    """The fittings that are planned into the time of each shift's person, by shift."""
    if not shifts:
        return {}
    people = {shift.person_id for shift in shifts}
    rows = (
        Fitting.objects.open()
        .filter(
            plant__in={shift.plant_id for shift in shifts},  # who works at two plants is told of none by the other
            crew__in=people,
            planned_at__lt=max(shift.ends_at for shift in shifts),
            planned_at__gt=min(shift.starts_at for shift in shifts) - LONGEST_FITTING,
        )
        .select_related("conveyor")
        .prefetch_related("crew")
        .order_by("planned_at", "pk")
        .distinct()
    )
    spans = [(row, span, {each.pk for each in row.crew.all()}) for row in rows if (span := row.planned_span)]
    return {
        shift.pk: [
            row
            for row, (begin, end), crew in spans
            if shift.person_id in crew and begin < shift.ends_at and shift.starts_at < end
        ]
        for shift in shifts
    }


# --- From rows to a problem -------------------------------------------------------------------------------------------
def work_shift(
    desk: Desk, shift: Shift, start: MapPlace, profile: TechnicianProfile | None, free_from: datetime
) -> WorkShift:
    """A shift from the moment at which its person is free at the start place; cut where they are away."""
    begin, end = max(shift.starts_at, free_from), min(shift.ends_at, shift.away_from or shift.ends_at)
    taken = [span for fitting in desk.fittings.get(shift.pk, ()) if (span := fitting.planned_span) is not None]
    if shift.break_starts_at is not None and shift.break_minutes:
        taken.append((shift.break_starts_at, shift.break_starts_at + timedelta(minutes=shift.break_minutes)))
    inside = [(desk.seconds(max(a, begin)), desk.seconds(min(b, end))) for a, b in taken if a < end and begin < b]
    # Who has no row of their own yet has the tools of a new one and no special skill.
    known = profile or TechnicianProfile()
    return WorkShift(
        key=shift.pk,
        person=str(shift.person_id),
        starts_s=desk.seconds(begin),
        ends_s=desk.seconds(end),
        start=start,
        # A break that lies in a fitting is taken there.
        breaks=merged(inside),
        skills=words_of(known.skills),
        tools=words_of(known.tools),
    )


def belt_state(kind: CheckKind) -> BeltState:
    if kind.needs_lockout:
        return BeltState.STOPPED
    return BeltState.RUNNING if kind.needs_running_belt else BeltState.ANY


def errand_of(
    desk: Desk, key: int, tasks: Sequence[Task], place: MapPlace, minutes: dict[int, float], today: date, last_day: date
) -> Errand:
    """Tasks at one device that are done in one go. What is late already may be done at any time."""
    first = tasks[0]
    zone = desk.plant.zone
    # Together they may begin once the last of them is open.
    opens = max(task.opens_on for task in tasks)
    closes = min(task.closes_on for task in tasks)
    has_end = today <= closes <= last_day
    criticality = first.installation.conveyor.criticality
    return Errand(
        key=key,
        conveyor=first.installation.conveyor_id,
        place=place,
        # What several asked for is read once.
        work_s=round(sum(minutes[kind] for kind in {task.check_kind_id for task in tasks}) * 60),
        worth_s=sum(
            worth_s(
                days_late=task.days_late(today),
                days_left=max((task.closes_on - today).days, 0),
                criticality=criticality,
                last_grade=getattr(task, "last_grade", "") or "",
            )
            for task in tasks
        ),
        belt=belt_state(first.check_kind),
        # The first moment of a day is that at which the day before is over.
        opens_s=max(desk.seconds(overdue_from(opens - timedelta(days=1), zone)), -WITHOUT_END_S),
        closes_s=desk.seconds(overdue_from(closes, zone)) if has_end else WITHOUT_END_S,
        skills=frozenset().union(*(words_of(task.check_kind.skills_needed) for task in tasks)),
        tools=frozenset().union(*(words_of(task.check_kind.tools_needed) for task in tasks)),
    )


def same_go(task: Task, today: date, last_day: date) -> tuple[object, ...]:
    """Tasks with the same answer are done in one go."""
    kind = task.check_kind
    closes = task.closes_on if today <= task.closes_on <= last_day else None
    return (
        task.installation_id,
        belt_state(kind),
        words_of(kind.skills_needed),
        words_of(kind.tools_needed),
        max(task.opens_on, today),
        closes,
    )


def in_goes(tasks: Iterable[Task], today: date, last_day: date) -> list[list[Task]]:
    """Tasks by what is done in one go; a check that several asked for goes with the one that is the most pressing."""
    those = list(tasks)
    pressing: dict[tuple[int, int], Task] = {}
    for task in sorted(those, key=lambda task: (task.closes_on, task.pk)):
        pressing.setdefault((task.installation_id, task.check_kind_id), task)
    goes: dict[tuple[object, ...], list[Task]] = defaultdict(list)
    for task in those:
        first = pressing[task.installation_id, task.check_kind_id]
        # One that opens only later is not answered by then, and has a go of its own.
        rides = task.opens_on <= max(first.opens_on, today)
        goes[same_go(first if rides else task, today, last_day)].append(task)
    return list(goes.values())


def windows_of(
    desk: Desk, conveyors: Iterable[int], begin: datetime, end: datetime
) -> dict[int, tuple[tuple[int, int], ...]]:
    known: dict[int, list[tuple[int, int]]] = defaultdict(list)
    rows = OutageWindow.objects.filter(conveyor__in=set(conveyors), starts_at__lt=end, ends_at__gt=begin)
    for row in rows:
        known[row.conveyor_id].append((desk.seconds(row.starts_at), desk.seconds(row.ends_at)))
    return {belt: merged(those) for belt, those in known.items()}


def desk_for(
    plant: Plant,
    shifts: Sequence[Shift],
    goes: Iterable[Sequence[Task]],
    *,
    now: datetime,
    free_from: dict[int, datetime] | None = None,
) -> Desk:
    """The problem of laying these tasks, already put together in goes, into these shifts."""
    today = now.astimezone(plant.zone).date()
    last_day = max((shift.day for shift in shifts), default=today)
    origin = min((shift.starts_at for shift in shifts), default=now)
    desk = Desk(plant, origin, {shift.pk: shift for shift in shifts}, fittings=fittings_of(shifts))
    places, minutes = map_of(plant), minutes_of_kinds(plant, now)
    errands = []
    for key, tasks in enumerate(goes):
        desk.tasks_of[key] = list(tasks)
        errands.append(errand_of(desk, key, tasks, places.of_device(tasks[0]), minutes, today, last_day))
    profiles = {each.person_id: each for each in TechnicianProfile.objects.of_plant(plant)}
    people = [
        work_shift(desk, shift, places.of_start(shift), profiles.get(shift.person_id), start)
        for shift in shifts
        for start in [(free_from or {}).get(shift.pk, shift.starts_at)]
        if start < min(shift.ends_at, shift.away_from or shift.ends_at)
    ]
    ends_at = max((shift.ends_at for shift in shifts), default=now)
    desk.problem = RoundProblem(
        errands=tuple(errands),
        shifts=tuple(people),
        windows=windows_of(desk, (errand.conveyor for errand in errands), origin, ends_at),
        walking_m_s=plant.walking_m_s,
        lockout_s=plant.lockout_minutes * 60,
    )
    return desk


# --- From a plan to stops ---------------------------------------------------------------------------------------------
def stops_of(desk: Desk, planned: Iterable[PlannedErrand], not_before: dict[int, datetime] | None = None) -> list[Stop]:
    """Unsaved stops in order, each with `laid_tasks`: what follows each other on one belt in one state is one stop."""
    stops: list[Stop] = []
    at: tuple[int, int, bool] | None = None
    for row in planned:
        errand = desk.problem.errand(row.errand)
        here = (row.stretch, errand.conveyor, errand.belt is BeltState.STOPPED)
        wanted = (not_before or {}).get(row.errand)
        if stops and here == at and not row.lockout_s and wanted is None:
            stops[-1].ends_at = desk.moment(row.ends_s)
            stops[-1].laid_tasks += desk.tasks_of[row.errand]
            continue
        stop = Stop(
            conveyor_id=errand.conveyor,
            needs_lockout=here[2],
            starts_at=desk.moment(row.starts_s - row.lockout_s),
            ends_at=desk.moment(row.ends_s),
            walk_m=row.walk_m,
            walk_s=row.walk_s,
            lockout_s=row.lockout_s,
            not_before=wanted,
        )
        stop.laid_tasks = list(desk.tasks_of[row.errand])
        stops.append(stop)
        at = here
    return stops


def planned_of_stops(desk: Desk, rounds: Iterable[Round], goes_of: dict[int, list[int]]) -> list[PlannedErrand]:
    """When each errand of stored stops is worked on: from the stop's beginning, one after the other with the way."""
    rows: list[PlannedErrand] = []
    for each in rounds:
        for stop in each.stops.all():
            at, lockout, here = desk.seconds(stop.starts_at) + stop.lockout_s, stop.lockout_s, None
            for key in goes_of.get(stop.pk, []):
                errand = desk.problem.errand(key)
                if here is not None:
                    at += math.ceil(walk_m(here, errand.place) / desk.problem.walking_m_s)
                rows.append(PlannedErrand(key, each.shift_id, 0, 0, 0, lockout, at, at + errand.work_s))
                at, lockout, here = at + errand.work_s, 0, errand.place
    return rows


def local_today(plant: Plant) -> date:
    return timezone.localdate(timezone=plant.zone)
