"""What a calculation answers instead of a sentence: the rule that decided, and the values that it read.

The words of a rule stand in `words/`, one text a rule, so that each person reads them in their own language and units;
a row keeps rule and values, so that no prose is ever read back.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

Value = float | int | str | bool | dt.date | None


class Word(str):
    """A word of a topic's table among the values of a reason, where it is no member of a `StrEnum`.

    It is made of a code at run time, or read back from a row.
    """

    __slots__ = ()


def is_word(value: Any) -> bool:
    """Whether a value stands for a text of the topic's table; any other text was typed and stays as it is.

    Parameters
    ----------
    value : float, int, str, bool, date, None, Reason or tuple of Reason

    Examples
    --------
    >>> is_word(Word("side.drive")), is_word("side.drive")
    (True, False)
    """
    return isinstance(value, StrEnum | Word)


@dataclass(frozen=True)
class Reason:
    """The rule that decided, and what it decided from.

    Attributes
    ----------
    rule : str
        A member of the topic's `StrEnum` of rules, or its value as a row kept it: they are equal.
    values : mapping of str to float, int, str, bool, date, None, Reason or tuple of Reason
        By name. A name ends with the unit as a column's does (`worn_mm`, `target_nm`: `plant.calc.units.kind_of`); a
        number whose name ends with no unit is a plain number. A day is a date, never its text: the words write it as
        the site does. What people typed is a str; a word of the topic's table is a member of a `StrEnum`, or a `Word`.
    """

    rule: str
    values: Mapping[str, Value | Reason | tuple[Reason, ...]] = field(default_factory=dict)

    def __hash__(self) -> int:
        return hash((str(self.rule), tuple(sorted(self.values))))

    def kept(self) -> dict[str, Any]:
        """Rule and values as a row keeps them: plain JSON."""
        return {"rule": str(self.rule), "values": {name: _kept(value) for name, value in self.values.items()}}


# What a rule reads, by name.
Values = Mapping[str, Value | Reason | tuple[Reason, ...]]


class NotAccepted(ValueError):
    """What a person gave cannot be worked with; `reason` says what is wrong with it.

    A number that only a programmer can have got wrong is a plain `ValueError` with a sentence.
    """

    def __init__(self, reason: Reason) -> None:
        super().__init__(str(reason.rule))
        self.reason = reason


def reason_kept(data: Mapping[str, Any]) -> Reason:
    """The reason that a row keeps.

    Parameters
    ----------
    data : mapping
        As `Reason.kept` gave it, also after a round trip through JSON.

    Returns
    -------
    Reason

    Raises
    ------
    ValueError
        If it names no rule.

    Examples
    --------
    >>> reason_kept(Reason("worn", {"worn_mm": 4.5}).kept()).values["worn_mm"]
    4.5
    """
    if not data.get("rule"):
        raise ValueError(f"a reason names its rule; this one keeps {sorted(data)}")
    return Reason(data["rule"], {name: _read(value) for name, value in data.get("values", {}).items()})


def pct_of(share: float) -> float:
    """A share in percent, to a tenth: as exact as a sentence needs it.

    Parameters
    ----------
    share : float
        Part of a whole [-].

    Examples
    --------
    >>> pct_of(0.3125), pct_of(1.137)
    (31.2, 113.7)
    """
    return round(100 * share, 1)


def four_digits(value: float) -> float:
    """The edge of a band to four digits: a torque tool shows no more.

    Parameters
    ----------
    value : float
        In any unit, finite.

    Examples
    --------
    >>> four_digits(83.2123), four_digits(1234.5)
    (83.21, 1234.0)
    """
    return float(f"{value:.4g}")


def in_kind(name: str, kind: str) -> str:
    """The name of a value with its stored unit behind it, as a reason names it.

    Parameters
    ----------
    name : str
        What the value is, such as "found".
    kind : str
        The stored unit, such as "mm"; empty for a plain number.

    Examples
    --------
    >>> in_kind("found", "mm"), in_kind("found", "")
    ('found_mm', 'found')
    """
    return f"{name}_{kind}" if kind else name


def _kept(value: Any) -> Any:
    if isinstance(value, Reason):
        return value.kept()
    if isinstance(value, tuple):
        return [each.kept() for each in value]
    if is_word(value):
        return {"word": str(value)}
    if isinstance(value, dt.date):
        return {"day": value.isoformat()}
    return str(value) if isinstance(value, str) else value


def _read(value: Any) -> Any:
    if isinstance(value, Mapping):
        if "day" in value:
            return dt.date.fromisoformat(value["day"])
        return Word(value["word"]) if "word" in value else reason_kept(value)
    return tuple(reason_kept(each) for each in value) if isinstance(value, list) else value
