"""Between which bounds the moments of a book lie.

Whatever is read anywhere, in a form, a file, an address or from a phone, lies between `EARLIEST` and `LATEST`: wide
bounds that need no clock and keep what follows (a day more, the plant's clock, a month back) inside the years that
Python and the data bases have. Closer bounds depend on what a moment is of: what has happened has happened by now, what
is planned lies a number of years ahead at most. Both are stated here alone; rows, forms, services, imports and the
phone's addresses ask here.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

# No belt that carries bulk materials is older (common knowledge, no source).
EARLIEST = dt.date(1850, 1, 1)
# A phone's clock may show anything; no plan and no calibration reaches so far.
LATEST = dt.date(2199, 12, 31)
# How far ahead something may be planned: beyond the longest interval of a check (ten years) with its window. Common
# practice, no source: calibrations and closures are planned for less.
YEARS_AHEAD = 15
# Clocks of people, meters and the site differ by as much.
CLOCK_TOLERANCE = dt.timedelta(minutes=10)
# What a shift writes down before it is over ends within the day.
SHIFT_TOLERANCE = dt.timedelta(days=1)


class MomentKind(StrEnum):
    """What a moment is of."""

    HAPPENED = "happened"  # has happened by now, by any clock of the plant
    SHIFT = "shift"  # ends with a shift that is under way
    PLANNED = "planned"  # may lie ahead
    CLOCK = "clock"  # what some clock showed; only the calendar bounds it


@dataclass(frozen=True)
class Bounds:
    """First and last day, or moment, that may be given, both included."""

    first: dt.date
    last: dt.date


def day_bounds(kind: MomentKind, today: dt.date) -> Bounds:
    """Between which days a day of this kind lies.

    Parameters
    ----------
    kind : MomentKind
        What the day is of.
    today : date
        Today in the plant's zone.

    Returns
    -------
    Bounds
        Of dates.

    Examples
    --------
    >>> day_bounds(MomentKind.PLANNED, dt.date(2028, 2, 29)).last
    datetime.date(2043, 2, 28)
    """
    return Bounds(EARLIEST, min(_last_day(kind, today), LATEST))


def moment_bounds(kind: MomentKind, now: dt.datetime) -> Bounds:
    """Between which moments a moment of this kind lies.

    Parameters
    ----------
    kind : MomentKind
        What the moment is of.
    now : datetime
        With a zone.

    Returns
    -------
    Bounds
        Of datetimes in UTC.

    Examples
    --------
    >>> noon = dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)
    >>> moment_bounds(MomentKind.HAPPENED, noon).last.isoformat()
    '2026-11-20T12:10:00+00:00'
    """
    first = dt.datetime.combine(EARLIEST, dt.time(), dt.UTC)
    end = dt.datetime.combine(LATEST, dt.time(), dt.UTC)
    if kind is MomentKind.HAPPENED:
        last = now.astimezone(dt.UTC) + CLOCK_TOLERANCE
    elif kind is MomentKind.SHIFT:
        last = now.astimezone(dt.UTC) + SHIFT_TOLERANCE
    else:
        last = dt.datetime.combine(_last_day(kind, now.date()), dt.time(), dt.UTC)
    return Bounds(first, min(last, end))


def is_in_calendar(value: dt.date | dt.datetime) -> bool:
    """Whether a day or a moment lies in the calendar of a book, whatever it is of.

    Parameters
    ----------
    value : date or datetime
        A clock reading without a zone is taken as it stands.

    Returns
    -------
    bool
        EARLIEST to LATEST, both included.

    Examples
    --------
    >>> is_in_calendar(dt.datetime.max), is_in_calendar(dt.date(1851, 3, 15))
    (False, True)
    """
    day = value.date() if isinstance(value, dt.datetime) else value
    return EARLIEST <= day <= LATEST


def _last_day(kind: MomentKind, today: dt.date) -> dt.date:
    if kind is MomentKind.HAPPENED:
        return today
    if kind is MomentKind.SHIFT:
        return today + SHIFT_TOLERANCE
    if kind is MomentKind.PLANNED:
        year = today.year + YEARS_AHEAD
        return today.replace(year=year, day=min(today.day, 28) if today.month == 2 else today.day)
    return LATEST
