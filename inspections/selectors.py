"""Reads of checks that span several models: how devices stand, and what the planner's day looks like."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

from django.db.models import Exists, F, OuterRef, Prefetch, Q, QuerySet, Window
from django.db.models.functions import RowNumber
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.calc.grading import Grade, grade_sensor_wear
from inspections.models import (
    Action,
    ActionNote,
    CheckKind,
    CheckPlan,
    CouldNotDo,
    Deferral,
    OverdueSpell,
    Reading,
    ReadingField,
    SetAside,
    Task,
    TwiceClosed,
    Visit,
)
from inspections.models.tasks import week_end
from inspections.services.visits import FOUND, closed_meanwhile, value_words, visit_chain
from inspections.services.wear import DIAMETERS, NEW_ROLLER_MM, readings_of
from installs.models import Installation, PartChange
from plant.calc.units import UnitSystem
from plant.models import Conveyor, OutageWindow, Plant


@dataclass(frozen=True)
class CheckState:
    """One kind of check at one installation: how it stood when it was last done, and when it is due next."""

    check_kind: CheckKind
    last: Task | None
    next: Task | None
    has_new_rollers: bool = False  # what was found worn at the last one was changed there and then

    @property
    def grade(self) -> str:
        """As found when it was last done."""
        return self.last.grade if self.last else ""

    @property
    def grade_since(self) -> str:
        """As it stands since: rollers that were changed at the visit are no finding any more."""
        return Grade.SOUND.value if self.has_new_rollers else self.grade


WORN = (Grade.WATCH.value, Grade.ACT.value)


def with_new_rollers(task_ids: Collection[int]) -> set[int]:
    """Of these checks those of sensor wear at which each roller graded watch or act was changed for a sound one.

    Of two visits that closed one check the later changed what the earlier found; while nobody has said which of them
    counts, a roller counts as changed only for the visit that changed it.
    """
    model, sheet = "task__installation__device__device_model", "task__installation__sheet__content"
    is_worn = {"task__grade__in": WORN, "task__check_kind__rule": CheckKind.Rule.SENSOR_WEAR}
    rows = Reading.objects.current().filter(task__in=task_ids, **is_worn).order_by("pk")
    found: dict[int, set[tuple[datetime, int, str]]] = defaultdict(set)
    changed: dict[int, set[tuple[datetime, int, str]]] = defaultdict(set)
    for pk, visit, at, side, stage, value, grade, content, *of_model in rows.values_list(
        "task_id", "visit_id", "visit__visited_at", "side", "stage", "value", "grade",
        sheet, f"{model}__sensor_new_mm", f"{model}__sensor_limit_mm",
    ):  # fmt: skip
        # The sheet that it was fitted to holds, as it does where the reading is graded.
        new_mm, limit_mm = (content.get("sensor_new_mm"), content.get("sensor_limit_mm")) if content else of_model
        if stage == FOUND and grade in WORN:
            found[pk].add((at, visit, side))
        is_stated = stage != FOUND and value and new_mm and limit_mm
        if is_stated and grade_sensor_wear(value, new_mm, limit_mm).grade is Grade.SOUND:
            changed[pk].add((at, visit, side))
    of_two = [pk for pk, worn in found.items() if len({visit for _at, visit, _side in (*worn, *changed[pk])}) > 1]
    open_questions = undecided(of_two) if of_two else {}
    return {
        pk
        for pk, worn in found.items()
        if all(
            any(
                side == of_side and (visit == by_visit or (at < when and pk not in open_questions))
                for when, by_visit, side in changed[pk]
            )
            for at, visit, of_side in worn
        )
    }


def undecided(task_ids: Iterable[int]) -> dict[int, TwiceClosed]:
    """Of these checks those that two visits closed and nobody has said yet which counts."""
    rows = TwiceClosed.objects.filter(task__in=[*task_ids], counts="").order_by("-pk")
    return {row.task_id: row for row in rows}


def undecided_at(plant: Plant) -> list[TwiceClosed]:
    """Checks of a plant that two visits closed and nobody has said yet which counts, the oldest first."""
    rows = TwiceClosed.objects.of_plant(plant).filter(counts="").order_by("pk")
    return list(
        rows.select_related(
            "task__check_kind",
            "task__installation__conveyor",
            "task__installation__device",
            "first__visited_by",
            "second__visited_by",
        )
    )


def mark_twice(tasks: Iterable[Task], key: str = "pk", *, among: Iterable[TwiceClosed] | None = None) -> None:
    """Set `twice` on checks whose own closing, or that of the one before them, is still to be decided.

    `among` are those of the plant, where they are known already.
    """
    those = list(tasks)
    if among is None:
        found = undecided(getattr(task, key) for task in those if getattr(task, key))
    else:
        found = {row.task_id: row for row in among}
    for task in those:
        task.twice = found.get(getattr(task, key))


def mark_actions(actions: Iterable[Action], among: Iterable[TwiceClosed]) -> None:
    """The same of actions that were raised with one of two such visits."""
    found = {visit: row for row in among for visit in (row.first_id, row.second_id)}
    for action in actions:
        action.twice = found.get(action.visit_id) if action.visit_id else None


def with_deferrals(tasks: QuerySet[Task]) -> QuerySet[Task]:
    """Tasks with `put_off`, the deferrals that count, in one further query."""
    return tasks.prefetch_related(
        Prefetch("deferrals", Deferral.objects.current().order_by("created_at", "pk"), to_attr="put_off")
    )


def check_state_of(installations: Iterable[Installation]) -> dict[int, list[CheckState]]:
    """How the checks of several installations stand, by installation pk; five queries whatever their number.

    A kind of check appears where it was done before or is open now; of several open tasks the one that is due first.
    """
    those = list(installations)
    known = Task.objects.filter(installation__in=those).select_related("check_kind")
    ranked = known.read().annotate(
        nth=Window(RowNumber(), partition_by=[F("installation_id"), F("check_kind_id")], order_by=F("closed_at").desc())
    )
    last = {(task.installation_id, task.check_kind_id): task for task in ranked.filter(nth=1)}
    following: dict[tuple[int, int], Task] = {}
    for task in with_deferrals(known.open().order_by("due_on", "pk")):
        following.setdefault((task.installation_id, task.check_kind_id), task)
    renewed = with_new_rollers([task.pk for task in last.values()])
    mark_twice(last.values())
    states: dict[int, list[CheckState]] = {each.pk: [] for each in those}
    for key in sorted({*last, *following}, key=lambda pair: pair[1]):
        task = last.get(key) or following[key]
        is_renewed = key in last and last[key].pk in renewed
        states[key[0]].append(CheckState(task.check_kind, last.get(key), following.get(key), is_renewed))
    return states


@dataclass(frozen=True)
class PlanState:
    """The plan of a check at one installation, and whether it is the model's or the installation's own."""

    plan: CheckPlan
    is_own: bool


def plans_of(installation: Installation) -> list[PlanState]:
    """The plan in force for each kind of check at an installation, suspended ones too."""
    found: dict[int, PlanState] = {}
    for plan in CheckPlan.objects.of_installation(installation).select_related("check_kind", "device_model"):
        is_own = plan.installation_id is not None
        if is_own or plan.check_kind_id not in found:
            found[plan.check_kind_id] = PlanState(plan, is_own)
    return [found[kind] for kind in sorted(found)]


@dataclass(frozen=True)
class CheckRow:
    """One kind of check at one installation with the plan that asks for it."""

    check_kind: CheckKind
    last: Task | None
    next: Task | None
    plan: PlanState | None


def checks_at(installation: Installation) -> list[CheckRow]:
    """Every kind of check that was done, is open or is planned at one installation."""
    states = {state.check_kind.pk: state for state in check_state_of([installation])[installation.pk]}
    plans = {state.plan.check_kind_id: state for state in plans_of(installation)}
    rows = []
    for kind in sorted({*states, *plans}):
        state, plan = states.get(kind), plans.get(kind)
        check_kind = state.check_kind if state else plans[kind].plan.check_kind
        rows.append(CheckRow(check_kind, state.last if state else None, state.next if state else None, plan))
    return rows


@dataclass(frozen=True)
class TaskStory:
    """What a task's page tells besides the task."""

    deferrals: list[Deferral]
    spells: list[OverdueSpell]
    tried: list[CouldNotDo]
    readings: list[Reading]
    previous: Task | None
    answers: list[Task]
    asked_too: list[Task]


