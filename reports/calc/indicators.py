"""Indicators of the month: what is counted for each.

EN 13306 is vocabulary and holds no formulas, EN 15341 lists indicators but leaves factors open: so each indicator says
what is counted; `reports.words.indicators` tells it to people. Times are instants with a zone, dates are the plant's.
"""

from __future__ import annotations

import datetime as dt
import functools
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from plant.calc.calendar import day_position


class IndicatorKey(StrEnum):
    """The indicators of the month, in the order in which they are told; the value is kept."""

    INCIDENTS = "incidents"
    STOP_MINUTES = "stop_minutes"
    SPILLED = "spilled"
    SCHEDULE_COMPLIANCE = "schedule_compliance"
    OVERDUE = "overdue"
    DAYS_TO_CLOSE = "days_to_close"
    AVAILABILITY = "availability"
    COST = "cost"


@dataclass(frozen=True)
class TaskWindow:
    """The window of one task, and what became of it.

    Attributes
    ----------
    opens_on, closes_on : date
        Both ends belong to it.
    done_on, withdrawn_on : date or None
    """

    key: int
    opens_on: dt.date
    closes_on: dt.date
    done_on: dt.date | None = None
    withdrawn_on: dt.date | None = None


@dataclass(frozen=True)
class Compliance:
    """Share of windows that were kept.

    Attributes
    ----------
    share : float or None
        None where no window closed in the month: neither 0 nor 100 %.
    on_time, counted : tuple of int
        Keys of the tasks behind the share.
    """

    share: float | None
    on_time: tuple[int, ...]
    counted: tuple[int, ...]


def schedule_compliance(windows: Iterable[TaskWindow], first: dt.date, last: dt.date) -> Compliance:
    """Of the windows that closed from `first` to `last`, the share in which the task was done.

    Parameters
    ----------
    windows : iterable of TaskWindow
    first, last : date
        Of the month, both included.
    """
    counted = [
        each
        for each in windows
        if first <= each.closes_on <= last
        and not (each.withdrawn_on is not None and each.withdrawn_on <= each.closes_on)
    ]
    on_time = [each for each in counted if each.done_on is not None and each.opens_on <= each.done_on <= each.closes_on]
    return Compliance(
        share=len(on_time) / len(counted) if counted else None,
        on_time=tuple(each.key for each in on_time),
        counted=tuple(each.key for each in counted),
    )


@dataclass(frozen=True)
class Late:
    """A task that is late on a day.

    Attributes
    ----------
    since : date
        The first day on which it was late.
    days : int
        Whole days since the window closed.
    """

    key: int
    since: dt.date
    days: int


# Bounds of the ages in days; the last has no end.
AGES = ((1, 7), (8, 30), (31, None))


def overdue_on(windows: Iterable[TaskWindow], day: dt.date) -> tuple[Late, ...]:
    """Tasks that were open at the end of a day after their window had closed, the oldest first.

    Parameters
    ----------
    windows : iterable of TaskWindow
    day : date
    """
    found = []
    for each in windows:
        ended = min((at for at in (each.done_on, each.withdrawn_on) if at is not None), default=None)
        if each.closes_on < day and (ended is None or ended > day):
            found.append(Late(each.key, each.closes_on + dt.timedelta(days=1), (day - each.closes_on).days))
    return tuple(sorted(found, key=lambda late: (-late.days, late.key)))


def by_age(late: Iterable[Late]) -> tuple[int, ...]:
    """How many are late by up to 7, 8 to 30, and more than 30 days.

    Parameters
    ----------
    late : iterable of Late
        As `overdue_on` gives them.
    """
    days = [each.days for each in late]
    return tuple(sum(low <= each and (high is None or each <= high) for each in days) for low, high in AGES)


@dataclass(frozen=True)
class Closing:
    """How long actions took.

    Attributes
    ----------
    n_closed : int
    mean_days, median_days : float or None
        None where none was closed.
    n_open : int
    oldest_open_days : int or None
    """

    n_closed: int
    mean_days: float | None
    median_days: float | None
    n_open: int
    oldest_open_days: int | None


