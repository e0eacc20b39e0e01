"""Work that falls due week by week, from the next date of each check and how often it comes round."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True)
class Recurring:
    """A check: the day it is due next, the days after which it comes again (None: once), minutes, lockout or not."""

    due_on: date
    every_days: float | None
    minutes: float
    needs_lockout: bool


@dataclass(frozen=True)
class Week:
    """Checks that fall due in the week that begins on a Monday, and their minutes [min]."""

    monday: date
    n: int
    locked_out_min: float
    other_min: float

    @property
    def minutes(self) -> float:
        return self.locked_out_min + self.other_min


def monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def occurrences(due_on: date, every_days: float | None, until: date) -> list[date]:
    """Days on which a check falls due up to a day, each done on its own day; counted from the first, never chained.

    Parameters
    ----------
    due_on : date
    every_days : float or None
        1 or more [d]; an interval in running hours over the hours of a day need not be whole. None: it comes once.
    until : date
        Last day that may be in the answer.

    Returns
    -------
    list of date

    Raises
    ------
    ValueError
        If every_days is below 1.

    Examples
    --------
    >>> [day.day for day in occurrences(date(2026, 1, 5), 10.5, date(2026, 1, 31))]
    [5, 15, 26]
    """
    if every_days is not None and not every_days >= 1:
        raise ValueError(f"every_days is {every_days:g}; give 1 day or more")
    if due_on > until:
        return []
    if every_days is None or math.isinf(every_days):
        return [due_on]
    times = math.floor((until - due_on).days / every_days)
    return [due_on + timedelta(days=math.floor(n * every_days)) for n in range(times + 1)]


def by_week(checks: Iterable[Recurring], *, today: date, n_weeks: int) -> list[Week]:
    """The weeks from the present one on. What was due before today is work of the present week.

    Raises
    ------
    ValueError
        If n_weeks is below 1.
    """
    if n_weeks < 1:
        raise ValueError(f"n_weeks is {n_weeks}; give 1 week or more")
    first = monday_of(today)
    last = first + timedelta(days=7 * n_weeks - 1)
    n, locked_out, other = [0] * n_weeks, [0.0] * n_weeks, [0.0] * n_weeks
    for check in checks:
        for day in occurrences(max(check.due_on, today), check.every_days, last):
            at = (day - first).days // 7
            n[at] += 1
            (locked_out if check.needs_lockout else other)[at] += check.minutes
    return [Week(first + timedelta(days=7 * at), n[at], locked_out[at], other[at]) for at in range(n_weeks)]


def effective_days(interval_days: int | None, interval_h: float | None, daily_h: float | None) -> float | None:
    """Days between two checks where the earlier of days and running hours decides; None where neither can be told."""
    by_hours = max(interval_h / daily_h, 1.0) if interval_h and daily_h else None
    known = [float(each) for each in (interval_days, by_hours) if each is not None]
    return min(known) if known else None