def story_of(task: Task) -> TaskStory:
    """Deferrals with the withdrawn ones, late spells, readings that count, and the same check before this one."""
    alike = Task.objects.read().filter(installation=task.installation, check_kind=task.check_kind)
    earlier = alike.exclude(pk__in=[task.pk, task.done_with_id])
    if task.closed_at is not None:
        earlier = earlier.filter(closed_at__lt=task.closed_at)
    return TaskStory(
        deferrals=list(task.deferrals.select_related("approved_by").order_by("created_at", "pk")),
        spells=list(task.overdue_spells.order_by("began_at")),
        tried=list(task.could_not_do.select_related("created_by")),
        readings=list(Reading.objects.current().filter(task=task.done_with or task, visit__corrected_by__isnull=True)),
        previous=earlier.order_by("-closed_at").first(),
        answers=list(task.answers_too.order_by("pk")),
        asked_too=list(
            Task.objects.open()
            .filter(installation=task.installation, check_kind=task.check_kind)
            .exclude(pk=task.pk)
            .order_by("due_on", "pk")
        )
        if task.closed_at is None
        else [],
    )


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


def set_aside_at(plant: Plant) -> QuerySet[SetAside]:
    """What phones could not get into the book and nobody has settled."""
    rows = SetAside.objects.of_plant(plant).open()
    return rows.select_related("installation__conveyor", "installation__device", "created_by")


