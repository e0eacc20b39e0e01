"""Words for checks and actions: {{ task|put_off_words }}, {{ task|late_words:today }}."""

from __future__ import annotations

from datetime import date

from django import template

from inspections.models import Action, Task, TwiceClosed
from inspections.tables import tasks
from plant.templatetags.quantities import days_late

register = template.Library()


@register.filter
def put_off_words(task: Task) -> str:
    """ "twice: no wrench in date; no window"; needs `put_off` from `selectors.with_deferrals`."""
    return tasks.put_off_words(task)


@register.filter
def late_words(task: Task, today: date) -> str:
    """ "41 days late, window closed 19 Oct"; empty where it is not late."""
    return str(tasks.late_words(task, today))


@register.filter
def to_be_decided(row: TwiceClosed | None) -> str:
    """The mark and way of `Task.twice`: closed by two, and nobody said which counts."""
    return tasks.to_be_decided(row or None)


@register.filter
def action_late_words(action: Action, today: date) -> str:
    days = (today - action.due_on).days if action.done_at is None else 0
    return str(days_late(days)) if days > 0 else ""
