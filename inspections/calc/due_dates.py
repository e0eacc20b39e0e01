"""When a check is due next: by days, by running hours, whichever comes first; or on fixed dates.

Steps for one check on one installation:

1. **By days**: the day it was last done plus the interval in days.
2. **By hours**: the day on which the running hours since then reach the interval in hours. Where the ledger already
   shows that day, it is taken (`day_reached`); else it is forecast from the recent daily hours (`recent_daily_hours`),
   and days of outages known in advance count no hours.
3. **Due** is the earlier of the two. A **window** opens some days before and closes some days after it; the check is
   **overdue** from the start of the next day in the plant's time zone, never because a job has set a mark.

Doing a check early or late moves the next one from the day it was done. A plan may hold **fixed dates** instead: every
so many days or months from an anchor day, or a rule of RFC 5545. Months are counted from the anchor each time and never
chained: from 31 January they give 28 February and 31 March. A date that was missed stays due, and no late close moves
the next one.

An interval may be **shortened** (`Shortening`): in some months, on belts of a hard duty, on belts that run long days.
A day on which it counts at 50 % uses up two days of the interval. Where several apply on a day the strongest counts,
they are not multiplied.

All dates are days of the plant's calendar. An outage takes out whole days.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from typing import Literal

import numpy as np
from dateutil.relativedelta import relativedelta
from numpy.typing import ArrayLike, NDArray

from inspections.calc.fixed_dates import LONGEST_INTERVAL_DAYS, FixedDates
from plant.calc.reasons import Reason, Values, Word

# A forecast farther away than this says nothing (about twenty years).
FARTHEST_DAYS = 7305
LONGEST_INTERVAL_HOURS = 100_000.0
LEAST_SHARE = 0.05


class DueRule(StrEnum):
    """Why a check is due on its day, or has none; what is said of the hours that a forecast takes."""

    TOO_FEW_DAYS = "due.too_few_days"
    STOOD_STILL = "due.stood_still"
    AFTER_DAYS = "due.after_days"
    AFTER_HOURS = "due.after_hours"
    REACHED_ON = "due.reached_on"
    REACHED_BY = "due.reached_by"
    HOURS_UNKNOWN = "due.hours_unknown"
    NOT_IN_TWENTY_YEARS = "due.not_in_twenty_years"
    CANNOT_BE_DATED = "due.cannot_be_dated"
    BESIDES = "due.besides"
    FIXED_DATE = "due.fixed_date"
    SHORTENED_TO = "due.shortened_to"
    SHORTENED = "due.shortened"
    SHARE_OF_DAYS = "due.share_of_days"
    AND = "due.and"
    ESTIMATED = "due.estimated"
    ASKED_SINCE = "due.asked_since"
    WEAR = "due.wear"


@dataclass(frozen=True)
class DailyHours:
    """Running hours to expect on a day without an outage; None with reasons where too little is known.

    `per_day` [h] is `running_day_h` (median of the days that ran [h]) times `running_share` (days that ran among those
    known [-]); `n_known` days went into it.
    """

    per_day: float | None
    running_day_h: float | None
    running_share: float | None
    n_known: int
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class DueDate:
    """The day a check is due, its window, which interval decided and why; no day where none can be told.

    `fixed_on` is the fixed date that it stands for; `shortened_by` names what shortened the interval that decided.
    """

    due_on: date | None
    opens_on: date | None
    closes_on: date | None
    by: Literal["days", "hours", "date"] | None
    reason: Reason
    fixed_on: date | None = None
    shortened_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class Shortening:
    """Shares of an interval that hold, each above 0 to 1 (1: not shortened) [-].

    Attributes
    ----------
    season : float
        In the `season_months` (1 to 12).
    duty : float
        On this belt because of what it carries.
    long_day : float
        On this belt because it runs long days. It shortens intervals in days only: an interval in running hours takes
        long days into account already.

    Raises
    ------
    ValueError
        If a share or a month is outside its range.

    Examples
    --------
    >>> Shortening(season_months=frozenset({12, 1}), season=0.5, duty=0.8).share(12, by="days")
    (0.5, 'season')
    """

    season_months: frozenset[int] = frozenset()
    season: float = 1.0
    duty: float = 1.0
    long_day: float = 1.0

    def __post_init__(self) -> None:
        for name in ("season", "duty", "long_day"):
            if not LEAST_SHARE <= getattr(self, name) <= 1:
                raise ValueError(f"{name} is {getattr(self, name)}; give a share of the interval, {LEAST_SHARE} to 1")
        wrong = [month for month in self.season_months if not 1 <= month <= 12]
        if wrong:
            raise ValueError(f"season_months holds {wrong[0]}; give months from 1 to 12")

    def share(self, month: int, *, by: Literal["days", "hours"]) -> tuple[float, str]:
        """The share of the interval that holds in a month, and what decides it; 1 and nothing where none does."""
        known = [(self.duty, "duty"), (self.season if month in self.season_months else 1.0, "season")]
        if by == "days":
            known.append((self.long_day, "long_day"))
        least, name = min(known, key=lambda each: each[0])
        return (least, name) if least < 1 else (1.0, "")

    def weights(self, first_day: date, n_days: int, *, by: Literal["days", "hours"]) -> NDArray[np.float64]:
        """How many days of the interval each day uses up: 1 / share, for n days from the first on [-]."""
        of_month = np.array([0.0, *(1 / self.share(month, by=by)[0] for month in range(1, 13))])
        return of_month[[(first_day + timedelta(days=n)).month for n in range(n_days)]]


AS_STATED = Shortening()


def recent_daily_hours(
    daily_hours: ArrayLike, *, in_outage: ArrayLike | None = None, least_days: int = 7
) -> DailyHours:
    """Running hours to expect a day: median of the days that ran times the share of days that ran.

    The median is not moved by one double shift or one day cut short; the share keeps a belt that runs five days of
    seven from being forecast as if it ran on all. Days of planned outages are left out of both, because the forecast
    takes known outages out again.

    Parameters
    ----------
    daily_hours : array of float, shape (n,)
        Running hours of recent days, 0 to 25, NaN where unknown [h]. (A local day has 25 h when clocks go back.)
    in_outage : array of bool, shape (n,), optional
        True on days of outages that were planned.
    least_days : int, optional
        Known days below which nothing is forecast, 1 or more [d]. Common practice, no source.

    Returns
    -------
    DailyHours
        per_day [h], running_day_h [h], running_share [-], n_known [d], reasons.

    Raises
    ------
    ValueError
        If hours are below 0 or above 25, shapes differ, or least_days is below 1.

    Examples
    --------
    >>> recent_daily_hours([10, 10, 12, 10, 11, 0, 0]).per_day == 10 * 5 / 7
    True
    """
    hours = np.asarray(daily_hours, dtype=float)
    if hours.ndim != 1:
        raise ValueError(f"daily_hours has {hours.ndim} dimensions; give one number for each day")
    if np.any((hours < 0) | (hours > 25)):
        wrong = hours[(hours < 0) | (hours > 25)][0]
        raise ValueError(f"daily_hours holds {wrong:g} h in one day; give 0 to 25 h, NaN where unknown")
    if least_days < 1:
        raise ValueError(f"least_days is {least_days}; give 1 day or more")
    planned = np.zeros(hours.shape, dtype=bool) if in_outage is None else np.asarray(in_outage, dtype=bool)
    if planned.shape != hours.shape:
        raise ValueError(f"in_outage has {planned.size} days and daily_hours {hours.size}; give one for each day")
    known = hours[~planned & ~np.isnan(hours)]
    if known.size < least_days:
        too_few = Reason(DueRule.TOO_FEW_DAYS, {"n": known.size, "least": least_days})
        return DailyHours(None, None, None, known.size, (too_few,))
    ran = known[known > 0]
    if ran.size == 0:
        return DailyHours(0.0, None, 0.0, known.size, (Reason(DueRule.STOOD_STILL, {"n": known.size}),))
    running_day, share = float(np.median(ran)), float(ran.size / known.size)
    return DailyHours(running_day * share, running_day, share, known.size)


def day_reached(first_day: date, daily_hours: ArrayLike, hours: float) -> date | None:
    """The day on which recorded running hours reached a number of hours.

    Parameters
    ----------
    first_day : date
        Day of the first entry: the day after the check was done.
    daily_hours : array of float, shape (n,)
        Running hours of each day from then on, NaN where unknown (counts as none) [h].
    hours : float
        Hours to reach, above 0 [h].

    Returns
    -------
    date or None
        None where they have not been reached.

    Raises
    ------
    ValueError
        If hours are not above 0.
    """
    if not hours > 0:
        raise ValueError(f"hours is {hours} h; give running hours above 0")
    total = np.cumsum(np.nan_to_num(np.asarray(daily_hours, dtype=float)))
    # The slack of a thousandth of a second keeps 10 times 0.1 h equal to 1 h.
    passed = np.flatnonzero(total >= hours - 1e-7)
    return first_day + timedelta(days=int(passed[0])) if passed.size else None


def next_due(
    last_done_on: date,
    *,
    interval_days: int | None = None,
    interval_hours: float | None = None,
    hours_since: float | None = None,
    as_of: date | None = None,
    reached_on: date | None = None,
    daily_hours: float | None = None,
    outages: Iterable[tuple[date, date]] = (),
    window_before_days: int = 0,
    window_after_days: int = 0,
    shortening: Shortening = AS_STATED,
) -> DueDate:
    """The earlier of the date by days and the date by running hours, with its window.

    Parameters
    ----------
    last_done_on : date
        Day on which the check was last done (or the device was fitted).
    interval_days : int, optional
        Interval in days, 1 to 3650 [d].
    interval_hours : float, optional
        Interval in running hours, above 0 to 100 000 [h]. At least one of the two intervals is needed.
    hours_since : float, optional
        Running hours recorded since, to the end of `as_of`, 0 or more [h]. Left out: none recorded, the forecast
        starts on the day it was last done. Where the interval is shortened: each day's hours times its weight
        (`Shortening.weights`).
    as_of : date, optional
        Last day that `hours_since` counts; needed with it.
    reached_on : date, optional
        Day on which the ledger shows that the interval in hours was reached (`day_reached`). Without it a day in the
        past is estimated at the daily hours.
    daily_hours : float, optional
        Running hours to expect on a day without an outage, 0 to 25 [h]. Left out: unknown.
    outages : iterable of (first day, last day), optional
        Days, both included, on which the belt will not run.
    window_before_days, window_after_days : int, optional
        Days by which the window opens before and closes after the due date, 0 or more [d].
    shortening : Shortening, optional
        What shortens the intervals; left out: they hold as stated.

    Returns
    -------
    DueDate
        Without a date (and with the reason) only where there is no interval in days and the hours cannot be forecast.

    Raises
    ------
    ValueError
        If an input is outside its range, or no interval is given.

    Examples
    --------
    >>> due = next_due(date(2026, 1, 5), interval_days=90, interval_hours=500, daily_hours=10, window_after_days=7)
    >>> due.due_on.isoformat(), due.closes_on.isoformat(), due.by
    ('2026-02-24', '2026-03-03', 'hours')
    """
    _check_intervals(interval_days, interval_hours, window_before_days, window_after_days)
    by_days = None if interval_days is None else last_done_on + timedelta(days=days_held(
        last_done_on, interval_days, shortening
    ))  # fmt: skip
    by_hours, told = None, None
    if interval_hours is not None:
        by_hours, told = _due_by_hours(
            last_done_on, interval_hours, hours_since, as_of, reached_on, daily_hours, _merged(outages), shortening
        )
    if by_hours is not None and told is not None and (by_days is None or by_hours < by_days):
        names, said = _shortened(told, last_done_on, by_hours, shortening, "hours")
        due = _with_window(last_done_on, by_hours, "hours", said, window_before_days, window_after_days)
        return replace(due, shortened_by=names)
    if by_days is None:
        return DueDate(None, None, None, None, Reason(DueRule.CANNOT_BE_DATED, {"hours": told}))
    after = Reason(DueRule.AFTER_DAYS, {"days": interval_days, "last_done_on": last_done_on})
    names, said = _shortened(after, last_done_on, by_days, shortening, "days")
    # Why the hours did not decide matters only where they are unknown.
    if by_hours is None and told is not None:
        said = Reason(DueRule.BESIDES, {"due": said, "hours": told})
    due = _with_window(last_done_on, by_days, "days", said, window_before_days, window_after_days)
    return replace(due, shortened_by=names)


def days_held(last_done_on: date, interval_days: int, shortening: Shortening = AS_STATED) -> int:
    """Days of the calendar after which an interval in days is used up, where it is shortened on some of them.

    Parameters
    ----------
    last_done_on : date
        The first day that counts is the one after it.
    interval_days : int
        Interval as stated, 1 to 3650 [d].
    shortening : Shortening, optional

    Returns
    -------
    int
        1 to `interval_days` [d].

    Examples
    --------
    >>> days_held(date(2026, 9, 30), 62, Shortening(season_months=frozenset({11}), season=0.5))  # 31 in October
    47
    """
    if shortening == AS_STATED:
        return interval_days
    used = np.cumsum(shortening.weights(last_done_on + timedelta(days=1), interval_days, by="days"))
    return int(np.searchsorted(used, interval_days - 1e-7)) + 1


def next_fixed(
    rule: FixedDates,
    *,
    kept: date | None,
    not_before: date,
    resting_until: date | None = None,
    window_before_days: int = 0,
    window_after_days: int = 0,
) -> DueDate:
    """The fixed date that a check is due for next: the first one that was not kept, in the past too.

    Parameters
    ----------
    rule : FixedDates
    kept : date or None
        The last fixed date for which the check was done or given up by a person, whenever that was.
    not_before : date
        Dates before it are not asked for: the plan did not keep them yet, or the device was not fitted.
    resting_until : date, optional
        End of a spell in which nobody could be sent there. Of the dates up to it only the last is asked for.
    window_before_days, window_after_days
        As in `next_due`.

    Returns
    -------
    DueDate
        With `fixed_on`; `due_on` is the same day.

    Examples
    --------
    >>> rule = FixedDates(1, date(2026, 1, 31))
    >>> next_fixed(rule, kept=date(2026, 1, 31), not_before=date(2026, 1, 1)).due_on.isoformat()
    '2026-02-28'
    """
    _check_windows(window_before_days, window_after_days)
    # Two dates lie at most one interval, a month and some days apart, so one of them is in here.
    horizon = max(each for each in (kept, not_before, resting_until, rule.from_on) if each is not None)
    dates = [day for day in rule.until(horizon + relativedelta(months=rule.months + 2)) if day >= not_before]
    missing = [day for day in dates if kept is None or day > kept]
    if resting_until is not None:
        rested = [day for day in missing if day <= resting_until]
        missing = missing[max(len(rested) - 1, 0) :]
    day = missing[0]
    opens_on = day - timedelta(days=window_before_days)
    if kept is not None:
        opens_on = min(day, max(opens_on, kept + timedelta(days=1)))
    said = Reason(DueRule.FIXED_DATE, {"rule": rule.reason})
    return DueDate(day, opens_on, day + timedelta(days=window_after_days), "date", said, fixed_on=day)


def bedding_in_due(
    installed_on: date,
    *,
    hours: float | None,
    days: int | None,
    daily_hours: float | None,
    hours_since: float | None = None,
    as_of: date | None = None,
    reached_on: date | None = None,
    outages: Iterable[tuple[date, date]] = (),
    window_before_days: int = 0,
    window_after_days: int = 0,
) -> DueDate:
    """The check that follows every installation and part change: after hours or days, whichever comes first.

    Parameters
    ----------
    installed_on : date
        Day of the installation or part change.
    hours : float or None
        Running hours until the check; 24 to 72 is common practice, no source [h].
    days : int or None
        Days until the check at the latest [d].
    daily_hours, hours_since, as_of, reached_on, outages, window_before_days, window_after_days
        As in `next_due`.

    Returns
    -------
    DueDate
        As `next_due`.

    Raises
    ------
    ValueError
        As `next_due`.
    """
    return next_due(
        installed_on,
        interval_days=days,
        interval_hours=hours,
        hours_since=hours_since,
        as_of=as_of,
        reached_on=reached_on,
        daily_hours=daily_hours,
        outages=outages,
        window_before_days=window_before_days,
        window_after_days=window_after_days,
    )


def is_overdue(closes_on: date, today: date) -> bool:
    """True from the day after the window closed; both are days of the plant's calendar."""
    return today > closes_on