# Boxes of the phone's pages that hold no reading, in the order in which they are shown; what is not named is left out.
BOXES = {
    "lockout_confirmed": gettext_lazy("Lockout confirmed"),
    "permit_reference": gettext_lazy("Permit reference"),
    "note": gettext_lazy("Note"),
    "action_title": gettext_lazy("Action: what is to be done"),
    "action_due_on": gettext_lazy("Action: due"),
    "no_action_reason": gettext_lazy("Why no action was raised"),
}
READING_BOX = re.compile(r"t(-?[0-9]{1,18})-(.{1,80})")
STAGES = {"-as_found": gettext_lazy("as found"), "-as_left": gettext_lazy("as left")}


def text_of(value: Any) -> str:
    """A value as text that a page can hold: a half of a pair of characters becomes a question mark."""
    return str(value).encode(errors="replace").decode()


def typed_lines(row: SetAside) -> list[tuple[str, str]]:
    """What was typed, line by line, as far as the text can be read; it is never asked more of than that."""
    try:
        told = json.loads(row.content)
        given = {
            name: text_of(", ".join(map(str, each)) if isinstance(each, list) else each)
            for name, each in told["fields"].items()
        }
        given["lockout_confirmed"] = _("yes") if given.get("lockout_confirmed") else ""
        lines = [(_("Units of the phone"), text_of(told["system"]))] if told.get("system") else []
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return []
    lines += [(str(words), given[name]) for name, words in BOXES.items() if given.get(name)]
    boxes = [(found[1], found[2], given[name]) for name in given if (found := READING_BOX.fullmatch(name))]
    tasks = Task.objects.filter(installation=row.installation, pk__in={int(pk) for pk, _name, _value in boxes})
    kinds = dict(tasks.values_list("pk", "check_kind__name"))
    own = ReadingField.objects.filter(check_kind__tasks__in=tasks)
    labels = {(task, code): label for task, code, label in own.values_list("check_kind__tasks", "code", "label")}
    for pk, name, value in boxes:
        stage = next((each for each in STAGES if name.endswith(each)), "")
        code = name.removesuffix(stage)
        words = labels.get((int(pk), code)) or text_of(code).replace("_", " ").replace("-", ", ")
        if value:
            lines.append((", ".join(filter(None, [kinds.get(int(pk), ""), words, str(STAGES.get(stage, ""))])), value))
    return lines


