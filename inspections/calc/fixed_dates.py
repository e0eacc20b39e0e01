"""Fixed dates of a plan: every so many days or months from an anchor day, or by a rule of RFC 5545."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from dateutil.relativedelta import relativedelta

from inspections.calc.recurrence import dates_of, read_rule
from plant.calc.reasons import Reason, Word

LONGEST_INTERVAL_DAYS = 3650
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
NTH = ("1", "2", "3", "4", "-1")
LAST_DAY = "-1"
# A rule that brings no date in so many years brings none that a plan could wait for. The rarest that people mean, a
# given weekday on 29 February, comes after 40 years at the latest.
NO_DATE_YEARS = 40


class FixedRule(StrEnum):
    """On which days a plan asks for its check."""

    DAY = "fixed.day"
    DAY_OR_LAST = "fixed.day_or_last"
    LAST_DAY = "fixed.last_day"
    NTH_WEEKDAY = "fixed.nth_weekday"
    EVERY_MONTH = "fixed.every_month"
    EVERY_MONTHS = "fixed.every_months"


@dataclass(frozen=True)
class FixedDates:
    """Days that a plan keeps: every so many months, on the day of the first one or on an nth weekday of the month.

    Attributes
    ----------
    months : int
        Months between dates, 1 to 120; counted from the month of `from_on`, never chained.
    from_on : date
        No date lies before it. Without `on` it is the first, and its day of the month is kept; where a month is too
        short its last day is taken.
    on : str
        Empty, "-1" for the last day of the month, or an nth weekday as RFC 5545 writes it: 1MO, 2TU, 3WE, 4TH, -1FR.

    Raises
    ------
    ValueError
        If months is outside its range or `on` cannot be read.

    References
    ----------
    RFC 5545 (2009), Internet Calendaring and Scheduling Core Object Specification, 3.3.10: BYDAY, BYMONTHDAY.

    Examples
    --------
    >>> rule = FixedDates(3, date(2026, 1, 1), "-1FR")
    >>> [day.isoformat() for day in rule.until(date(2026, 7, 31))]
    ['2026-01-30', '2026-04-24', '2026-07-31']
    """

    months: int
    from_on: date
    on: str = ""

    def __post_init__(self) -> None:
        if not 1 <= self.months <= 120:
            raise ValueError(f"months is {self.months}; give 1 to 120 months")
        if self.on not in ("", LAST_DAY) and not (self.on[:-2] in NTH and self.on[-2:] in WEEKDAYS):
            raise ValueError(
                f"on is {self.on!r}; give an nth weekday such as 1MO or -1FR, -1 for the last day, or none"
            )

    def until(self, day: date) -> tuple[date, ...]:
        """All dates up to and with that day, in order."""
        if not self.on:
            return fixed_dates(self.from_on, until=day, every_months=self.months)
        part = f"BYMONTHDAY={self.on}" if self.on == LAST_DAY else f"BYDAY={self.on}"
        month = self.from_on.replace(day=1)
        found = fixed_dates(month, until=day, rule=f"FREQ=MONTHLY;INTERVAL={self.months};{part}")
        return tuple(each for each in found if each >= self.from_on)

    @property
    def reason(self) -> Reason:
        """Which days these are."""
        of = Reason(FixedRule.EVERY_MONTHS, {"n": self.months}) if self.months > 1 else Reason(FixedRule.EVERY_MONTH)
        if self.on == LAST_DAY:
            return Reason(FixedRule.LAST_DAY, {"every": of})
        if self.on:
            named = {"nth": Word(f"fixed.nth_{self.on[:-2]}"), "weekday": Word(f"fixed.weekday_{self.on[-2:]}")}
            return Reason(FixedRule.NTH_WEEKDAY, {**named, "every": of})
        rule = FixedRule.DAY_OR_LAST if self.from_on.day > 28 else FixedRule.DAY
        return Reason(rule, {"day": self.from_on.day, "every": of})


def fixed_dates(
    anchor: date,
    *,
    until: date,
    every_months: int | None = None,
    every_days: int | None = None,
    rule: str | None = None,
) -> tuple[date, ...]:
    """Dates of a plan that keeps its days whenever the check was really done.

    Parameters
    ----------
    anchor : date
        First day; a date with a time of day keeps it while a rule's UNTIL is compared.
    until : date
        Last day that may be in the answer.
    every_months : int, optional
        Months between dates, 1 to 120, counted from the anchor: where a month is too short its last day is taken.
    every_days : int, optional
        Days between dates, 1 to 3650 [d].
    rule : str, optional
        One recurrence rule of RFC 5545, such as ``FREQ=MONTHLY;BYDAY=1MO``, by day or longer. By that standard dates
        that do not exist are skipped, so ``BYMONTHDAY=-1`` is the last day of each month. Exactly one of the three.

    Returns
    -------
    tuple of date
        In order; empty where `until` lies before the first.

    Raises
    ------
    ValueError
        If not exactly one of the three is given, or it is outside its range, or the rule cannot be read or brings no
        date at all in forty years.

    References
    ----------
    RFC 5545 (2009), Internet Calendaring and Scheduling Core Object Specification, 3.3.10 and 3.8.5.3.

    Examples
    --------
    >>> [day.isoformat() for day in fixed_dates(date(2026, 1, 31), until=date(2026, 3, 31), every_months=1)]
    ['2026-01-31', '2026-02-28', '2026-03-31']
    """
    given = [name for name, value in (("m", every_months), ("d", every_days), ("r", rule)) if value is not None]
    if len(given) != 1:
        raise ValueError(f"{len(given)} of every_months, every_days and rule are given; give exactly one")
    if rule is not None:
        return _dates_by_rule(rule, anchor, until)
    first = anchor.date() if isinstance(anchor, datetime) else anchor
    if every_months is not None:
        if not 1 <= every_months <= 120:
            raise ValueError(f"every_months is {every_months}; give 1 to 120 months")
        months = range(0, 12 * (until.year - first.year) + until.month - first.month + 1, every_months)
        dates = (first + relativedelta(months=month) for month in months)
        return tuple(day for day in dates if day <= until)
    assert every_days is not None
    if not 1 <= every_days <= LONGEST_INTERVAL_DAYS:
        raise ValueError(f"every_days is {every_days}; give 1 to {LONGEST_INTERVAL_DAYS} days")
    return tuple(first + timedelta(days=n) for n in range(0, (until - first).days + 1, every_days))


def _dates_by_rule(text: str, anchor: date, until: date) -> tuple[date, ...]:
    rule = read_rule(text)
    found = tuple(dates_of(rule, anchor, last=until))
    if not found:
        first = anchor.date() if isinstance(anchor, datetime) else anchor
        far = first + relativedelta(years=min(NO_DATE_YEARS, date.max.year - first.year))
        if next(dates_of(rule, anchor, last=far), None) is None and rule.until is None:
            raise ValueError(
                f"rule {text!r} brings no date in {NO_DATE_YEARS} years from {first.isoformat()}; give days that exist"
            )
    return found
