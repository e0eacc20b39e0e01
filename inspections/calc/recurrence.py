"""Dates of a recurrence rule of RFC 5545, by day or longer, read strictly and searched no longer than asked.

Steps:

1. **Read** (`read_rule`): every part once, every number inside its range, no part with a frequency that it does not go
   with. What the standard leaves open is refused with a sentence, never guessed.
2. **Walk** (`dates_of`): period by period (day, week, month or year, each `INTERVAL` apart) from the start on. The days
   of a period that pass every part are its set; ``BYSETPOS`` picks from it; ``COUNT`` and ``UNTIL`` end it.

A rule that names no day that ever comes (31 February) ends the walk at its last day and is not looked for beyond it.

References
----------
RFC 5545 (2009), Internet Calendaring and Scheduling Core Object Specification, 3.3.10: ranges of the parts, which part
goes with which frequency (the table of expansions and limits), defaults from the start, invalid dates ignored.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal, get_args

Frequency = Literal["DAILY", "WEEKLY", "MONTHLY", "YEARLY"]
FREQUENCIES: tuple[Frequency, ...] = get_args(Frequency)
DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
RULE_PARTS = (
    *("FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST"),
    *("BYDAY", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO", "BYMONTH", "BYSETPOS"),
)
# Most that a plan may ask for; own rule, the standard has no bound.
MOST = 3650
# Numbers of a list: the largest, whether it may count from the end. 0 is in none of them.
LISTS = {
    "BYMONTHDAY": (31, True),
    "BYYEARDAY": (366, True),
    "BYWEEKNO": (53, True),
    "BYMONTH": (12, False),
    "BYSETPOS": (366, True),
}
MOST_NTH_DAY = 53
# Parts that the standard forbids with a frequency.
FORBIDDEN: dict[Frequency, tuple[str, ...]] = {
    "DAILY": ("BYYEARDAY", "BYWEEKNO"),
    "WEEKLY": ("BYMONTHDAY", "BYYEARDAY", "BYWEEKNO"),
    "MONTHLY": ("BYYEARDAY", "BYWEEKNO"),
    "YEARLY": (),
}


@dataclass(frozen=True)
class Recurrence:
    """A rule as read; an empty tuple where a part is not given.

    Attributes
    ----------
    freq : {"DAILY", "WEEKLY", "MONTHLY", "YEARLY"}
    interval : int
        Every so many days, weeks, months or years.
    count : int or None
    until : date or datetime or None
        A date holds to the end of its day.
    week_start : int
        0 Monday to 6 Sunday.
    days : tuple of (n or 0, weekday)
        n counts from the beginning, or below 0 from the end, of the month or year; 0 is every such weekday.
    month_days, year_days, week_numbers, months, positions : tuple of int
    """

    freq: Frequency
    interval: int
    count: int | None
    until: date | None
    week_start: int
    days: tuple[tuple[int, int], ...]
    month_days: tuple[int, ...]
    year_days: tuple[int, ...]
    week_numbers: tuple[int, ...]
    months: tuple[int, ...]
    positions: tuple[int, ...]


def read_rule(text: str) -> Recurrence:
    """Read a rule strictly.

    Parameters
    ----------
    text : str
        Such as ``FREQ=MONTHLY;BYDAY=1MO``, with or without ``RRULE:`` before it.

    Returns
    -------
    Recurrence

    Raises
    ------
    ValueError
        If a part is unknown, given twice, outside its range, or does not go with the others; the message says what to
        give instead.

    Examples
    --------
    >>> read_rule("FREQ=MONTHLY;BYDAY=-1FR").days
    ((-1, 4),)
    """
    parts: dict[str, str] = {}
    for part in text.strip().upper().removeprefix("RRULE:").split(";"):
        name, _equals, value = part.partition("=")
        if name not in RULE_PARTS:
            raise ValueError(f"rule has the part {name!r}; give only {', '.join(RULE_PARTS)}")
        if name in parts:
            raise ValueError(f"rule has {name} twice; give each part once")
        parts[name] = value
    freq = next((each for each in FREQUENCIES if each == parts.get("FREQ")), None)
    if freq is None:
        raise ValueError(f"rule has FREQ {parts.get('FREQ', 'missing')}; give one of {', '.join(FREQUENCIES)}")
    _check_together(freq, parts)
    lists = {name: _numbers(name, parts[name]) if name in parts else () for name in LISTS}
    days = _days(parts["BYDAY"]) if "BYDAY" in parts else ()
    if any(n for n, _day in days) and (freq in ("DAILY", "WEEKLY") or "BYWEEKNO" in parts):
        with_what = "BYWEEKNO" if "BYWEEKNO" in parts else f"FREQ={freq}"
        raise ValueError(f"rule has BYDAY={parts['BYDAY']} with {with_what}; give weekdays without a number")
    week_start = parts.get("WKST", "MO")
    if week_start not in DAYS:
        raise ValueError(f"rule has WKST={week_start}; give one of {', '.join(DAYS)}")
    return Recurrence(
        freq=freq,
        interval=_whole("INTERVAL", parts.get("INTERVAL", "1")),
        count=_whole("COUNT", parts["COUNT"]) if "COUNT" in parts else None,
        until=_until(parts["UNTIL"]) if "UNTIL" in parts else None,
        week_start=DAYS.index(week_start),
        days=days,
        month_days=lists["BYMONTHDAY"],
        year_days=lists["BYYEARDAY"],
        week_numbers=lists["BYWEEKNO"],
        months=lists["BYMONTH"],
        positions=lists["BYSETPOS"],
    )


def dates_of(rule: Recurrence, start: date, *, last: date) -> Iterator[date]:
    """Dates of a rule from its start on, in order.

    Parameters
    ----------
    rule : Recurrence
    start : date
        A datetime keeps its time of day while ``UNTIL`` is compared. It is a date itself only where it fits the rule.
    last : date
        Nothing is looked for beyond this day, so that a rule without any date ends too.

    Examples
    --------
    >>> rule = read_rule("FREQ=MONTHLY;BYMONTHDAY=-1")
    >>> [day.isoformat() for day in dates_of(rule, date(2026, 1, 31), last=date(2026, 3, 31))]
    ['2026-01-31', '2026-02-28', '2026-03-31']
    """
    at = start.time() if isinstance(start, datetime) else time()
    first = start.date() if isinstance(start, datetime) else start
    whole = _with_defaults(rule, first)
    n = 0
    for begin, end in _periods(whole, first, last):
        span = map(date.fromordinal, range(begin.toordinal(), end.toordinal() + 1))
        found = [day for day in span if _fits(whole, day)]
        for day in _picked(found, whole.positions):
            if day < first:
                continue
            if day > last or _is_over(whole.until, day, at):
                return
            yield day
            n += 1
            if n == whole.count:
                return


# --- reading ----------------------------------------------------------------------------------------------------------
def _check_together(freq: Frequency, parts: dict[str, str]) -> None:
    for name in FORBIDDEN[freq]:
        if name in parts:
            raise ValueError(f"rule has {name} with FREQ={freq}, which RFC 5545 rules out; leave one of them off")
    if "UNTIL" in parts and "COUNT" in parts:
        raise ValueError("rule has both UNTIL and COUNT; give at most one of them")
    if "BYSETPOS" in parts and not any(name.startswith("BY") and name != "BYSETPOS" for name in parts):
        raise ValueError("rule has BYSETPOS alone; give another part beginning with BY that it can choose from")
    # The standard leaves open which day of the week is meant; calendars disagree.
    if "BYWEEKNO" in parts and not parts.keys() & {"BYDAY", "BYMONTHDAY", "BYYEARDAY"}:
        raise ValueError("rule has BYWEEKNO without a day; give BYDAY with it, such as BYWEEKNO=20;BYDAY=MO")


def _whole(name: str, text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", text) or not 1 <= int(text) <= MOST:
        raise ValueError(f"rule has {name}={text}; give a whole number from 1 to {MOST}")
    return int(text)


def _numbers(name: str, text: str) -> tuple[int, ...]:
    most, from_the_end = LISTS[name]
    sign = "[+-]?" if from_the_end else ""
    numbers = []
    for each in text.split(","):
        if not re.fullmatch(rf"{sign}[0-9]{{1,3}}", each) or not 1 <= abs(int(each)) <= most:
            ends = f"1 to {most}" + (f", or -1 to -{most} from the end" if from_the_end else "")
            raise ValueError(f"rule has {name}={text}; give numbers from {ends}")
        numbers.append(int(each))
    return tuple(numbers)


def _days(text: str) -> tuple[tuple[int, int], ...]:
    days = []
    for each in text.split(","):
        found = re.fullmatch(r"([+-]?[0-9]{1,2})?([A-Z]{2})", each)
        if not found or found[2] not in DAYS or (found[1] and not 1 <= abs(int(found[1])) <= MOST_NTH_DAY):
            raise ValueError(
                f"rule has BYDAY={text}, which cannot be read; give weekdays such as MO, 1MO or -1FR, with numbers "
                f"from 1 to {MOST_NTH_DAY} or from the end"
            )
        days.append((int(found[1] or 0), DAYS.index(found[2])))
    return tuple(days)


def _until(text: str) -> date:
    if text.endswith("Z"):
        raise ValueError(f"rule has UNTIL={text} in UTC; plan dates are local, leave the Z off")
    try:
        if re.fullmatch(r"[0-9]{8}T[0-9]{6}", text):
            return datetime.fromisoformat(text)
        if re.fullmatch(r"[0-9]{8}", text):
            return date.fromisoformat(text)
    except ValueError:  # a date that no calendar has
        pass
    raise ValueError(f"rule has UNTIL={text}; give a day such as 20261231, or a local time such as 20261231T235959")


# --- walking ----------------------------------------------------------------------------------------------------------
def _with_defaults(rule: Recurrence, first: date) -> Recurrence:
    """What a rule leaves out and its frequency needs is that of the start (RFC 5545, 3.3.10)."""
    if rule.days or rule.month_days or rule.year_days or rule.week_numbers or rule.freq == "DAILY":
        return rule
    if rule.freq == "WEEKLY":
        return _changed(rule, days=((0, first.weekday()),))
    if rule.freq == "MONTHLY":
        return _changed(rule, month_days=(first.day,))
    return _changed(rule, month_days=(first.day,), months=rule.months or (first.month,))


def _changed(rule: Recurrence, **values: object) -> Recurrence:
    return Recurrence(**{**rule.__dict__, **values})


def _periods(rule: Recurrence, first: date, last: date) -> Iterator[tuple[date, date]]:
    """First and last day of each period that the rule looks at."""
    if rule.freq == "DAILY":
        for n in range(0, (last - first).days + 1, rule.interval):
            yield (day := first + timedelta(days=n)), day
    elif rule.freq == "WEEKLY":
        back = (first.weekday() - rule.week_start) % 7
        for n in range(-back, (last - first).days + 1, 7 * rule.interval):
            # The ends of the calendar cut a week short.
            begin = date.fromordinal(max(first.toordinal() + n, date.min.toordinal()))
            yield begin, date.fromordinal(min(first.toordinal() + n + 6, date.max.toordinal()))
    elif rule.freq == "MONTHLY":
        for n in range(0, 12 * (last.year - first.year) + last.month - first.month + 1, rule.interval):
            year, month = divmod(12 * first.year + first.month - 1 + n, 12)
            yield date(year, month + 1, 1), date(year, month + 1, calendar.monthrange(year, month + 1)[1])
    else:
        for year in range(first.year, last.year + 1, rule.interval):
            yield date(year, 1, 1), date(year, 12, 31)


def _fits(rule: Recurrence, day: date) -> bool:
    """Whether a day of a period passes every part of the rule."""
    if rule.months and day.month not in rule.months:
        return False
    in_month = calendar.monthrange(day.year, day.month)[1]
    if rule.month_days and not _counted(day.day, in_month, rule.month_days):
        return False
    if rule.year_days and not _counted(*_in_year(day), rule.year_days):
        return False
    if rule.week_numbers and not _counted(*_week_of(day, rule.week_start), rule.week_numbers):
        return False
    if not rule.days:
        return True
    # A numbered weekday counts in the month, or in the year of a yearly rule that names no month.
    in_the_year = rule.freq == "YEARLY" and not rule.months
    at, length = _in_year(day) if in_the_year else (day.day, in_month)
    nth, nth_from_end = (at - 1) // 7 + 1, -((length - at) // 7 + 1)
    return any(weekday == day.weekday() and n in (0, nth, nth_from_end) for n, weekday in rule.days)


def _in_year(day: date) -> tuple[int, int]:
    """Number of a day in its year, and how many days that has."""
    return day.toordinal() - date(day.year, 1, 1).toordinal() + 1, 366 if calendar.isleap(day.year) else 365


def _counted(at: int, length: int, wanted: tuple[int, ...]) -> bool:
    """Whether a place from the beginning, or the same from the end, is among those wanted."""
    return at in wanted or at - length - 1 in wanted


def _week_of(day: date, week_start: int) -> tuple[int, int]:
    """Number of a day's week in the year to which that week belongs, and how many that year has.

    As in ISO 8601 for any first day: a week belongs to the year that holds at least four of its days.
    """
    begin = day.toordinal() - (day.weekday() - week_start) % 7
    # Its fourth day says to which year a week belongs; beyond the ends of the calendar the nearest day does.
    year = date.fromordinal(min(max(begin + 3, 1), date.max.toordinal())).year

    def first_week(of: int) -> int:
        new_year = date(of, 1, 1).toordinal() if of <= date.max.year else date.max.toordinal() + 1
        back = (new_year - 1 - week_start) % 7  # 1 January of the year 1, whose ordinal is 1, was a Monday
        return new_year - back + (7 if back > 3 else 0)

    return (begin - first_week(year)) // 7 + 1, (first_week(year + 1) - first_week(year)) // 7


def _picked(found: list[date], positions: tuple[int, ...]) -> list[date]:
    if not positions:
        return found
    n = len(found)
    return [day for at, day in enumerate(found, 1) if _counted(at, n, positions)]


def _is_over(until: date | None, day: date, at: time) -> bool:
    if until is None:
        return False
    return datetime.combine(day, at) > until if isinstance(until, datetime) else day > until
