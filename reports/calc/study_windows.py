"""Which time before and after an installation is compared, and which is left out and why.

1. *Before* is the given number of months up to the installation (of the first device, where several are judged as one).
2. *Settling-in* is left out: so many days, or so many running hours, whichever comes first, after the last device.
3. *After* runs from there until the removal, or until now.
4. A *cut* is another change to the belt. Before starts after the last cut that lies before the installation; after
   ends at the first cut that lies after it. A comparison never reaches across a cut.

What is compared with what is thus fixed by dates alone, before anyone looks at a count.
"""

from __future__ import annotations

import bisect
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from enum import StrEnum
from typing import Literal

from plant.calc.calendar import add_months, local_month_bounds, months_between
from plant.calc.reasons import Reason
from plant.calc.running_hours import Ledger

# The moment at which settling-in has its running hours is looked for on this grid.
GRID = timedelta(hours=1)


@dataclass(frozen=True)
class Window:
    """From an instant (included) until another (not included)."""

    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        if self.end < self.start:
            raise ValueError(f"window ends at {self.end}, before its start {self.start}; give a later end")

    @property
    def is_empty(self) -> bool:
        return self.start == self.end


class WindowRule(StrEnum):
    """What cuts a comparison, and why a stretch of time is in neither of its windows."""

    WORK = "window.work"
    OUT_OF_SERVICE = "window.out_of_service"
    OVERLAPPING_FITTED = "window.overlapping_fitted"
    OVERLAPPING_REMOVED = "window.overlapping_removed"
    LAST_SOUND = "window.last_sound"
    BEFORE_A_CHANGE = "window.before_a_change"
    AFTER_A_CHANGE = "window.after_a_change"
    SETTLING_IN = "window.settling_in"
    BEFORE_THE_SET_WINDOW = "window.before_the_set_window"
    AFTER_THE_SET_WINDOW = "window.after_the_set_window"
    AFTER_THE_REMOVAL = "window.after_the_removal"


@dataclass(frozen=True)
class Cut:
    """Another change to the belt, and the side whose window it shortened ("" where it shortened none)."""

    at: datetime
    what: Reason
    side: Literal["before", "after", ""] = ""


@dataclass(frozen=True)
class StudyWindows:
    """What is compared, what is left out between, and the cuts that shortened a side."""

    before: Window
    settling: Window
    after: Window
    cuts: tuple[Cut, ...] = ()


@dataclass(frozen=True)
class Piece:
    """A local month or the part of one that lies on one side of every edge."""

    month: str
    window: Window


def months_earlier(moment: datetime, months: int, tz: tzinfo) -> datetime:
    """The same wall time so many months before, in UTC.

    Parameters
    ----------
    moment : datetime
        With a zone.
    months : int
        0 or more.
    tz : tzinfo
        The plant's zone.

    Returns
    -------
    datetime
        UTC.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> months_earlier(datetime(2026, 5, 31, 8, tzinfo=UTC), 3, ZoneInfo("Europe/Berlin")).isoformat()
    '2026-02-28T09:00:00+00:00'
    """
    local = moment.astimezone(tz)
    earlier = datetime.combine(add_months(local.date(), -months), local.time(), tzinfo=tz)
    return earlier.astimezone(UTC)


def settling_end(since: datetime, *, days: float, running_h: float, ledger: Ledger) -> datetime:
    """When settling-in is over: after so many days or so many running hours, whichever comes first.

    Parameters
    ----------
    since : datetime
        Last installation, with a zone.
    days : float
        0 or more [d].
    running_h : float
        0 or more [h]; unknown hours do not count, so that then the days decide.
    ledger : Ledger
        Running hours of the belt.

    Returns
    -------
    datetime
        To the full hour after `since`.

    Raises
    ------
    ValueError
        If days or running hours are negative.
    """
    if days < 0 or running_h < 0:
        raise ValueError(f"settling-in is {days} days or {running_h} h; give 0 or more of both")
    latest = since + timedelta(days=days)
    n_steps = -(-int((latest - since).total_seconds()) // int(GRID.total_seconds()))
    if n_steps == 0 or running_h == 0:
        return since if running_h == 0 else latest

    def run_by(step: int) -> float:
        return ledger.hours(since, min(since + step * GRID, latest)).running_h

    # Hours only grow: the first step that has enough is found by halving.
    step = bisect.bisect_left(range(n_steps + 1), running_h, lo=1, key=run_by)
    return min(since + step * GRID, latest)


def lay_windows(
    *,
    first_installed_at: datetime,
    settled_at: datetime,
    until: datetime,
    before_months: int,
    cuts: Iterable[Cut],
    tz: tzinfo,
    after_from: datetime | None = None,
) -> StudyWindows:
    """The windows of one comparison.

    Parameters
    ----------
    first_installed_at : datetime
        First installation of the group, with a zone.
    settled_at : datetime
        End of settling-in after the last one.
    until : datetime
        Removal of the first one removed, or now.
    before_months : int
        Length of the window before, 1 or more.
    cuts : iterable of Cut
        Other changes to the belt, in any order.
    tz : tzinfo
        The plant's zone.
    after_from : datetime, optional
        Start of the window after, where an engineer set it; else the end of settling-in.

    Returns
    -------
    StudyWindows
        A window that a cut or a young installation leaves nothing of is empty.

    Raises
    ------
    ValueError
        If before_months is below 1.
    """
    if before_months < 1:
        raise ValueError(f"before_months is {before_months}; give 1 or more")
    ordered = sorted(cuts, key=lambda cut: cut.at)
    before_start = months_earlier(first_installed_at, before_months, tz)
    earlier = [cut for cut in ordered if before_start < cut.at <= first_installed_at]
    if earlier:
        before_start = earlier[-1].at
    after_start = settled_at if after_from is None else max(after_from, first_installed_at)
    after_end = max(until, first_installed_at)
    later = [cut for cut in ordered if first_installed_at < cut.at < after_end]
    if later:
        after_end = later[0].at
    kept = [Cut(cut.at, cut.what, "before") for cut in earlier[-1:]]
    kept += [Cut(cut.at, cut.what, "after") for cut in later[:1]]
    after_start = min(after_start, after_end)
    return StudyWindows(
        before=Window(before_start, first_installed_at),
        settling=Window(first_installed_at, after_start),
        after=Window(after_start, after_end),
        cuts=tuple(kept),
    )


def month_pieces(start: datetime, end: datetime, edges: Sequence[datetime], tz: tzinfo) -> tuple[Piece, ...]:
    """A stretch of time cut at the local months and at further edges, so that no piece lies on two sides.

    Parameters
    ----------
    start, end : datetime
        With a zone.
    edges : sequence of datetime
        Starts and ends of windows.
    tz : tzinfo
        The plant's zone.

    Returns
    -------
    tuple of Piece
        In order, without empty ones; their windows together are the whole stretch.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> at = datetime(2026, 1, 20, tzinfo=UTC)
    >>> edge = datetime(2026, 2, 10, tzinfo=UTC)
    >>> [piece.month for piece in month_pieces(at, datetime(2026, 3, 2, tzinfo=UTC), [edge], ZoneInfo("UTC"))]
    ['2026-01', '2026-02', '2026-02', '2026-03']
    """
    found = []
    for first in months_between(start, end, tz):
        low, high = local_month_bounds(first.year, first.month, tz)
        low, high = max(low, start), min(high, end)
        inner = sorted({edge for edge in edges if low < edge < high})
        for a, b in zip([low, *inner], [*inner, high], strict=True):
            found.append(Piece(f"{first:%Y-%m}", Window(a, b)))
    return tuple(found)
