"""Whether a trial run can have been watched as it was entered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

TIME_SLACK = dt.timedelta(minutes=1)  # times are written down to the minute


class TimeRule(StrEnum):
    """Why the times of a trial run cannot be as they were entered."""

    SINCE_LOCKS = "since_locks"
    BEFORE_LOCKS = "before_locks"
    NOT_OVER = "not_over"
    OVERLAP = "overlap"


@dataclass(frozen=True)
class Spell:
    """A trial run of the belt that is in the book; `job` names the job where it is another one."""

    begins_at: dt.datetime
    ends_at: dt.datetime
    is_loaded: bool
    job: str = ""


@dataclass(frozen=True)
class TimeDoubt:
    """One reason why a run cannot have been watched as entered: the rule and what it compares.

    `against`: when the locks came back, what time it was when the run was entered, or when the other run began.
    `apart_s`: what has passed since the locks came back or since the run began, by how much it began too early, or how
    long both runs overlap [s].
    """

    rule: TimeRule
    minutes: float
    begins_at: dt.datetime
    against: dt.datetime
    apart_s: float
    other: Spell | None = None


def doubts_about_time(
    begins_at: dt.datetime,
    minutes: float,
    *,
    locks_at: dt.datetime,
    now: dt.datetime,
    others: Iterable[Spell] = (),
    is_start_given: bool = True,
) -> tuple[TimeDoubt, ...]:
    """Why a trial run cannot have been watched as it was entered; nothing is put right here.

    Parameters
    ----------
    begins_at : datetime
        When it began, as entered; where no start was given: so long before `now` as it was watched.
    minutes : float
        How long it was watched, above 0 [min].
    locks_at : datetime
        When the locks came back: the belt cannot have run before.
    now : datetime
        When it is entered: a run that was watched is over by then.
    others : iterable of Spell
        The other trial runs of the same belt; a belt makes one run at a time.
    is_start_given : bool, optional
        Whether the start was entered.

    Returns
    -------
    tuple of TimeDoubt
        Empty where the times can be so, to the minute.

    Raises
    ------
    ValueError
        If minutes is not above 0.

    Examples
    --------
    >>> at = dt.datetime(2026, 11, 20, 16, 37, 45)
    >>> now = at + dt.timedelta(seconds=75)
    >>> begins_at = now - dt.timedelta(minutes=31)
    >>> [(each.rule.value, each.apart_s) for each in
    ...     doubts_about_time(begins_at, 31, locks_at=at, now=now, is_start_given=False)]
    [('since_locks', 75.0)]
    """
    if not minutes > 0:
        raise ValueError(f"minutes is {minutes:g} min; give a time above 0 min")
    ends_at = begins_at + dt.timedelta(minutes=minutes)
    found = []
    if begins_at < locks_at - TIME_SLACK:
        if is_start_given:
            early_s = (locks_at - begins_at).total_seconds()
            found.append(TimeDoubt(TimeRule.BEFORE_LOCKS, minutes, begins_at, locks_at, early_s))
        else:
            passed_s = (now - locks_at).total_seconds()
            found.append(TimeDoubt(TimeRule.SINCE_LOCKS, minutes, begins_at, locks_at, passed_s))
    if ends_at > now + TIME_SLACK:
        found.append(TimeDoubt(TimeRule.NOT_OVER, minutes, begins_at, now, (now - begins_at).total_seconds()))
    for each in others:
        shared = min(ends_at, each.ends_at) - max(begins_at, each.begins_at)
        if shared > TIME_SLACK:
            found.append(TimeDoubt(TimeRule.OVERLAP, minutes, begins_at, each.begins_at, shared.total_seconds(), each))
    return tuple(found)
