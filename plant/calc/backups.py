"""Backups of the book: which of them are kept, and by what name each thing is called that may go wrong with one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Hashable, Iterable, Sequence
from enum import StrEnum
from typing import TypeVar

Named = TypeVar("Named")


class BackupOccasion(StrEnum):
    """Why a backup was made."""

    NIGHT = "backup.night"
    BY_HAND = "backup.by_hand"
    UPGRADE = "backup.upgrade"


class BackupRule(StrEnum):
    """What stood in the way of a backup, of its check or of putting it back."""

    # Making one.
    FOLDER_MISSING = "backup.folder_missing"
    FOLDER_CLOSED = "backup.folder_closed"
    FOLDER_AMONG_FILES = "backup.folder_among_files"
    NO_ROOM = "backup.no_room"
    DISK_FULL = "backup.disk_full"
    NO_BOOK = "backup.no_book"
    BOOK_DAMAGED = "backup.book_damaged"
    BOOK_OUT_OF_REACH = "backup.book_out_of_reach"
    FILE_UNREADABLE = "backup.file_unreadable"
    BUSY = "backup.busy"
    DATABASE_REFUSED = "backup.database_refused"
    PROGRAM_MISSING = "backup.program_missing"
    PROGRAM_FAILED = "backup.program_failed"
    # Looking at one.
    NOT_THERE = "backup.not_there"
    NOT_READABLE = "backup.not_readable"
    NO_BACKUP = "backup.no_backup"
    MEMBER_CHANGED = "backup.member_changed"
    MEMBER_STRANGE = "backup.member_strange"
    LATER_FORM = "backup.later_form"
    BOOK_NOT_WHOLE = "backup.book_not_whole"
    ROWS_DIFFER = "backup.rows_differ"
    # Putting one back.
    LATER_BOOK = "backup.later_book"
    BOOK_THERE = "backup.book_there"
    NO_ROOM_TO_UNPACK = "backup.no_room_to_unpack"
    DATA_CLOSED = "backup.data_closed"
    DATA_DISK_FULL = "backup.data_disk_full"
    NEEDS_POSTGRES = "backup.needs_postgres"
    DATABASE_NOT_EMPTY = "backup.database_not_empty"
    ROW_NOT_TAKEN = "backup.row_not_taken"
    CARRIED_DIFFERS = "backup.carried_differs"
    # Bringing a book up to date.
    UPGRADE_FAILED = "backup.upgrade_failed"
    BOOK_OPEN = "backup.book_open"


def kept_by_rule(moments: Iterable[dt.datetime], *, days: int, weeks: int, months: int) -> frozenset[dt.datetime]:
    """The moments of the backups that are kept.

    The newest of each of the last days, of the last weeks (from Monday) and of the last months on which there is one at
    all, and everything of the newest day. What counts is which days have a backup and not what day it is: a site that
    stood still, or whose clock went wrong, loses none by that.

    Parameters
    ----------
    moments : iterable of datetime
        When each good backup was made, all in one time zone.
    days, weeks, months : int
        For how many of them one is kept [-], each at least 0.

    Returns
    -------
    frozenset of datetime
        Never without the newest.

    Raises
    ------
    ValueError
        If a number is below 0.

    Examples
    --------
    >>> made = [dt.datetime(2026, 11, day, 2) for day in (27, 28, 29, 30)]
    >>> [each.day for each in sorted(kept_by_rule(made, days=2, weeks=2, months=1))]
    [29, 30]
    """
    if min(days, weeks, months) < 0:
        raise ValueError(f"days, weeks and months are {days}, {weeks}, {months}; give numbers from 0 on")
    newest_first = sorted(set(moments), reverse=True)
    if not newest_first:
        return frozenset()
    newest_day = newest_first[0].date()
    kept = {each for each in newest_first if each.date() == newest_day}
    kept |= _newest_of_each(newest_first, days, lambda moment: moment.date())
    kept |= _newest_of_each(newest_first, weeks, lambda moment: moment.isocalendar()[:2])
    kept |= _newest_of_each(newest_first, months, lambda moment: (moment.year, moment.month))
    return frozenset(kept)


def _newest_of_each(
    newest_first: list[dt.datetime], count: int, span_of: Callable[[dt.datetime], Hashable]
) -> set[dt.datetime]:
    """The first of each of so many spans, the newest spans first."""
    firsts: dict[Hashable, dt.datetime] = {}
    for moment in newest_first:
        firsts.setdefault(span_of(moment), moment)
    return set(list(firsts.values())[:count])


def to_be_looked_over(newest_first: Sequence[Named], on: dt.date) -> list[Named]:
    """Which backups are looked over again on a day: the newest, and one of the others in turn.

    Parameters
    ----------
    newest_first : sequence
        The backups at hand, or their names.
    on : date
        The day; the turn goes by the calendar, so nothing has to be remembered.

    Returns
    -------
    list
        At most two of them.

    Examples
    --------
    >>> [to_be_looked_over("abc", dt.date(2026, 11, day)) for day in (29, 30)]
    [['a', 'b'], ['a', 'c']]
    """
    newest, others = list(newest_first[:1]), newest_first[1:]
    return newest + ([others[on.toordinal() % len(others)]] if others else [])


def is_due(now: dt.datetime, last_good_at: dt.datetime | None, *, hour: int) -> bool:
    """Whether the backup of the night is still to be made: none is good since that hour came last.

    Parameters
    ----------
    now, last_good_at : datetime
        Both in one time zone; `last_good_at` is None where there is no good one.
    hour : int
        At which the night's backup is due, 0 to 23 [h].

    Examples
    --------
    >>> at = dt.datetime(2026, 11, 30, 9)
    >>> is_due(at, at.replace(hour=3), hour=2), is_due(at, at.replace(hour=1), hour=2), is_due(at, None, hour=2)
    (False, True, True)
    """
    due = now.replace(hour=hour, minute=0, second=0, microsecond=0)
    if due > now:
        due -= dt.timedelta(days=1)
    return last_good_at is None or not due <= last_good_at <= now
