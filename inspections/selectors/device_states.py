"""How the checks of a belt's devices stand, for the strip and for the table of devices on the belt's page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from inspections.calc.grading import Grade
from inspections.models import Task
from inspections.selectors.tasks import CheckState, check_state_of
from installs.models import Installation
from installs.tables.belt_devices import DeviceCell, DeviceColumn
from plant.charts.strip import StripLayer
from plant.permissions import has_right
from plant.selectors.strip import StripSubject
from plant.words.quantities import days_late

# A sound device is drawn in ink, so that colour is left for those that want something.
TONES = {Grade.SOUND.value: "ink", Grade.WATCH.value: "watch", Grade.ACT.value: "act"}


def grade_layers(request: Any, subject: StripSubject) -> dict[int, StripLayer]:
    """The worst grade of each device in place, with the words of every check that was graded."""
    # All belts of a page are of one plant.
    if not subject.conveyors or not has_right(request.user, "inspections.view_task", subject.conveyors[0].plant):
        return {}
    belts = subject.conveyors
    standing = list(Installation.objects.in_place_at(subject.until).filter(conveyor__in=belts))
    states = check_state_of(standing)
    grades: dict[int, dict[int, tuple[str, str]]] = {belt.pk: {} for belt in belts}
    for each in standing:
        graded = [state for state in states[each.pk] if state.grade]
        if graded:
            worst = max((TONES[state.grade_since] for state in graded), key=list(TONES.values()).index)
            words = ", ".join(grade_words(state) for state in graded)
            grades[each.conveyor_id][each.pk] = (worst, words)
    return {pk: StripLayer(grades=found) for pk, found in grades.items()}


def grade_words(state: CheckState) -> str:
    """ "Sensor wear: act, rollers changed"."""
    grade = state.last.get_grade_display() if state.last else ""
    words = f"{state.check_kind}: {grade}" + (f", {_('rollers changed')}" if state.has_new_rollers else "")
    return f"{words}, {_('closed twice, to be decided')}" if state.last and state.last.twice else words


def device_columns(request: Any, standing: Sequence[Installation]) -> dict[str, Any] | None:
    """A column for each kind of check that was done here or is open, and the next check."""
    plant = standing[0].plant
    if not has_right(request.user, "inspections.view_task", plant):
        return None
    states = check_state_of(standing)
    today = timezone.localdate(timezone=plant.zone)
    kinds = {state.check_kind.pk: state.check_kind for found in states.values() for state in found}
    columns = [
        DeviceColumn(
            capfirst(str(kinds[kind])),
            {pk: last_cell(state) for pk, found in states.items() for state in found if state.check_kind.pk == kind},
        )
        for kind in sorted(kinds)
    ]
    following = {
        pk: min(tasks, key=lambda task: task.due_on)
        for pk, found in states.items()
        if (tasks := [state.next for state in found if state.next])
    }
    columns.append(DeviceColumn(_("Next check"), {pk: next_cell(task, today) for pk, task in following.items()}))
    return {"columns": columns}


def last_cell(state: CheckState) -> DeviceCell:
    if state.last is None:
        return DeviceCell(_("never done"))
    on = date_format(timezone.localtime(state.last.closed_at), "j M Y")
    if state.has_new_rollers:
        on = f"{on}, {_('rollers changed')}"
    if state.last.twice:
        on = f"{on}, {_('closed twice, to be decided')}"
    return DeviceCell(on, state.last.grade, str(state.last.get_grade_display()), state.last.get_absolute_url())


def next_cell(task: Task, today: date) -> DeviceCell:
    days = task.days_late(today)
    if days:
        return DeviceCell(str(task.check_kind), Grade.ACT.value, str(days_late(days)), task.get_absolute_url())
    return DeviceCell(f"{date_format(task.due_on, 'j M Y')}, {task.check_kind}", url=task.get_absolute_url())
