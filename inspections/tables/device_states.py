"""How the checks of a belt's devices stand, in the table of devices on the belt's page."""

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
from inspections.selectors.tasks import CheckState, states_for
from inspections.words.tasks import with_marks
from installs.models import Installation
from installs.tables.belt_devices import DeviceCell, DeviceColumn
from plant.permissions import has_right
from plant.words.quantities import days_late


def device_columns(request: Any, standing: Sequence[Installation]) -> dict[str, Any] | None:
    """A column for each kind of check that was done here or is open, and the next check."""
    plant = standing[0].plant
    if not has_right(request.user, "inspections.view_task", plant):
        return None
    states = states_for(request, standing)
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
    on = with_marks(date_format(timezone.localtime(state.last.closed_at), "j M Y"), state)
    return DeviceCell(on, state.last.grade, str(state.last.get_grade_display()), state.last.get_absolute_url())


def next_cell(task: Task, today: date) -> DeviceCell:
    days = task.days_late(today)
    if days:
        return DeviceCell(str(task.check_kind), Grade.ACT.value, str(days_late(days)), task.get_absolute_url())
    return DeviceCell(f"{date_format(task.due_on, 'j M Y')}, {task.check_kind}", url=task.get_absolute_url())
