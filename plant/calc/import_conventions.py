"""Conventions of a sent file told from all its values, with what decides, or that nothing does."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from plant.calc.import_columns import CellRule
from plant.calc.reasons import Reason


@dataclass(frozen=True)
class Decision:
    """A convention told from the data: its value, or none with the reason, and the value that decided."""

    value: str = ""
    is_needed: bool = False
    reason: Reason | None = None


_SLASHED = re.compile(r"^(\d{1,2})([/.-])(\d{1,2})\2(\d{2,4})(?:$|[ T,])")


def decide_date_order(texts: Iterable[str]) -> Decision:
    """Whether 3/4/2026 is in March or in April, told from all dates of a file.

    Parameters
    ----------
    texts : iterable of str
        The cells of its date columns.

    Returns
    -------
    Decision
        value "dmy" or "mdy"; empty, and `is_needed`, where dates can be read both ways or the file has both orders.
        Dates with points are day first (common practice, no source); ISO dates need no decision.
    """
    day_first = month_first = both = ""
    for text in texts:
        match = _SLASHED.match(text.strip())
        if not match or match[2] == ".":
            continue
        first, second = int(match[1]), int(match[3])
        if first > 12 >= second:
            day_first = day_first or text.strip()
        elif second > 12 >= first:
            month_first = month_first or text.strip()
        elif first != second:
            both = both or text.strip()
    if day_first and month_first:
        return Decision("", True, Reason(CellRule.BOTH_ORDERS, {"one": day_first, "other": month_first}))
    if day_first:
        return Decision("dmy", reason=Reason(CellRule.DAY_FIRST, {"text": day_first}))
    if month_first:
        return Decision("mdy", reason=Reason(CellRule.MONTH_FIRST, {"text": month_first}))
    if both:
        one, other = re.findall(r"\d+", both)[:2]
        return Decision("", True, Reason(CellRule.EITHER_ORDER, {"text": both, "one": one, "other": other}))
    return Decision("dmy")


_NUMBER = re.compile(r"[-+]?\d[\d.,'’   ]*")
# "1,150 1/2": what stands before a fraction is whole, so its mark parts the thousands.
_WHOLE_AND_FRACTION = re.compile(r"(\d{1,3}([.,])(?:\d{3}\2)*\d{3})[\s-]+\d+ ?[/⁄] ?\d")
# "1,150 1/2": what stands before a fraction is a whole number, and its mark parts the thousands.
_MIXED = re.compile(r"[-+]?\d{1,3}([.,])\d{3}[   -]+\d+ ?[/⁄] ?\d")


def decide_decimal(texts: Iterable[str]) -> Decision:
    """Whether a file writes 1.5 or 1,5, told from all its numbers.

    Parameters
    ----------
    texts : iterable of str
        The cells of its number columns.

    Returns
    -------
    Decision
        value "point" or "comma"; empty, and `is_needed`, where 1,234 may be either or both are used.
    """
    seen: dict[str, str] = {}  # the first cell that shows each mark
    for text in texts:
        match = _NUMBER.search(text)
        mixed = _WHOLE_AND_FRACTION.search(text)
        if mixed:
            mark = "point" if mixed[2] == "," else "comma"
        else:
            mark = _decimal_mark(match.group().strip(" .,")) if match else ""
        if mark:
            seen.setdefault(mark, text.strip())
    point, comma, either = (seen.get(mark, "") for mark in ("point", "comma", "either"))
    if point and comma:
        return Decision("", True, Reason(CellRule.BOTH_MARKS, {"one": point, "other": comma}))
    if comma:
        return Decision("comma", reason=Reason(CellRule.DECIMAL_COMMA, {"text": comma}))
    if point:
        return Decision("point", reason=Reason(CellRule.DECIMAL_POINT, {"text": point}))
    if either:
        values = {"text": either, "one": either.replace(",", ""), "other": either.replace(",", ".")}
        return Decision("", True, Reason(CellRule.EITHER_MARK, values))
    return Decision("point")


def _decimal_mark(number: str) -> str:
    """Which decimal mark one number shows: point, comma, either; empty where it shows none."""
    n_points, n_commas = number.count("."), number.count(",")
    if n_points and n_commas:
        return "point" if number.rfind(".") > number.rfind(",") else "comma"
    if n_commas > 1 or n_points > 1:
        return "point" if n_commas else "comma"  # what stands there twice parts the thousands
    if not (n_commas or n_points):
        return ""
    before, after = re.split("[.,]", number.lstrip("-+"))
    if len(after) == 3 and 1 <= len(before) <= 3 and not before.startswith("0"):
        # A point before three digits is a decimal point unless something in the file says comma.
        return "either" if n_commas else ""
    return "comma" if n_commas else "point"


_MIDNIGHT = re.compile(r".*\d[T ]+0{1,2}:00(?::00(?:[.,]0+)?)?", re.DOTALL)
FEWEST_MIDNIGHTS = 3  # rows from which an export is taken to have dropped the time of day; own rule


def decide_midnight(texts: Iterable[str]) -> Decision:
    """Whether 00:00 is the time of day or stands where nobody kept it, told from all moments of a file.

    Parameters
    ----------
    texts : iterable of str
        The cells of one column of moments, with the time of day from a column of its own where there is one.

    Returns
    -------
    Decision
        value "day" where at least three rows have a time and each is 00:00 without an offset from UTC, as exports write
        dates; else "time".

    Examples
    --------
    >>> decide_midnight(["2026-03-01 00:00:00", "2026-03-02 00:00:00", "2026-03-05 00:00:00"]).value
    'day'
    """
    n = 0
    for text in texts:
        if ":" not in text:
            continue
        if not _MIDNIGHT.fullmatch(text.strip()):
            return Decision("time")
        n += 1
    if n < FEWEST_MIDNIGHTS:
        return Decision("time")
    return Decision("day", reason=Reason(CellRule.ALL_MIDNIGHT, {"count": n}))
