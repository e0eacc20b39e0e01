"""What stands in an address or comes from a phone: keys, numbers, days, moments. Whatever else stands there is none."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable

from plant.calc.moments import is_in_calendar

# Keys are whole numbers of 8 bytes; eighteen digits always fit.
KEY = "[0-9]{1,18}"


def key_in(text: object) -> int | None:
    """The key of a row.

    Parameters
    ----------
    text : object
        As it stands in an address, a form or an entry of a phone; anything may.

    Returns
    -------
    int or None
        None where it is no key that a row can have.

    Examples
    --------
    >>> key_in("12"), key_in("-1"), key_in("9" * 30), key_in(None)
    (12, None, None, None)
    """
    return int(text) if isinstance(text, str) and re.fullmatch(KEY, text) else None


def keys_in(texts: Iterable[object]) -> set[int]:
    """The keys of rows among several texts.

    Parameters
    ----------
    texts : iterable of object
        Each as for `key_in`.

    Returns
    -------
    set of int
        Those that are keys.

    Examples
    --------
    >>> sorted(keys_in(["7", "x", "3"]))
    [3, 7]
    """
    return {key for each in texts if (key := key_in(each)) is not None}


def number_in(text: object) -> float | None:
    """A number with a point.

    Parameters
    ----------
    text : object
        As it stands in an address; anything may.

    Returns
    -------
    float or None
        None where it is no number, or an infinite one.

    Examples
    --------
    >>> number_in("12.5"), number_in("1e999"), number_in("nan")
    (12.5, None, None)
    """
    if not isinstance(text, str):
        return None
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def day_in(text: object) -> dt.date | None:
    """A day of the calendar of a book.

    Parameters
    ----------
    text : object
        ISO 8601, such as 2026-11-25; anything may stand there.

    Returns
    -------
    date or None
        None where it is no day, or one at the ends of the calendar.

    Examples
    --------
    >>> day_in("2026-11-25"), day_in("9999-12-31"), day_in("25 Nov")
    (datetime.date(2026, 11, 25), None, None)
    """
    if not isinstance(text, str) or len(text) > len("2026-W48-3"):
        return None
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        return None
    return day if is_in_calendar(day) else None


def moment_in(text: object) -> dt.datetime | None:
    """A moment of the calendar of a book.

    Parameters
    ----------
    text : object
        ISO 8601 with its offset from UTC, such as 2026-11-25T06:00:00+01:00; anything may stand there.

    Returns
    -------
    datetime or None
        With a zone. None where it is no moment, has no offset, or lies at the ends of the calendar.

    Examples
    --------
    >>> moment_in("2026-11-25T06:00:00Z")
    datetime.datetime(2026, 11, 25, 6, 0, tzinfo=datetime.timezone.utc)
    >>> moment_in("2026-11-25T06:00:00"), moment_in("9999-12-31T23:59:59Z")
    (None, None)
    """
    if not isinstance(text, str) or len(text) > len("2026-11-25T06:00:00.000000+01:00:00"):
        return None
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo is not None and is_in_calendar(moment) else None