def came_back(plant: Plant) -> list[CouldNotDo]:
    """Checks that were tried and could not be done, with the latest reason: for the planner to lay anew.

    A check leaves the list when it is closed or put off after it was tried.
    """
    settled = Deferral.objects.current().filter(task=OuterRef("task"), created_at__gte=OuterRef("tried_at"))
    later = CouldNotDo.objects.current().filter(task=OuterRef("task"), tried_at__gt=OuterRef("tried_at"))
    rows = (
        CouldNotDo.objects.current()
        .filter(task__plant=plant, task__closed_at__isnull=True)
        .exclude(Exists(settled))
        .exclude(Exists(later))
        .select_related(
            "task__check_kind",
            "task__plant",
            "task__installation__conveyor",
            "task__installation__device",
            "created_by",
        )
    )
    # What several asked for was tried once.
    tried: dict[tuple[Any, ...], CouldNotDo] = {}
    for row in rows.order_by("-tried_at", "task__pk"):
        tried.setdefault((row.task.installation_id, row.task.check_kind_id, row.tried_at), row)
    return list(tried.values())


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


# --- Visits and readings ---------------------------------------------------------------------------------------------
def ask_once(tasks: Iterable[Task]) -> list[Task]:
    """The checks in their order, each kind once at a device: the first to be written, with the others as `asked_too`.

    The plan, a person and the watch may all want the same check; one visit's readings answer them all.
    """
    those = list(tasks)
    by_want: dict[tuple[int, int], list[Task]] = defaultdict(list)
    for task in those:
        by_want[task.installation_id, task.check_kind_id].append(task)
    for wanted in by_want.values():
        lead, *others = sorted(wanted, key=lambda task: task.pk)
        lead.asked_too = others
    riders = {task.pk for wanted in by_want.values() for lead in wanted for task in lead.asked_too}
    places: dict[tuple[int, int], Task] = {}
    for task in those:
        if task.pk not in riders:
            places[task.installation_id, task.check_kind_id] = task
    # A check stands where the first of those that want it stands.
    return [places[key] for key in dict.fromkeys((task.installation_id, task.check_kind_id) for task in those)]


def checks_to_do(installation: Installation, today: date) -> tuple[list[Task], list[Task]]:
    """Open checks of a device: those whose window is open or over, and those that could be done early."""
    rows = Task.objects.open().filter(installation=installation).select_related("check_kind", "plant")
    tasks = list(rows.order_by("due_on", "pk"))
    due = ask_once(task for task in tasks if task.opens_on <= today)
    kinds = {task.check_kind_id for task in due}
    return due, ask_once(task for task in tasks if task.opens_on > today and task.check_kind_id not in kinds)


def visits_of(installation: Installation, last: int = 10) -> Sequence[Visit]:
    """The latest visits that count, with what the panel of a device shows of them."""
    rows = Visit.objects.current().filter(installation=installation).select_related("visited_by")
    return list(rows.prefetch_related("tasks__check_kind")[:last])


def acts_running(installation: Installation) -> dict[int, tuple[CheckKind, int]]:
    """Kinds of check that said act at the last two or more times running, with how many: the cause is still there."""
    done = (
        Task.objects.read().filter(installation=installation).select_related("check_kind").order_by("-closed_at", "-pk")
    )
    runs: dict[int, tuple[CheckKind, int]] = {}
    ended: set[int] = set()
    for task in done[:100]:
        if task.check_kind_id in ended:
            continue
        if task.grade != "act":
            ended.add(task.check_kind_id)
            continue
        runs[task.check_kind_id] = (task.check_kind, runs.get(task.check_kind_id, (None, 0))[1] + 1)
    return {kind: run for kind, run in runs.items() if run[1] > 1}


