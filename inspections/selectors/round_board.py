"""What the planner's board shows of one day: lanes with stops in time, what did not fit, what is late."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from inspections.calc.round_reasons import merged
from inspections.models import CouldNotDo, Round, RoundLaying, Shift, Stop, Task
from inspections.selectors.round_faults import Fault, faults_of
from inspections.selectors.round_problems import fittings_of
from inspections.selectors.rounds import LAY_ROUNDS, is_fixed, standing_rounds
from inspections.selectors.tasks import came_back, mark_twice, with_deferrals
from installs.models import Fitting
from plant.models import Job, OutageWindow, Plant

# A board without a shift shows the usual working day.
USUAL_HOURS = (6, 18)
# A stop is drawn this wide at least, in percent of the axis, so that it can be read and pressed; where that would cover
# the next one, that one goes a row lower.
LEAST_WIDTH = 8.0


@dataclass(frozen=True)
class BoardBar:
    """Something on the time axis; left and width in percent of it."""

    left: float
    width: float


@dataclass(frozen=True)
class Tick(BoardBar):
    """A full hour of the axis."""

    at: datetime


@dataclass(frozen=True)
class WindowBar(BoardBar):
    """A time for which a belt stands."""

    window: OutageWindow


@dataclass(frozen=True)
class JobBar(BoardBar):
    """A fitting at which the person of a shift is planned to be."""

    job: Fitting
    starts_at: datetime
    ends_at: datetime


@dataclass
class BoardStop:
    """A stop as it is drawn; `inspections.words.round_board` speaks it."""

    stop: Stop
    shift: Shift
    left: float
    width: float
    is_fixed: bool
    is_done: bool
    row: int = 0
    faults: list[Fault] = field(default_factory=list)


@dataclass
class Lane:
    """One shift."""

    shift: Shift
    round: Round | None
    stops: list[BoardStop]
    windows: list[WindowBar]
    rest: BoardBar | None
    fittings: list[JobBar]
    span: BoardBar
    work_s: float
    available_s: float
    is_away: bool
    n_rows: int = 1


@dataclass(frozen=True)
class LateRow:
    """A late check, and the stop that is to do it."""

    task: Task
    days: int
    plan: Stop | None


@dataclass(frozen=True)
class CameBack:
    """A check that was tried and could not be done; the stop that does it next, once that is planned anew."""

    tried: CouldNotDo
    plan: Stop | None


@dataclass(frozen=True)
class LeftRow:
    """Checks that the last search left out and that nobody planned or closed since."""

    tasks: list[Task]
    tag: str
    reason: str
    change: str


@dataclass
class Board:
    day: date
    lanes: list[Lane]
    begins_at: datetime
    ends_at: datetime
    ticks: list[Tick]
    faults: list[Fault]
    published_faults: list[Fault]
    left: list[LeftRow]
    late: list[LateRow]
    came_back: list[CameBack]
    n_due: int
    n_late: int
    n_planned: int
    n_late_planned: int
    n_lockouts: int
    n_locked_checks: int
    laying: RoundLaying | None
    job: Job | None
    n_drafts: int
    n_published: int

    @property
    def minutes(self) -> int:
        return int((self.ends_at - self.begins_at) / timedelta(minutes=1))


def board_of(plant: Plant, day: date, now: datetime) -> Board:
    """Everything of one day, in a number of queries that does not grow with its stops."""
    shifts = list(Shift.objects.of_plant(plant).on(day).select_related("person", "start_area"))
    rounds = standing_rounds(plant, day)
    by_shift = {each.shift_id: each for each in rounds}
    begins_at, ends_at = axis(plant, day, shifts)
    faults = faults_of(plant, rounds, now=now)
    windows = windows_on(rounds, begins_at, ends_at)
    fittings = fittings_of(shifts)
    lanes = [
        lane_of(shift, by_shift.get(shift.pk), windows, fittings[shift.pk], faults, begins_at, ends_at, now)
        for shift in shifts
    ]
    today = now.astimezone(plant.zone).date()
    planned = {task.pk for each in rounds for stop in each.stops.all() for task in stop.tasks.all()}
    planned_stops = [stop for each in rounds for stop in each.stops.all()]
    open_tasks = Task.objects.of_plant(plant).due_by(day)
    late_rows = late_of(plant, today)
    laying = RoundLaying.objects.filter(plant=plant, first_day__lte=day, last_day__gte=day).first()
    return Board(
        day=day,
        lanes=lanes,
        begins_at=begins_at,
        ends_at=ends_at,
        ticks=ticks(begins_at, ends_at),
        faults=[each for each in faults if each.round.published_at is None],
        published_faults=[each for each in faults if each.round.published_at is not None],
        left=left_of(laying),
        late=late_rows,
        came_back=came_back_of(plant, today) if day >= today else [],
        n_due=open_tasks.count(),
        n_late=len(late_rows),
        n_planned=len(planned),
        n_late_planned=sum(1 for row in late_rows if row.task.pk in planned),
        n_lockouts=sum(1 for stop in planned_stops if stop.lockout_s),
        n_locked_checks=sum(stop.tasks.all().__len__() for stop in planned_stops if stop.needs_lockout),
        laying=laying,
        job=Job.objects.unfinished().filter(kind=LAY_ROUNDS, plant=plant).first(),
        n_drafts=sum(1 for each in rounds if each.published_at is None),
        n_published=sum(1 for each in rounds if each.published_at is not None),
    )


# --- The axis ---------------------------------------------------------------------------------------------------------
def axis(plant: Plant, day: date, shifts: Sequence[Shift]) -> tuple[datetime, datetime]:
    """From the full hour before the first shift to the one after the last."""
    midnight = datetime(day.year, day.month, day.day, tzinfo=plant.zone)
    begin = min((each.starts_at for each in shifts), default=midnight + timedelta(hours=USUAL_HOURS[0]))
    end = max((each.ends_at for each in shifts), default=midnight + timedelta(hours=USUAL_HOURS[1]))
    begin = begin.replace(minute=0, second=0, microsecond=0)
    if end.minute or end.second:
        end = end.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    return begin, end


def bar(begin: datetime, end: datetime, axis_begin: datetime, axis_end: datetime) -> BoardBar:
    whole = (axis_end - axis_begin) / timedelta(seconds=1)
    low = max((begin - axis_begin) / timedelta(seconds=1), 0.0)
    high = min((end - axis_begin) / timedelta(seconds=1), whole)
    return BoardBar(round(100 * low / whole, 2), round(100 * max(high - low, 0) / whole, 2))


def ticks(begin: datetime, end: datetime) -> list[Tick]:
    """Full hours; every second one where there are many."""
    hours = int((end - begin) / timedelta(hours=1))
    step = 1 if hours <= 12 else 2
    return [
        Tick(**vars(bar(at, at, begin, end)), at=at)
        for n in range(0, hours + 1, step)
        for at in [begin + timedelta(hours=n)]
    ]


def windows_on(rounds: Iterable[Round], begin: datetime, end: datetime) -> dict[int, list[OutageWindow]]:
    """Outage windows of the belts that are locked out on some round."""
    belts = {stop.conveyor_id for each in rounds for stop in each.stops.all() if stop.needs_lockout}
    found: dict[int, list[OutageWindow]] = defaultdict(list)
    rows = OutageWindow.objects.filter(conveyor__in=belts, starts_at__lt=end, ends_at__gt=begin)
    for row in rows.select_related("conveyor").order_by("starts_at"):
        found[row.conveyor_id].append(row)
    return found


# --- Lanes ------------------------------------------------------------------------------------------------------------
def lane_of(
    shift: Shift,
    row: Round | None,
    windows: dict[int, list[OutageWindow]],
    fittings: Sequence[Fitting],
    faults: Sequence[Fault],
    begin: datetime,
    end: datetime,
    now: datetime,
) -> Lane:
    stops = list(row.stops.all()) if row is not None else []
    belts = {stop.conveyor_id for stop in stops if stop.needs_lockout}
    is_published = row is not None and row.published_at is not None
    shown = [board_stop(stop, shift, is_published, begin, end, now) for stop in stops]
    for each in shown:
        each.faults = [fault for fault in faults if fault.stop is not None and fault.stop.pk == each.stop.pk]
    n_rows = in_rows(shown)
    rest_ends = shift.break_ends_at
    busy = sum((stop.ends_at - stop.starts_at).total_seconds() + stop.walk_s for stop in stops)
    jobs = job_spans(fittings)
    taken = merged(
        [
            (max((a - shift.starts_at).total_seconds(), 0.0), (min(b, shift.ends_at) - shift.starts_at).total_seconds())
            for a, b in [*(span for _job, span in jobs), *rest_span(shift)]
        ]
    )
    there = (shift.ends_at - shift.starts_at).total_seconds() - sum(b - a for a, b in taken)
    return Lane(
        shift=shift,
        round=row,
        stops=shown,
        windows=[
            WindowBar(**vars(bar(each.starts_at, each.ends_at, begin, end)), window=each)
            for belt in sorted(belts)
            for each in windows.get(belt, ())
        ],
        rest=bar(shift.break_starts_at, rest_ends, begin, end) if shift.break_starts_at and rest_ends else None,
        fittings=[job_bar(job, *span, begin, end) for job, span in jobs],
        span=bar(shift.starts_at, shift.ends_at, begin, end),
        work_s=busy,
        available_s=there,
        is_away=shift.away_from is not None,
        n_rows=n_rows,
    )


def job_spans(fittings: Iterable[Fitting]) -> list[tuple[Fitting, tuple[datetime, datetime]]]:
    return [(each, span) for each in fittings if (span := each.planned_span) is not None]


def rest_span(shift: Shift) -> list[tuple[datetime, datetime]]:
    ends = shift.break_ends_at
    return [(shift.break_starts_at, ends)] if shift.break_starts_at is not None and ends is not None else []


def job_bar(job: Fitting, starts_at: datetime, ends_at: datetime, begin: datetime, end: datetime) -> JobBar:
    return JobBar(**vars(bar(starts_at, ends_at, begin, end)), job=job, starts_at=starts_at, ends_at=ends_at)


def in_rows(stops: Sequence[BoardStop]) -> int:
    """Give each stop the first row in which it covers none before it; answers the number of rows."""
    free_from: list[float] = []
    for each in stops:
        each.width = max(each.width, LEAST_WIDTH)
        each.left = max(min(each.left, 100 - each.width), 0)
        row = next((n for n, free in enumerate(free_from) if free <= each.left + 0.01), len(free_from))
        free_from[row : row + 1] = [each.left + each.width]
        each.row = row
    return max(len(free_from), 1)


def board_stop(
    stop: Stop, shift: Shift, is_published: bool, begin: datetime, end: datetime, now: datetime
) -> BoardStop:
    return BoardStop(
        stop=stop,
        shift=shift,
        **vars(bar(stop.starts_at, stop.ends_at, begin, end)),
        is_fixed=is_fixed(stop, is_published, now),
        is_done=stop.is_done,
    )


# --- What did not fit, what is late -----------------------------------------------------------------------------------
def left_of(laying: RoundLaying | None) -> list[LeftRow]:
    """What the last search left out, without what was planned by hand or closed since."""
    if laying is None:
        return []
    wanted = {pk for row in laying.left_out for pk in row["tasks"]}
    known = {task.pk: task for task in Task.objects.open().filter(pk__in=wanted).with_place()}
    planned = set(
        Stop.objects.filter(tasks__in=wanted, round__superseded_at__isnull=True).values_list("tasks", flat=True)
    )
    rows = []
    for row in laying.left_out:
        tasks = [known[pk] for pk in row["tasks"] if pk in known and pk not in planned]
        if tasks:
            tag = tasks[0].installation.conveyor.tag
            rows.append(LeftRow(tasks, tag, row["reason"], row["change"]))
    return rows


def late_of(plant: Plant, today: date) -> list[LateRow]:
    """Late checks, the longest first, each with who does it when."""
    late = Task.objects.of_plant(plant).overdue(today).with_place().with_last_grade().order_by("closes_on", "pk")
    tasks = list(with_deferrals(late))
    mark_twice(tasks, "last_task_id")
    plan = planned_stops(tasks, today)
    return [LateRow(task, task.days_late(today), plan.get(task.pk)) for task in tasks]


def planned_stops(tasks: Sequence[Task], today: date) -> dict[int, Stop]:
    """The stop of each check, where a round from today on holds it; a draft's word before what is published."""
    stops = Stop.objects.filter(
        tasks__in=tasks, round__superseded_at__isnull=True, round__shift__day__gte=today
    ).select_related("round__shift__person")
    plan: dict[int, Stop] = {}
    for stop in stops.prefetch_related("tasks").order_by("round__published_at", "starts_at"):
        plan |= dict.fromkeys((task.pk for task in stop.tasks.all()), stop)
    return plan


def came_back_of(plant: Plant, today: date) -> list[CameBack]:
    """Checks that could not be done, the latest first, with the reason; never with a word on whose fault."""
    rows = came_back(plant)
    plan = planned_stops([row.task for row in rows], today)
    return [CameBack(row, plan.get(row.task_id)) for row in rows]


def rounds_today(person: Any, plant: Plant, day: date) -> list[Round]:
    """The person's published rounds of a day, in order of time."""
    return list(
        Round.objects.with_stops()
        .published()
        .of_person(person)
        .filter(plant=plant, shift__day=day)
        .order_by("shift__starts_at")
    )
