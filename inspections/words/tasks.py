"""Words for checks: how late, how often put off, closed twice."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspections.models import Task, TwiceClosed
from inspections.selectors.tasks import CheckState
from plant.words.quantities import days_late


def follow_up_words(months: int) -> str:
    """Why the belt offset is measured again so many months after the installation."""
    when = ngettext("%(n)s month after the installation", "%(n)s months after the installation", months) % {"n": months}
    return _("%(when)s, to compare the belt offset with the one before") % {"when": when}


def late_words(task: Task, today: date) -> str:
    """How late, and since when: lateness counts from the end of the window, not from the day on which it was due."""
    days = task.days_late(today)
    if not days:
        return ""
    known = {"late": days_late(days), "on": date_format(task.closes_on, "j M")}
    return _("%(late)s, window closed %(on)s") % known


def put_off_words(task: Any) -> str:
    """ "twice: no wrench in date; no window", of a task with its deferrals (`with_deferrals`)."""
    times = len(task.put_off)
    if not times:
        return ""
    counted = {1: _("once"), 2: _("twice")}.get(times) or ngettext("%(n)s time", "%(n)s times", times) % {"n": times}
    return f"{counted}: {'; '.join(each.reason.rstrip('. ') for each in task.put_off)}"


def to_be_decided(row: TwiceClosed | None) -> str:
    """ "closed twice, to be decided", with the way to both visits; empty where nothing is open."""
    if not row:  # a template gives "" where a check has no such mark
        return ""
    return format_html(' <a href="{}">{}</a>', row.get_absolute_url(), _("closed twice, to be decided"))


def grade_words(state: CheckState) -> str:
    """ "Sensor wear: act, rollers changed"."""
    grade = state.last.get_grade_display() if state.last else ""
    return with_marks(f"{state.check_kind}: {grade}", state)


def with_marks(words: str, state: CheckState) -> str:
    """Words of the last check of a kind, with what has come since and whether it was closed twice."""
    marks = [
        _("rollers changed") if state.has_new_rollers else "",
        _("closed twice, to be decided") if state.last and state.last.twice else "",
    ]
    return ", ".join(filter(None, [words, *marks]))