@dataclass(frozen=True)
class Stop:
    """One device of the round with the checks that may be done there now."""

    installation: Installation
    tasks: list[Task]


@dataclass(frozen=True)
class Belt:
    """One conveyor of the round: its stops along the belt, and when it may be stopped."""

    conveyor: Conveyor
    stops: list[Stop]
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

    belts: list[Belt]
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
    rules = {task.check_kind.rule for task in tasks}
    # A wrench for what the devices were fitted with, whatever the newest sheet of their model says.
    tightened = [
        task.installation.spec.fasteners for task in tasks if task.check_kind.rule == CheckKind.Rule.FASTENER_TORQUE
    ]
    worn = [task for task in tasks if task.check_kind.rule == CheckKind.Rule.SENSOR_WEAR and task.last_grade in WORN]
    renewed = with_new_rollers([task.last_task_id for task in worn])
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
        has_caliper=CheckKind.Rule.SENSOR_WEAR in rules,
        has_balance=CheckKind.Rule.PIVOT_FREEDOM in rules,
        torque_nm=max((each for each in targets if each is not None), default=None),
        has_wrench=CheckKind.Rule.FASTENER_TORQUE in rules,
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


def belt_of(tasks: list[Task], window: OutageWindow | None, plant: Plant, today: date) -> Belt:
    stops = [
        Stop(those[0].installation, those)
        for _pk, group in groupby(tasks, key=lambda task: task.installation_id)
        for those in [list(group)]
    ]
    is_today = window is not None and window.starts_at.astimezone(plant.zone).date() <= today
    return Belt(tasks[0].installation.conveyor, stops, window, is_today)


@dataclass(frozen=True)
class ToolUsed:
    """What torques were read with: the wrench or none, its deviation [%], and what spoke against it that day."""

    stage: str
    method: str
    instrument: Any
    deviation_pct: float
    doubt: str


def tool_used(row: Reading) -> ToolUsed:
    method = row.get_method_display() if row.method else ""
    return ToolUsed(row.get_stage_display(), method, row.instrument, row.deviation_pct or 0, row.doubt)


@dataclass(frozen=True)
class TorqueLine:
    """Torques of one fastener as found by one method, oldest first: readings by two methods never share a line."""

    label: str
    method: str
    readings: tuple[Reading, ...]


def torques_in_time(installation: Installation, *, most: int = 5) -> list[TorqueLine]:
    """The last torques as found of each fastener, one line for each method; those without a method stand apart."""
    rows = (
        Reading.objects.current()
        .as_found()
        .filter(visit__installation=installation, quantity="nm", task__check_kind__rule=CheckKind.Rule.FASTENER_TORQUE)
        .exclude(value=None)
        .select_related("visit", "instrument")
        .order_by("visit__visited_at", "pk")
    )
    lines: dict[tuple[str, str], list[Reading]] = {}
    for row in rows:
        lines.setdefault((row.label, row.method), []).append(row)
    return [
        TorqueLine(label, each[0].get_method_display() if method else "", tuple(each[-most:]))
        for (label, method), each in sorted(lines.items())
    ]


