"""Small figures as people say them: days late, shares, the day in a box."""

from __future__ import annotations

import datetime as dt

from django.utils.formats import date_format
from django.utils.translation import gettext as _


def days_late(days: int) -> str:
    """34 -> "34 days late"."""
    return _("1 day late") if days == 1 else _("%(days)s days late") % {"days": days}


def share(value: float | None) -> str:
    """A share between 0 and 1 in percent: 0.97 -> "97 %"."""
    return _("not known") if value is None else f"{100 * value:.0f} %"


def day_written(text: str) -> str:
    """The day in a box as the site writes it: the browser shows day and month in an order of its own."""
    try:
        day = dt.date.fromisoformat(text[:10])
    except ValueError:
        return _("Day and month stand in your browser's order; its calendar names the month.")
    return f"= {date_format(day, 'j M Y')}"
