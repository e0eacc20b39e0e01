"""A plant's own list of holidays, and which days of a month are working days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

SATURDAY = 5


def read_holidays(text: str) -> dict[dt.date, str]:
    """Holidays from lines such as `2026-12-25 Christmas Day`; empty lines are passed over.

    Parameters
    ----------
    text : str
        One date a line, ISO 8601, then its name if it has one.

    Raises
    ------
    ValueError
        If a line does not begin with a date, or a date stands twice; the words name the line.

    Examples
    --------
    >>> read_holidays("2026-12-25 Christmas Day")
    {datetime.date(2026, 12, 25): 'Christmas Day'}
    """
    found: dict[dt.date, str] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        day_text, _space, name = line.strip().partition(" ")
        try:
            day = dt.date.fromisoformat(day_text.rstrip(",;:"))
        except ValueError:
            raise ValueError(
                f"line {number} is “{line.strip()}”; begin each line with a date such as 2026-12-25, then its name"
            ) from None
        if day in found:
            raise ValueError(f"line {number} gives {day} a second time; give each date once")
        found[day] = name.strip()
    return found


def is_working_day(day: dt.date, holidays: Collection[dt.date] = ()) -> bool:
    """Monday to Friday and no holiday of the plant.

    Parameters
    ----------
    day : date
        In the plant's time zone.
    holidays : collection of date, optional

    Examples
    --------
    >>> is_working_day(dt.date(2026, 12, 25), {dt.date(2026, 12, 25): "Christmas Day"})
    False
    """
    return day.weekday() < SATURDAY and day not in holidays


def first_working_day(month: dt.date, holidays: Collection[dt.date] = ()) -> dt.date:
    """The first working day of the month in which a day lies.

    Parameters
    ----------
    month : date
        Any day of it.
    holidays : collection of date, optional

    Raises
    ------
    ValueError
        If every day of the month is a holiday.

    Examples
    --------
    1 January 2027 is a Friday and a holiday, 2 and 3 are a weekend.

    >>> first_working_day(dt.date(2027, 1, 1), {dt.date(2027, 1, 1)})
    datetime.date(2027, 1, 4)
    """
    day = month.replace(day=1)
    while day.month == month.month:
        if is_working_day(day, holidays):
            return day
        day += dt.timedelta(days=1)
    raise ValueError(f"{month:%Y-%m} has no working day; take holidays off the list")