def visit_sheet(visit: Visit, system: UnitSystem) -> dict[str, Any]:
    """One visit as its page shows it: each check with readings as found beside as left, and its corrections."""
    chain = visit_chain(visit)
    rows = list(
        visit.readings.select_related("task__check_kind", "task__visit", "corrected_by", "instrument").order_by("pk")
    )
    checks: dict[int, dict[str, Any]] = {}
    for row in rows:
        check = checks.setdefault(row.task_id, {"task": row.task, "lines": {}})
        line = check["lines"].setdefault(row.code, {"label": row.label, "found": None, "left": None})
        words = value_words(row, system, {"in_line": _("in line"), "rotated": _("turned past it")})
        typed = row.typed if row.typed and row.typed not in words else ""
        shown = {"row": row, "words": words, "typed": typed, "is_withdrawn": row.is_withdrawn}
        line["found" if row.stage == FOUND else "left"] = shown
    for check in checks.values():
        check["answers"] = list(check["task"].answers_too.order_by("pk"))
        torques = [row for row in rows if row.task_id == check["task"].pk and row.deviation_pct is not None]
        check["tools"] = list(dict.fromkeys(tool_used(row) for row in torques))
    twice = list(
        TwiceClosed.objects.filter(Q(first__in=chain) | Q(second__in=chain)).select_related(
            "task__check_kind", "first__visited_by", "second__visited_by", "decided_by"
        )
    )
    settled = {row.task_id for row in twice if row.counts}
    return {
        "chain": chain,
        "latest": chain[-1],
        "checks": [{**check, "lines": list(check["lines"].values())} for check in checks.values()],
        # Once somebody has said which counts, that stands in place of the rule for the time before.
        "meanwhile": [task for task in closed_meanwhile(visit) if task.pk not in settled],
        "twice": twice,
        "actions": Action.objects.filter(visit__in=chain).select_related("owner"),
        "found_again": ActionNote.objects.current().filter(visit__in=chain).select_related("action__owner"),
        "photos": list(visit.photos.all()),
    }


# --- ends of parts ----------------------------------------------------------------------------------------------------
# Why a part was changed: failures, against one that was changed while still sound.
FAILURES = {PartChange.Why.WORN, PartChange.Why.FAILED, PartChange.Why.SEIZED}


@dataclass(frozen=True)
class PartEnd:
    """A part that was changed, or was found failed."""

    at: datetime
    is_failure: bool
    words: str


def ends_of_rollers(installations: Iterable[Installation]) -> dict[tuple[int, str], list[PartEnd]]:
    """Roller changes that were written as part changes, and those that a visit's diameters show."""
    those = list(installations)
    found: dict[tuple[int, str], list[PartEnd]] = defaultdict(list)
    changes = PartChange.objects.current().filter(installation__in=those, part=PartChange.Part.SENSOR_ROLLERS)
    for change in changes:
        for side in (change.side,) if change.side else DIAMETERS.values():
            found[change.installation_id, side].append(
                PartEnd(change.changed_at, change.why in FAILURES, str(change.get_why_display()))
            )
    at_act = set(
        Reading.objects.current()
        .as_found()
        .filter(visit__installation__in=those, code__in=DIAMETERS, grade="act")
        .values_list("visit__installation_id", "side", "visit__visited_at")
    )
    for (place, side), readings in readings_of(those).items():
        before: float | None = None
        for at, stage, value in readings:
            if stage == Reading.Stage.AS_FOUND:
                before = value
            elif before is not None and value - before > NEW_ROLLER_MM:
                known = any(abs(each.at - at) < timedelta(days=2) for each in found[place, side])
                if not known:
                    is_failure = (place, side, at) in at_act
                    words = _("found at act and changed") if is_failure else _("changed while not at act")
                    found[place, side].append(PartEnd(at, is_failure, words))
    return found


def pivot_changes(installations: Iterable[Installation]) -> dict[int, list[PartChange]]:
    """Changes of the pivot by installation, the earliest first."""
    changed: dict[int, list[PartChange]] = defaultdict(list)
    rows = PartChange.objects.current().filter(installation__in=[*installations], part=PartChange.Part.PIVOT)
    for change in rows.order_by("changed_at", "pk"):
        changed[change.installation_id].append(change)
    return changed


