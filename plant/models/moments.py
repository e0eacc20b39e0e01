"""The sentence for a moment or a day that cannot be; the bounds themselves stand in `plant/calc/moments.py`."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant.calc.moments import Bounds, MomentKind, day_bounds, is_in_calendar, moment_bounds

# Somewhere on earth it is that many hours later than in UTC: a plant may write its today.
FARTHEST_AHEAD = dt.timedelta(hours=14)


def moment_fault(
    value: dt.date | dt.datetime, kind: MomentKind, now: dt.datetime | None = None, *, is_day: bool = False
) -> str:
    """Why a moment or a day of this kind cannot be, in a whole sentence with the bounds; empty where it can.

    `is_day`: the moment stands for its day, whose hour nobody knows.
    """
    now = now or timezone.now()
    bounds: Bounds
    if isinstance(value, dt.datetime):
        bounds = moment_bounds(kind, now)
        given = value if timezone.is_aware(value) else value.replace(tzinfo=dt.UTC)
        is_early, is_late = given < bounds.first, given > bounds.last
    else:
        bounds = day_bounds(kind, (now + FARTHEST_AHEAD).astimezone(dt.UTC).date())
        is_early, is_late = value < bounds.first, value > bounds.last
    if not is_early and not is_late:
        return ""
    first = bounds.first.date() if isinstance(bounds.first, dt.datetime) else bounds.first
    known = {"given": shown(value, is_day=is_day), "first": shown(first), "last": shown(bounds.last)}
    if kind in (MomentKind.HAPPENED, MomentKind.SHIFT) and is_late:
        return _("%(given)s is in the future. Give a time that has passed, no earlier than %(first)s.") % known
    if kind in (MomentKind.HAPPENED, MomentKind.SHIFT):
        return _("%(given)s is before any book. Give a time that has passed, no earlier than %(first)s.") % known
    return _("%(given)s is out of this book's reach. Give a time from %(first)s to %(last)s.") % known


def shown(value: dt.date | dt.datetime, *, is_day: bool = False) -> str:
    """A day, or a moment in the plant's clock as far as that clock reaches."""
    if not is_in_calendar(value):  # neither a clock nor a format of dates is made for the ends of the calendar
        return value.isoformat()[:10]
    if not isinstance(value, dt.datetime):
        return str(date_format(value, "j M Y"))
    local = timezone.localtime(value) if timezone.is_aware(value) else value
    return str(date_format(local, "j M Y" if is_day else "j M Y, H:i"))
