"""Reads of checks that span several models: how devices stand, and what the planner's day looks like."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Exists, F, OuterRef, Prefetch, QuerySet, Window
from django.db.models.functions import RowNumber

from inspections.calc.grading import Grade, grade_sensor_wear
from inspections.models import (
    Action,
    CheckKind,
    CheckPlan,
    CouldNotDo,
    Deferral,
    OverdueSpell,
    Reading,
    Task,
    TwiceClosed,
)
from installs.models import Installation, PartChange
from plant.models import Plant


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
        if stage == Reading.Stage.AS_FOUND and grade in WORN:
            found[pk].add((at, visit, side))
        is_stated = stage != Reading.Stage.AS_FOUND and value and new_mm and limit_mm
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

    @property
    def goes_by_hours_alone(self) -> bool:
        """Whether the plan in force knows running hours only: no day can be told where they are unknown."""
        if self.plan is None or self.plan.plan.is_suspended:
            return False
        return not self.plan.plan.interval_days and not self.plan.plan.fixed_months


def states_for(holder: Any, installations: Iterable[Installation]) -> dict[int, list[CheckState]]:
    """The same, asked for once as long as `holder` lives, such as a request: several panels of a page show it."""
    known: dict[int, list[CheckState]] = holder.__dict__.setdefault("_check_states", {})
    those = list(installations)
    missing = [each for each in those if each.pk not in known]
    if missing:
        known.update(check_state_of(missing))
    return {each.pk: known[each.pk] for each in those}


def checks_at(installation: Installation, known: Iterable[CheckState] | None = None) -> list[CheckRow]:
    """Every kind of check that was done, is open or is planned at one installation; `known` is how they stand."""
    states = {state.check_kind.pk: state for state in known or check_state_of([installation])[installation.pk]}
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


def pivot_changes(installations: Iterable[Installation]) -> dict[int, list[PartChange]]:
    """Changes of the pivot by installation, the earliest first."""
    changed: dict[int, list[PartChange]] = defaultdict(list)
    rows = PartChange.objects.current().filter(installation__in=[*installations], part=PartChange.Part.PIVOT)
    for change in rows.order_by("changed_at", "pk"):
        changed[change.installation_id].append(change)
    return changed


def answered_too(task: Task, on: date) -> list[Task]:
    """Open checks of the same kind at the same device that readings of this day answer: their window has opened.

    One whose window opens later stays: the plan's moves on from this day by itself, and a fixed date or a follow-up
    keeps its own.
    """
    rows = Task.objects.open().filter(
        installation=task.installation_id, check_kind=task.check_kind_id, opens_on__lte=on
    )
    others = rows.exclude(pk=task.pk)
    return list(others.select_related("plant", "check_kind").order_by("pk")) if others.exists() else []