def ends_of_pivots(installations: Iterable[Installation]) -> dict[tuple[int, str], list[PartEnd]]:
    """Pivots that were changed, and first findings of act: the pivot did not work then, whatever was done to it.

    A pivot that was found so and then changed failed once: its end is the finding, and the change is no second one.
    The pivot that was put in then is another one; found at act in its turn, it failed as well.
    """
    those = list(installations)
    found: dict[tuple[int, str], list[PartEnd]] = defaultdict(list)
    changed = pivot_changes(those)
    rows = (
        Task.objects.done()
        .filter(installation__in=those, check_kind__rule=CheckKind.Rule.PIVOT_FREEDOM)
        .exclude(grade="")  # done, but nothing was found by it
        .order_by("closed_at")
        .values_list("installation_id", "grade", "visit__visited_at", "closed_at")
    )
    act_at: dict[int, datetime] = {}  # since when the pivot that is in has been at act
    looks: dict[int, dict[datetime, str]] = defaultdict(dict)
    for place, grade, visited_at, closed_at in rows:
        at = visited_at or closed_at
        looks[place][at] = grade
        if grade != Grade.ACT.value:
            act_at.pop(place, None)
            continue
        since = act_at.get(place)
        if since is None or any(since <= change.changed_at < at for change in changed[place]):
            found[place, ""].append(PartEnd(at, True, _("found seized or beyond its limit")))
        act_at[place] = at
    for place, of_place in changed.items():
        looked = looks[place]
        for change in of_place:
            last = max((at for at in looked if at <= change.changed_at), default=None)
            if last is not None and looked[last] == "act":
                continue
            found[place, ""].append(PartEnd(change.changed_at, change.why in FAILURES, str(change.get_why_display())))
    return found


@dataclass(frozen=True)
class PartFailure:
    """A part that was found failed, and the last look before at which it was not.

    Attributes
    ----------
    sound_until : datetime or None
        When the same kind of check last found it better than act; None where nobody had looked since it was fitted.
    """

    part: str
    found_at: datetime
    sound_until: datetime | None


RULE_OF = {
    PartChange.Part.SENSOR_ROLLERS.value: CheckKind.Rule.SENSOR_WEAR,
    PartChange.Part.PIVOT.value: CheckKind.Rule.PIVOT_FREEDOM,
}


def part_failures_of(installations: Iterable[Installation]) -> dict[int, list[PartFailure]]:
    """Failures of sensor rollers and pivots, the earliest first, by installation; the same ends as in their lives.

    A look counts for the part that was in when it was made: one before the part was fitted says nothing of it.
    """
    those = list(installations)
    looks: dict[tuple[int, str], list[datetime]] = defaultdict(list)
    rows = Task.objects.done().filter(installation__in=those, check_kind__rule__in=RULE_OF.values())
    better = rows.filter(grade__in=[Grade.SOUND.value, Grade.WATCH.value])
    for place, rule, visited_at, closed_at in better.values_list(
        "installation_id", "check_kind__rule", "visit__visited_at", "closed_at"
    ):
        looks[place, rule].append(visited_at or closed_at)
    rollers, pivots = ends_of_rollers(those), ends_of_pivots(those)
    # Each end of a roller is its change; a pivot's may be a finding, and then it stays in until it is changed.
    fitted = {
        PartChange.Part.SENSOR_ROLLERS.value: {at: [end.at for end in ends] for at, ends in rollers.items()},
        PartChange.Part.PIVOT.value: {
            (place, ""): [change.changed_at for change in changes] for place, changes in pivot_changes(those).items()
        },
    }
    found: dict[int, set[PartFailure]] = defaultdict(set)
    for part, ends in (
        (PartChange.Part.SENSOR_ROLLERS.value, rollers),
        (PartChange.Part.PIVOT.value, pivots),
    ):
        for (place, side), of_place in ends.items():
            for end in of_place:
                if not end.is_failure:
                    continue
                since = max((at for at in fitted[part].get((place, side), ()) if at < end.at), default=None)
                # At the visit that changed it the part before it was found; what came after was found of this one.
                own = [at for at in looks[place, RULE_OF[part]] if at < end.at and (since is None or at > since)]
                found[place].add(PartFailure(part, end.at, max(own, default=None)))
    return {place: sorted(each, key=lambda one: (one.found_at, one.part)) for place, each in found.items()}