def overdue_age_days(closes_on: date, today: date) -> int:
    """Whole days since overdue began, at the start of the day after the window closed; 0 on that first day [d].

    One less than the days since the window closed, which pages call days late.
    """
    return max(0, (today - closes_on).days - 1)


def _due_by_hours(
    last_done_on: date,
    interval_hours: float,
    hours_since: float | None,
    as_of: date | None,
    reached_on: date | None,
    daily_hours: float | None,
    outages: Sequence[tuple[date, date]],
    shortening: Shortening,
) -> tuple[date | None, Reason]:
    """The date by running hours, and why it is that or there is none."""
    counted_to, so_far = _counted(last_done_on, hours_since, as_of)
    if daily_hours is not None and not 0 <= daily_hours <= 25:
        raise ValueError(f"daily_hours is {daily_hours} h; give 0 to 25 h, or leave it out where unknown")
    of: Values = {"interval_h": interval_hours}
    if reached_on is not None:
        if reached_on < last_done_on:
            raise ValueError(f"reached_on is {reached_on}, before last_done_on {last_done_on}; give a later day")
        return reached_on, Reason(DueRule.REACHED_ON, {**of, "on": reached_on})
    missing = interval_hours - so_far
    if missing <= 1e-7:
        # A day that moved on with the calendar would never become overdue, so the day of reaching is estimated.
        back = math.floor(-missing / daily_hours) if daily_hours else 0
        day = max(last_done_on, counted_to - timedelta(days=min(back, (counted_to - last_done_on).days)))
        return day, Reason(DueRule.REACHED_BY, {**of, "on": counted_to, "so_far_h": so_far})
    if daily_hours is None:
        return None, Reason(DueRule.HOURS_UNKNOWN)
    if daily_hours * FARTHEST_DAYS < missing:
        return None, Reason(DueRule.NOT_IN_TWENTY_YEARS, {**of, "too_few_h": daily_hours})
    said = Reason(DueRule.AFTER_HOURS, {**of, "last_done_on": last_done_on, "a_day_h": daily_hours})
    if shortening != AS_STATED:
        # Without an outage it is reached in time, so the days that outages take are all that is to be added.
        n_days = math.ceil(missing / daily_hours) + sum((last - first).days + 1 for first, last in outages)
        weights = shortening.weights(counted_to + timedelta(days=1), n_days, by="hours")
        for first, last in outages:
            begin = max((first - counted_to).days - 1, 0)
            weights[begin : max((last - counted_to).days, begin)] = 0.0
        reached = int(np.searchsorted(np.cumsum(weights) * daily_hours, missing - 1e-7)) + 1
        return counted_to + timedelta(days=reached), said
    day = counted_to + timedelta(days=math.ceil(missing / daily_hours - 1e-9))
    for first, last in outages:
        start = max(first, counted_to + timedelta(days=1))
        if last >= start and start <= day:
            day += last - start + timedelta(days=1)
    return day, said


