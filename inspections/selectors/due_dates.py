"""When checks fall due: gathers what the book knows of belts, outages and earlier checks, and asks the calculation.

Unknown days within the recorded time count at the recent daily hours: a belt whose meter was not read did not stand
still because of it. How many days were filled in that way is said in the words of the task.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any

import numpy as np
from numpy.typing import NDArray

from inspections.calc.due_dates import (
    AS_STATED,
    DailyHours,
    DueDate,
    DueRule,
    Shortening,
    bedding_in_due,
    day_reached,
    next_due,
    next_fixed,
    recent_daily_hours,
)
from inspections.models import CheckPlan
from plant.calc.calendar import local_day_bounds
from plant.calc.reasons import Reason
from plant.calc.running_hours import Ledger
from plant.models import Conveyor, OutageWindow
from plant.selectors.running_hours import ledgers_of

# Days that the forecast of daily hours looks back (common practice, no source).
RECENT_DAYS = 42
# Share of a day that must be known for its hours to count as known (common practice, no source).
LEAST_COVERAGE = 0.9


@dataclass(frozen=True)
class BeltHours:
    """Running hours of one belt by local day from `first_day` to yesterday (NaN where unknown), and what to expect."""

    first_day: date
    by_day: NDArray[np.float64]
    recent: DailyHours
    outages: tuple[tuple[date, date], ...]

    @property
    def as_of(self) -> date:
        return self.first_day + timedelta(days=len(self.by_day) - 1)

    def since(self, last_done_on: date) -> tuple[date, NDArray[np.float64], int]:
        """First day after that day, hours by day with unknown days filled in, and how many were filled in."""
        start = max(0, (last_done_on - self.first_day).days + 1)
        found = self.by_day[start:].copy()
        unknown = np.isnan(found)
        if self.recent.per_day is not None:
            planned = np.array(
                [in_outage(self.first_day + timedelta(days=start + n), self.outages) for n in range(len(found))],
                dtype=bool,
            )
            found[unknown] = np.where(planned[unknown], 0.0, self.recent.per_day) if unknown.any() else 0.0
        return self.first_day + timedelta(days=start), found, int(unknown.sum())


def in_outage(day: date, outages: Iterable[tuple[date, date]]) -> bool:
    return any(first <= day <= last for first, last in outages)


def whole_days(starts_at: datetime, ends_at: datetime, zone: tzinfo) -> tuple[date, date] | None:
    """The local days that lie wholly inside a window; a stop of some hours takes no day away."""
    start, end = starts_at.astimezone(zone), ends_at.astimezone(zone)
    first = start.date() if start.time() == time() else start.date() + timedelta(days=1)
    last = end.date() - timedelta(days=1)
    return (first, last) if first <= last else None


def belts_hours(
    conveyors: Iterable[Conveyor], *, first_days: Mapping[int, date], today: date, zone: tzinfo
) -> dict[int, BeltHours]:
    """Hours by day of several belts from their first day of interest on; three queries whatever their number."""
    belts = list(conveyors)
    outages: dict[int, list[tuple[date, date]]] = defaultdict(list)
    from_then = datetime.combine(today - timedelta(days=RECENT_DAYS), time(), tzinfo=UTC)
    for belt_id, starts_at, ends_at in OutageWindow.objects.filter(
        conveyor__in=belts, ends_at__gt=from_then
    ).values_list("conveyor_id", "starts_at", "ends_at"):
        days = whole_days(starts_at, ends_at, zone)
        if days:
            outages[belt_id].append(days)
    known = {}
    ledgers = ledgers_of(belts)
    for belt in belts:
        first = min(first_days.get(belt.pk, today), today - timedelta(days=RECENT_DAYS))
        by_day = hours_by_day(ledgers[belt.pk], first, today, zone)
        recent_from = len(by_day) - RECENT_DAYS
        planned = [in_outage(first + timedelta(days=n), outages[belt.pk]) for n in range(recent_from, len(by_day))]
        known[belt.pk] = BeltHours(
            first_day=first,
            by_day=by_day,
            recent=recent_daily_hours(by_day[recent_from:], in_outage=np.array(planned, dtype=bool)),
            outages=tuple(sorted(outages[belt.pk])),
        )
    return known


def needs_hours(plan: CheckPlan) -> bool:
    """Whether the hours of a belt move this plan's dates."""
    return any(each is not None for each in (plan.interval_h, plan.bedding_in_h, plan.long_day_h))


def shortening_on(plan: CheckPlan, conveyor: Conveyor, hours: BeltHours | None) -> Shortening:
    return plan.shortening_at(conveyor, hours.recent.running_day_h if hours is not None else None)


def forecast(
    plan: CheckPlan,
    conveyor: Conveyor,
    *,
    last_done_on: date,
    today: date,
    hours: BeltHours | None,
    is_bedding_in: bool = False,
) -> DueDate:
    """When the plan's check is due after `last_done_on` by its intervals, from what is known at the start of `today`.

    The bedding-in check is not shortened: it follows what was done to the device, not its duty.
    """
    interval_h = plan.bedding_in_h if is_bedding_in else plan.interval_h
    interval_days = plan.bedding_in_days if is_bedding_in else plan.interval_days
    shortening = AS_STATED if is_bedding_in else shortening_on(plan, conveyor, hours)
    known: dict[str, Any] = {
        "window_before_days": plan.opens_days_before,
        "window_after_days": plan.closes_days_after,
    }
    n_filled = 0
    if interval_h is not None and hours is not None:
        first, by_day, n_filled = hours.since(last_done_on)
        known.update(
            daily_hours=hours.recent.per_day,
            outages=hours.outages,
        )
        if by_day.size and first <= hours.as_of:
            counted = by_day * shortening.weights(first, by_day.size, by="hours")
            known.update(
                hours_since=float(np.nansum(counted)),
                as_of=hours.as_of,
                reached_on=day_reached(first, counted, interval_h),
            )
    if is_bedding_in:
        known.setdefault("daily_hours", None)
        due = bedding_in_due(last_done_on, hours=interval_h, days=interval_days, **known)
    else:
        due = next_due(
            last_done_on, interval_days=interval_days, interval_hours=interval_h, shortening=shortening, **known
        )
    if n_filled and due.by == "hours":
        due = replace(due, reason=Reason(DueRule.ESTIMATED, {"due": due.reason, "n": n_filled}))
    return due


def fixed_due(plan: CheckPlan, *, kept: date | None, installed_on: date, back_on: date | None) -> DueDate:
    """The next fixed date of a plan at a device; of those in a spell out of service the last, which is due after it."""
    rule = plan.fixed_dates
    if rule is None:
        raise ValueError(f"{plan} keeps no fixed dates; give a plan that does")
    return next_fixed(
        rule,
        kept=kept,
        not_before=max(installed_on, plan.fixed_since or installed_on),
        resting_until=back_on,
        window_before_days=plan.opens_days_before,
        window_after_days=plan.closes_days_after,
    )


def hours_by_day(ledger: Ledger, first: date, today: date, zone: tzinfo) -> NDArray[np.float64]:
    """Running hours of each local day from `first` to yesterday; NaN where most of the day is unknown."""
    bounds = [local_day_bounds(first + timedelta(days=n), zone) for n in range((today - first).days)]
    known = ledger.hours_many([start for start, _end in bounds], [end for _start, end in bounds])
    enough = known.coverage >= LEAST_COVERAGE
    # A log that misses a few minutes of a day speaks for the whole of it.
    whole = known.running_h / np.where(enough, known.coverage, 1.0)
    return np.where(enough, np.minimum(whole, known.elapsed_h), np.nan)
