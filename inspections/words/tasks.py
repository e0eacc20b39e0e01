"""Words for checks: how late, how often put off, closed twice."""

from __future__ import annotations

from datetime import date

from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspections.models import Task, TwiceClosed
from plant.words.quantities import days_late


def day_words(day: date) -> str:
    return str(date_format(day, "j M Y"))


def late_words(task: Task, today: date) -> str:
    """How late, and since when: lateness counts from the end of the window, not from the day on which it was due."""
    days = task.days_late(today)
    if not days:
        return ""
    known = {"late": days_late(days), "on": date_format(task.closes_on, "j M")}
    return _("%(late)s, window closed %(on)s") % known


def put_off_words(task: Task) -> str:
    """ "twice: no wrench in date; no window"."""
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