def _shortened(
    said: Reason, last_done_on: date, due_on: date, shortening: Shortening, by: Literal["days", "hours"]
) -> tuple[tuple[str, ...], Reason]:
    """What shortened an interval on its way, and the reason with it: on how many days it counted at which share."""
    if shortening == AS_STATED:
        return (), said
    n_days = (due_on - last_done_on).days
    days = Counter(
        shortening.share((last_done_on + timedelta(days=n)).month, by=by)[::-1] for n in range(1, n_days + 1)
    )
    told = {name: (round(100 * share), n) for (name, share), n in sorted(days.items()) if name}
    if not told:
        return (), said
    if len(days) == 1:
        ((name, (share, _n)),) = told.items()
        return (name,), Reason(DueRule.SHORTENED_TO, {"due": said, "share": share, "what": Word(f"due.by_{name}")})
    first, *others = (
        Reason(DueRule.SHARE_OF_DAYS, {"days": n, "share": share, "what": Word(f"due.by_{name}")})
        for name, (share, n) in told.items()
    )
    for each in others:
        first = Reason(DueRule.AND, {"one": first, "other": each})
    return tuple(told), Reason(DueRule.SHORTENED, {"due": said, "shares": first})


def _counted(last_done_on: date, hours_since: float | None, as_of: date | None) -> tuple[date, float]:
    """The day to which hours are recorded, and those hours."""
    if hours_since is None:
        return last_done_on, 0.0
    if not 0 <= hours_since < math.inf:
        raise ValueError(f"hours_since is {hours_since} h; give running hours from 0 up, or leave them out")
    if as_of is None:
        raise ValueError(f"hours_since is {hours_since:g} h without as_of; give the last day that they count")
    if as_of < last_done_on:
        raise ValueError(f"as_of is {as_of}, before last_done_on {last_done_on}; give that day or a later one")
    return as_of, hours_since