def days_to_close(actions: Iterable[tuple[dt.date, dt.date | None]], first: dt.date, last: dt.date) -> Closing:
    """How long actions that were closed in a month took, and how old the open ones are at its end.

    Parameters
    ----------
    actions : iterable of (raised, closed or None)
    first, last : date
        First and last day of the month.
    """
    rows = list(actions)
    took = [(closed - raised).days for raised, closed in rows if closed is not None and first <= closed <= last]
    still = [(last - raised).days for raised, closed in rows if raised <= last and (closed is None or closed > last)]
    return Closing(
        n_closed=len(took),
        mean_days=statistics.fmean(took) if took else None,
        median_days=float(statistics.median(took)) if took else None,
        n_open=len(still),
        oldest_open_days=max(still, default=None),
    )


Span = tuple[dt.datetime, dt.datetime]
LEAST_JUDGED_D = 1e-6  # less than a tenth of a second is what sums of floats leave of nothing


@dataclass(frozen=True)
class Availability:
    """Share of the time in place in which devices worked, of the time for which that is known.

    Attributes
    ----------
    share : float or None
        None where no device stood anywhere, or of none of the time anything is known.
    in_place_days, lost_days, unknown_days : float
        Lost and not known never overlap.
    """

    share: float | None
    in_place_days: float
    lost_days: float
    unknown_days: float


def availability(
    places: Sequence[tuple[Span, Sequence[Span], dt.datetime | None]],
    start: dt.datetime,
    end: dt.datetime,
    tz: dt.tzinfo,
) -> Availability:
    """Share of the device-days of a period that were neither out of service nor at act, of those that are known.

    Each day by the plant's clock counts once, also one of 23 or 25 hours.

    Parameters
    ----------
    places : sequence of (span in place, spans lost, known since)
        Spans lost may overlap; an hour is lost once. Known since: the first check there, None where none was done; what
        lies before it is not known, unless it is lost.
    start, end : datetime
        The period.
    tz : tzinfo
        The plant's zone.
    """
    stood = lost = unknown = 0.0
    at = functools.cache(lambda moment: day_position(moment, tz))
    for (since, until), spells, known_since in places:
        low, high = max(since, start), min(until, end)
        if low >= high:
            continue
        stood += at(high) - at(low)
        known = high if known_since is None else min(max(known_since, low), high)
        unknown += at(known) - at(low)
        reached = low
        for begins, ends in sorted(spells):
            begins, ends = max(begins, reached), min(ends, high)
            if begins < ends:
                lost += at(ends) - at(begins)
                unknown -= max(at(min(ends, known)) - at(begins), 0.0)
                reached = ends
    judged = stood - unknown
    return Availability((judged - lost) / judged if judged > LEAST_JUDGED_D else None, stood, lost, unknown)


@dataclass(frozen=True)
class Cost:
    """Cost at the plant's own unit costs.

    Attributes
    ----------
    total : float or None
        None where no unit cost at all is given.
    parts : tuple of (name, amount, unit cost or None, cost or None)
    missing : tuple of str
        Names of the unit costs that the plant has not given, where there is something to be paid for.
    """

    total: float | None
    parts: tuple[tuple[str, float, float | None, float | None], ...]
    missing: tuple[str, ...]


def cost_of(amounts: Mapping[str, float], unit_costs: Mapping[str, float | None]) -> Cost:
    """Sum of amounts at unit costs; a missing unit cost is named and never taken as zero.

    Parameters
    ----------
    amounts : mapping of str to float
        Hours stopped and tonnes spilled, by name.
    unit_costs : mapping of str to float or None
        Cost of one of each; None where the plant gave none.
    """
    parts = tuple(
        (
            name,
            amount,
            unit_costs.get(name),
            None if unit_costs.get(name) is None else amount * (unit_costs[name] or 0.0),
        )
        for name, amount in amounts.items()
    )
    known = [cost for _name, _amount, _unit, cost in parts if cost is not None]
    missing = tuple(name for name, amount, unit, _cost in parts if unit is None and amount > 0)
    return Cost(sum(known) if known else None, parts, missing)
