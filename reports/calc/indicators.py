"""Indicators of the month, each defined once in words and as a formula; the page prints the same definition.

EN 13306 is vocabulary and holds no formulas, EN 15341 lists indicators but leaves factors open: so each indicator says
here what is counted. Times are instants with a zone, dates are the plant's.
"""

from __future__ import annotations

import datetime as dt
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Indicator:
    """One indicator: what it is, how it is formed, and what a person does about it.

    Attributes
    ----------
    key : str
    name : str
    unit : str
        Unit or kind of the figure.
    definition, formula : str
        In words, and as a formula in words.
    act : str
        What a reader does when it is bad.
    better : {"higher", "lower"}
    """

    key: str
    name: str
    unit: str
    definition: str
    formula: str
    act: str
    better: str


INDICATORS: dict[str, Indicator] = {
    each.key: each
    for each in (
        Indicator(
            "incidents",
            "Incidents per 1000 running hours",
            "per 1000 h",
            "Incidents of mistracking of all belts at times whose running hours are known, against those hours.",
            "1000 x incidents / running hours; interval exact for a Poisson count",
            "Open the belts with the highest rate; look for a cause to be cured first.",
            "lower",
        ),
        Indicator(
            "stop_minutes",
            "Minutes lost",
            "min",
            "Minutes that people or the control system wrote with incidents; trips without minutes are counted beside. "
            "Tonnes not conveyed follow where the belt's usual tonnage is known.",
            "sum of minutes lost; tonnes = minutes / 60 x usual tonnes per hour of the belt",
            "See which belts lost most; fill in minutes that are missing.",
            "lower",
        ),
        Indicator(
            "spilled",
            "Spilled",
            "t",
            "Tonnes written with incidents that spilled. Spills without tonnes are counted beside.",
            "sum of tonnes spilled",
            "See where; weigh or estimate spills that have no tonnes.",
            "lower",
        ),
        Indicator(
            "schedule_compliance",
            "Checks done in their window",
            "%",
            "Of the checks whose window closed in the month, the share done inside it, both ends included. Done before "
            "it opened is not inside. A check that was put off counts by its new window, in the month in which that "
            "closes; those that went to a later month are counted beside. Withdrawn before it closed, or tried and not "
            "safe to do, is left out.",
            "done inside the window / windows that closed in the month",
            "See what was late and why; ask for outage windows.",
            "higher",
        ),
        Indicator(
            "overdue",
            "Checks late at the end of the month",
            "checks",
            "Open checks whose window had closed, by whole days since. Late begins at 00:00 of the next day.",
            "count by age: up to 7, 8 to 30, more than 30 days",
            "Plan those late by more than 30 days, or decide that they are not needed.",
            "lower",
        ),
        Indicator(
            "days_to_close",
            "Days to close an action",
            "d",
            "Median of whole days from raising to closing, of actions closed in the month; beside it the oldest open "
            "one.",
            "median of (closed - raised)",
            "Ask the owner of the oldest open action what is in the way.",
            "lower",
        ),
        Indicator(
            "availability",
            "Devices in service and sound",
            "%",
            "Of the days that devices stood in their places and a check had been done there, the share without a spell "
            "out of service and without a check at act that was not put right. Before its first check a device is not "
            "known to be sound: those days are counted beside.",
            "days in service and not at act / (days in place - days not known)",
            "See which devices stand without working.",
            "higher",
        ),
        Indicator(
            "cost",
            "Cost of mistracking",
            "money",
            "Minutes lost and tonnes spilled at the plant's own unit costs; repairs are not in it. A unit cost that "
            "the plant has not given is missing, never zero: the figure then reads “at least”.",
            "minutes / 60 x cost of an hour + tonnes x cost of a tonne",
            "Give the unit costs that are missing.",
            "lower",
        ),
    )
}


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
    places: Sequence[tuple[Span, Sequence[Span], dt.datetime | None]], start: dt.datetime, end: dt.datetime
) -> Availability:
    """Share of the device-days of a period that were neither out of service nor at act, of those that are known.

    Parameters
    ----------
    places : sequence of (span in place, spans lost, known since)
        Spans lost may overlap; an hour is lost once. Known since: the first check there, None where none was done; what
        lies before it is not known, unless it is lost.
    start, end : datetime
    """
    stood = lost = unknown = dt.timedelta()
    for (since, until), spells, known_since in places:
        low, high = max(since, start), min(until, end)
        if low >= high:
            continue
        stood += high - low
        known = high if known_since is None else min(max(known_since, low), high)
        unknown += known - low
        reached = low
        for begins, ends in sorted(spells):
            begins, ends = max(begins, reached), min(ends, high)
            if begins < ends:
                lost += ends - begins
                unknown -= max(min(ends, known) - begins, dt.timedelta())
                reached = ends
    day, judged = dt.timedelta(days=1), stood - unknown
    return Availability((judged - lost) / judged if judged else None, stood / day, lost / day, unknown / day)


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
