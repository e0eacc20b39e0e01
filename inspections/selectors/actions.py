"""Which findings the actions of a device answer, and who would own a new one."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from django.db.models import Q

from inspections.calc.grading import Grade
from inspections.models import Action, Reading, Task, Visit
from installs.models import Installation
from plant.models import Person, Plant
from plant.permissions import PLANNER
from plant.selectors.people import people_in


def kinds_in_hand(installation: Installation, visits: Collection[Visit] = ()) -> set[int]:
    """Kinds of check whose finding of act has an action at a device; an action for another check stands for none.

    An action stands for the check that it names; one that was raised with a visit for those that the visit found at
    act, or for all of the visit where it found none. Open ones count, and of these `visits` those that are done too.
    """
    rows = Action.objects.filter(Q(done_at__isnull=True) | Q(visit__in=visits), installation=installation)
    return set().union(*kinds_answered(rows).values())


def kinds_answered(rows: Iterable[Action]) -> dict[int, set[int]]:
    """The kinds of check whose finding of act each action answers, by the action's key."""
    named = [(row.pk, row.check_kind_id, row.visit_id) for row in rows]
    of_visit = kinds_of_visits({visit for _pk, kind, visit in named if kind is None and visit is not None})
    return {
        pk: {kind} if kind is not None else of_visit.get(visit, set()) if visit is not None else set()
        for pk, kind, visit in named
    }


def kinds_of_visits(visits: Collection[int]) -> dict[int, set[int]]:
    """The kinds of check that each visit found at act, or all that it read where it found none."""
    at_act: dict[int, set[int]] = {pk: set() for pk in visits}
    read: dict[int, set[int]] = {pk: set() for pk in visits}
    readings = Reading.objects.filter(visit__in=visits).order_by().distinct()
    for visit_id, task_kind, grade in readings.values_list("visit_id", "task__check_kind_id", "grade"):
        read[visit_id].add(task_kind)
        if grade == Grade.ACT.value:
            at_act[visit_id].add(task_kind)
    # A check may be at act by what its readings say together, without one that is.
    for visit_id, task_kind in Task.objects.filter(visit__in=visits, grade=Grade.ACT.value).values_list(
        "visit_id", "check_kind_id"
    ):
        if visit_id is not None:
            at_act[visit_id].add(task_kind)
    return {pk: at_act[pk] or read[pk] for pk in visits}


def kinds_at_act(visit: Visit) -> set[int]:
    """The kinds of check that a visit found at act; none where it found none."""
    rows = Reading.objects.filter(visit=visit, grade=Grade.ACT.value).values_list("task__check_kind_id", flat=True)
    tasks = Task.objects.filter(visit=visit, grade=Grade.ACT.value).values_list("check_kind_id", flat=True)
    return {*rows, *tasks}


def open_at(installations: Collection[int]) -> dict[int, list[Action]]:
    """Open actions by device, the first due first; one query."""
    rows = Action.objects.open().filter(installation__in=installations)
    found: dict[int, list[Action]] = {pk: [] for pk in installations}
    for row in rows.select_related("owner", "check_kind", "installation__conveyor", "installation__device").order_by(
        "due_on", "pk"
    ):
        found[row.installation_id].append(row)
    return found


def alike_open(installation: Installation, kinds: Collection[int], title: str = "") -> list[Action]:
    """Open actions at a device for a finding of one of these kinds, or with the same words; the first due first."""
    rows = open_at([installation.pk])[installation.pk]
    answered = kinds_answered(rows)
    same = title.strip().casefold()
    return [row for row in rows if answered[row.pk] & set(kinds) or (same and row.title.strip().casefold() == same)]


def proposed_owner(plant: Plant, by: Person) -> Person | None:
    """Who is proposed to own a new action: whoever raises it and plans here, else the plant's only planner.

    With several planners or none nobody is proposed: the action is shown as owned by nobody until a planner gives it.
    """
    planners = people_in(plant, PLANNER)
    if by.pk in planners:
        return by
    return Person.objects.get(pk=planners[0]) if len(planners) == 1 else None