def _with_window(
    last_done_on: date, due_on: date, by: Literal["days", "hours"], reason: Reason, before: int, after: int
) -> DueDate:
    # A window that opens before the last check was done would let one visit count twice.
    opens_on = min(due_on, max(due_on - timedelta(days=before), last_done_on + timedelta(days=1)))
    return DueDate(due_on, opens_on, due_on + timedelta(days=after), by, reason)


def _merged(outages: Iterable[tuple[date, date]]) -> list[tuple[date, date]]:
    """Outages in order, with those that touch or overlap made one."""
    merged: list[tuple[date, date]] = []
    for first, last in sorted(outages):
        if last < first:
            raise ValueError(f"an outage lasts from {first} to {last}; give the first day before the last")
        if merged and first <= merged[-1][1] + timedelta(days=1):
            merged[-1] = (merged[-1][0], max(merged[-1][1], last))
        else:
            merged.append((first, last))
    return merged


def _check_intervals(days: int | None, hours: float | None, before: int, after: int) -> None:
    if days is None and hours is None:
        raise ValueError("neither interval_days nor interval_hours is given; give at least one")
    if days is not None and not 1 <= days <= LONGEST_INTERVAL_DAYS:
        raise ValueError(f"interval_days is {days}; give 1 to {LONGEST_INTERVAL_DAYS} days")
    if hours is not None and not 0 < hours <= LONGEST_INTERVAL_HOURS:
        raise ValueError(f"interval_hours is {hours} h; give above 0 to {LONGEST_INTERVAL_HOURS:g} h")
    _check_windows(before, after)


def _check_windows(before: int, after: int) -> None:
    for name, length in (("window_before_days", before), ("window_after_days", after)):
        if not 0 <= length <= LONGEST_INTERVAL_DAYS:
            raise ValueError(f"{name} is {length}; give 0 to {LONGEST_INTERVAL_DAYS} days")
