"""Days, months and wall clocks of a plant, in UTC.

The database keeps UTC; due dates, months and shifts belong to the plant's time zone. A local day may have 23 or 25
hours, so nothing here adds 24 hours: ends of days and months are local midnights, each turned into UTC by itself. And
nothing here subtracts two local times: Python takes two datetimes of the same zone as wall clocks and says 8 hours for
a night shift that had 7.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal


@dataclass(frozen=True)
class WallTime:
    """What a clock reading in the plant's zone may mean.

    ``plain`` has one candidate. ``doubled`` has two, the earlier first. ``missing`` has two: first the reading as a
    clock not yet put forward would make it (it then shows one hour more), then as one put forward too early.
    """

    kind: Literal["plain", "missing", "doubled"]
    candidates: tuple[datetime, ...]


def local_day_bounds(day: date, tz: tzinfo) -> tuple[datetime, datetime]:
    """First instant of a local day and of the next one.

    Parameters
    ----------
    day : date
        Day in the plant's zone.
    tz : tzinfo
        The plant's zone.

    Returns
    -------
    tuple of datetime
        Start (belongs to the day) and end (does not), both UTC.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> start, end = local_day_bounds(date(2026, 3, 29), ZoneInfo("Europe/Berlin"))
    >>> (end - start).total_seconds() / 3600
    23.0
    """
    return _midnight(day, tz), _midnight(day + timedelta(days=1), tz)


def local_month_bounds(year: int, month: int, tz: tzinfo) -> tuple[datetime, datetime]:
    """First instant of a local month and of the next one.

    Parameters
    ----------
    year, month : int
        Month in the plant's zone, 1 to 12.
    tz : tzinfo
        The plant's zone.

    Returns
    -------
    tuple of datetime
        Start (belongs to the month) and end (does not), both UTC.

    Raises
    ------
    ValueError
        If there is no such month.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> start, end = local_month_bounds(2026, 10, ZoneInfo("Europe/Berlin"))
    >>> (end - start).total_seconds() / 3600
    745.0
    """
    if not 1 <= month <= 12:
        raise ValueError(f"month is {month}; give 1 to 12")
    first = date(year, month, 1)
    return _midnight(first, tz), _midnight(add_months(first, 1), tz)


def overdue_from(due_or_close: date, tz: tzinfo) -> datetime:
    """Instant from which something due on a date, or with a window closing on it, is overdue.

    Parameters
    ----------
    due_or_close : date
        Last day on which it is in time, in the plant's zone.
    tz : tzinfo
        The plant's zone.

    Returns
    -------
    datetime
        00:00 plant time of the next day, in UTC.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> overdue_from(date(2026, 10, 25), ZoneInfo("Europe/Berlin")).isoformat()
    '2026-10-25T23:00:00+00:00'
    """
    return local_day_bounds(due_or_close, tz)[1]


def add_months(anchor: date, n: int) -> date:
    """The date ``n`` months from an anchor, on the month's last day where the anchor's day does not exist.

    A series must be counted from its anchor each time. Chained one month at a time, 31 January becomes 28 February and
    stays on the 28th for ever.

    Parameters
    ----------
    anchor : date
        First date of the series.
    n : int
        Months from the anchor, also negative.

    Returns
    -------
    date
        Clamped date.

    Raises
    ------
    ValueError
        If the year is outside 1 to 9999.

    Examples
    --------
    >>> [add_months(date(2026, 1, 31), n).isoformat() for n in (1, 2, 3)]
    ['2026-02-28', '2026-03-31', '2026-04-30']
    """
    years, month = divmod(anchor.month - 1 + n, 12)
    year = anchor.year + years
    if not date.min.year <= year <= date.max.year:
        raise ValueError(f"{n} months from {anchor.isoformat()} is in the year {year}; give a year from 1 to 9999")
    return date(year, month + 1, min(anchor.day, monthrange(year, month + 1)[1]))


def iso_week_label(day: date) -> str:
    """ISO 8601 week date; its year is not always the calendar year.

    Parameters
    ----------
    day : date
        Any date.

    Returns
    -------
    str
        Year of the week, week, weekday with Monday as 1.

    References
    ----------
    ISO 8601 (4.1.4 in the 2004 edition, number from memory).

    Examples
    --------
    >>> iso_week_label(date(2008, 12, 29))
    '2009-W01-1'
    """
    year, week, weekday = day.isocalendar()
    return f"{year:04d}-W{week:02d}-{weekday}"


def resolve_wall_time(naive: datetime, tz: tzinfo) -> WallTime:
    """Turn a clock reading without a zone into UTC, and say where it does not exist or comes twice.

    Parameters
    ----------
    naive : datetime
        Reading of the plant's clock, without a zone.
    tz : tzinfo
        The plant's zone.

    Returns
    -------
    WallTime
        kind and its candidates in UTC. Whoever reads a missing one refuses it or says what was taken; whoever reads a
        doubled one asks which.

    Raises
    ------
    ValueError
        If the reading carries a zone already.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> resolve_wall_time(datetime(2026, 10, 25, 2, 30), ZoneInfo("Europe/Berlin")).kind
    'doubled'
    """
    if naive.tzinfo is not None:
        raise ValueError(f"naive is {naive.isoformat()}, which has a zone already; give a clock reading without one")
    first, second = (naive.replace(tzinfo=tz, fold=fold).astimezone(UTC) for fold in (0, 1))
    if first == second:
        return WallTime("plain", (first,))
    exists = first.astimezone(tz).replace(tzinfo=None, fold=0) == naive.replace(fold=0)
    return WallTime("doubled" if exists else "missing", (first, second))


def months_between(start: date | datetime, end: date | datetime, tz: tzinfo) -> Iterator[date]:
    """First days of the local months that overlap a period.

    Parameters
    ----------
    start, end : date or datetime
        Period; its end does not belong to it. Datetimes must carry a zone; dates are days of the plant.
    tz : tzinfo
        The plant's zone.

    Yields
    ------
    date
        The first of each month, to be given to `local_month_bounds`. Nothing where the period is empty.

    Raises
    ------
    ValueError
        If a datetime carries no zone.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> berlin = ZoneInfo("Europe/Berlin")
    >>> months = months_between(datetime(2026, 3, 31, 23, tzinfo=UTC), datetime(2026, 5, 1, tzinfo=UTC), berlin)
    >>> [month.isoformat() for month in months]
    ['2026-04-01', '2026-05-01']
    """
    first, last = _instant(start, tz), _instant(end, tz)
    local = first.astimezone(tz)
    month = date(local.year, local.month, 1)
    while first < last and _midnight(month, tz) < last:
        yield month
        month = add_months(month, 1)


def hours_between(a: datetime, b: datetime) -> float:
    """Hours that really pass from one instant to another.

    Parameters
    ----------
    a, b : datetime
        Instants with a zone, the same or different ones.

    Returns
    -------
    float
        Elapsed hours [h], negative if ``b`` comes first.

    Raises
    ------
    ValueError
        If one carries no zone.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> berlin = ZoneInfo("Europe/Berlin")
    >>> hours_between(datetime(2026, 3, 28, 22, tzinfo=berlin), datetime(2026, 3, 29, 6, tzinfo=berlin))
    7.0
    """
    return (_aware(b).astimezone(UTC) - _aware(a).astimezone(UTC)).total_seconds() / 3600


def day_position(moment: datetime, tz: tzinfo) -> float:
    """Where a moment lies on a scale on which every day of the plant is as long as any other.

    Parameters
    ----------
    moment : datetime
        An instant with a zone.
    tz : tzinfo
        The plant's zone.

    Returns
    -------
    float
        Number of the day with the share of it that has passed [d]. The difference of two moments is what people call
        days: a month in which clocks change has 31, though its hours are 743 or 745.

    Raises
    ------
    ValueError
        If the moment carries no zone.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> berlin = ZoneInfo("Europe/Berlin")
    >>> october = [datetime(2026, month, 1, tzinfo=berlin) for month in (10, 11)]
    >>> day_position(october[1], berlin) - day_position(october[0], berlin), hours_between(*october)
    (31.0, 745.0)
    """
    instant = _aware(moment).astimezone(UTC)
    day = instant.astimezone(tz).date()
    begins, ends = _midnight(day, tz), _midnight(day + timedelta(days=1), tz)
    return day.toordinal() + (instant - begins) / (ends - begins)


def _midnight(day: date, tz: tzinfo) -> datetime:
    # With fold 0 a midnight that a clock skips is the instant of the jump, and one that comes twice is the first: in
    # both cases the first instant of the day.
    return datetime.combine(day, time(), tzinfo=tz).astimezone(UTC)


def _instant(value: date | datetime, tz: tzinfo) -> datetime:
    return _aware(value).astimezone(UTC) if isinstance(value, datetime) else _midnight(value, tz)


def _aware(value: datetime) -> datetime:
    if value.tzinfo is None:
        raise ValueError(f"{value.isoformat()} has no zone; give an instant with one, such as UTC")
    return value
