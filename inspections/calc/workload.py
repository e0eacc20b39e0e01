"""Work that falls due week by week: when each check comes round again, and the minutes of it by week and skill.

Each check is taken to be done on the day on which it is due. The next one then comes as the plan says: from that day by
days and running hours, whichever comes first, with outages and what shortens the interval; or on its next fixed date.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from inspections.calc.due_dates import AS_STATED, Shortening
from inspections.calc.fixed_dates import FixedDates


@dataclass(frozen=True)
class Cadence:
    """How a check comes round on one belt: share of its interval that is used up by the end of each day from `first`.

    `by_days` and `by_hours` are cumulated shares, None where the plan has no such interval or it cannot be forecast;
    `fixed` are the plan's fixed dates instead.
    """

    first: date
    by_days: NDArray[np.float64] | None = None
    by_hours: NDArray[np.float64] | None = None
    fixed: tuple[date, ...] | None = None

    def after(self, day: date) -> date | None:
        """The day on which the check is due again when it was done on a day; None beyond the last day known."""
        if self.fixed is not None:
            return next((each for each in self.fixed if each > day), None)
        at = (day - self.first).days
        found: list[int] = []
        for used in (self.by_days, self.by_hours):
            if used is not None and at < len(used):
                so_far = used[at] if at >= 0 else 0.0
                found.append(int(np.searchsorted(used, so_far + 1 - 1e-9)))
        # What is used up before the end of one day is due on the next: nothing comes twice on a day.
        known = [max(n, at + 1) for n in found]
        last = max((len(used) for used in (self.by_days, self.by_hours) if used is not None), default=0)
        return self.first + timedelta(days=min(known)) if known and min(known) < last else None


ONCE = Cadence(date.min)


def cadence(
    first: date,
    last: date,
    *,
    interval_days: int | None = None,
    interval_hours: float | None = None,
    daily_hours: float | None = None,
    outages: Iterable[tuple[date, date]] = (),
    shortening: Shortening = AS_STATED,
    fixed: FixedDates | None = None,
) -> Cadence:
    """How a check comes round from the first to the last day, both included.

    Parameters
    ----------
    first, last : date
    interval_days : int, optional
        [d].
    interval_hours, daily_hours : float, optional
        Interval in running hours, and the hours of a day without an outage [h]; of use only together.
    outages : iterable of (first day, last day)
        Days, both included, on which the belt does not run.
    shortening : Shortening, optional
    fixed : FixedDates, optional
        Fixed dates instead of intervals.

    Returns
    -------
    Cadence

    Examples
    --------
    >>> found = cadence(date(2026, 1, 1), date(2026, 12, 31), interval_days=90, interval_hours=500, daily_hours=10)
    >>> found.after(date(2026, 1, 5)).isoformat()
    '2026-02-24'
    """
    if fixed is not None:
        return Cadence(first, fixed=tuple(day for day in fixed.until(last) if day > first))
    n_days = max((last - first).days + 1, 0)
    by_days = by_hours = None
    if interval_days is not None:
        by_days = np.cumsum(shortening.weights(first, n_days, by="days")) / interval_days
    if interval_hours is not None and daily_hours:
        hours = shortening.weights(first, n_days, by="hours") * daily_hours
        for begin, end in outages:
            if end >= first:
                hours[max((begin - first).days, 0) : (end - first).days + 1] = 0.0
        by_hours = np.cumsum(hours) / interval_hours
    return Cadence(first, by_days, by_hours)


@dataclass(frozen=True)
class Coming:
    """Checks alike: the day due next, how they come round, minutes of each, lockout or not, skill, how many."""

    due_on: date
    cadence: Cadence
    minutes: float
    needs_lockout: bool
    skill: str = ""
    n: int = 1


@dataclass(frozen=True)
class Week:
    """Checks that fall due in the week that begins on a Monday, and their minutes [min]; by skill too."""

    monday: date
    n: int
    locked_out_min: float
    other_min: float
    by_skill: dict[str, float] = field(default_factory=dict)

    @property
    def minutes(self) -> float:
        return self.locked_out_min + self.other_min


def monday_of(day: date) -> date:
    """First day of the ISO 8601 week in which a day lies.

    Parameters
    ----------
    day : date
    """

    return day - timedelta(days=day.weekday())


def occurrences(due_on: date, cadence: Cadence, until: date) -> list[date]:
    """Days on which a check falls due up to a day, each done on its own day.

    Parameters
    ----------
    due_on : date
    cadence : Cadence
    until : date
        Last day that may be in the answer.

    Returns
    -------
    list of date

    Examples
    --------
    >>> every = cadence(date(2026, 1, 1), date(2026, 1, 31), interval_days=10)
    >>> [day.day for day in occurrences(date(2026, 1, 5), every, date(2026, 1, 31))]
    [5, 15, 25]
    """
    found: list[date] = []
    day: date | None = due_on
    while day is not None and day <= until:
        found.append(day)
        day = cadence.after(day)
    return found


def by_week(checks: Iterable[Coming], *, today: date, n_weeks: int) -> list[Week]:
    """The weeks from the present one on. What was due before today is work of the present week.

    Fixed dates that were missed besides the one that is open are no further work here.

    Parameters
    ----------
    checks : iterable of Coming
        What falls due, late work included.
    today : date
    n_weeks : int
        How many weeks, the present one included; at least 1.

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
    skills: list[dict[str, float]] = [{} for _week in range(n_weeks)]
    for check in checks:
        for day in occurrences(max(check.due_on, today), check.cadence, last):
            at = (day - first).days // 7
            n[at] += check.n
            (locked_out if check.needs_lockout else other)[at] += check.n * check.minutes
            skills[at][check.skill] = skills[at].get(check.skill, 0.0) + check.n * check.minutes
    return [Week(first + timedelta(days=7 * at), n[at], locked_out[at], other[at], skills[at]) for at in range(n_weeks)]
