"""Readings of a belt's hour meter: the spans between those that agree, and those that cannot be right.

The hours between two readings are later minus earlier, plus the meter's modulus where it fell and a rollover is
declared. More hours than the clock had are impossible: such a reading is set aside and flagged, never used. Readings
are kept as the largest set in which each follows from the one before; on a tie the earlier ones stay. A replacement
closes the old meter at its last reading and opens the new one at its first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import pairwise
from typing import Literal

from plant.calc.reasons import Reason
from plant.calc.running_spans import METER_SOURCE, SLACK_H, US_PER_H, Span, microseconds

# Readings that may be wrong one after the other before the right ones are found again.
LOOK_AHEAD = 60


@dataclass(frozen=True)
class Meter:
    """What the hour meter showed: a reading, the last one of an old meter or the first one of a new one."""

    read_at: datetime
    reading_h: float
    event: Literal["normal", "last_of_old", "first_of_new"] = "normal"

    def __post_init__(self) -> None:
        if self.event not in ("normal", "last_of_old", "first_of_new"):
            raise ValueError(f"event is “{self.event}”; give normal, last_of_old or first_of_new")
        if self.read_at.tzinfo is None:
            raise ValueError(f"{self.read_at} has no zone; give an instant with one, such as UTC")
        if not (self.reading_h >= 0 and math.isfinite(self.reading_h)):
            raise ValueError(f"reading_h is {self.reading_h} h; give 0 or more")


class MeterRule(StrEnum):
    """Why a reading of an hour meter cannot be right."""

    BEYOND_METER = "meter.beyond_meter"
    LEFT_OPEN = "meter.left_open"
    ALONE = "meter.alone"
    AT_ONE_TIME = "meter.at_one_time"
    BACKWARDS = "meter.backwards"
    FASTER_THAN_CLOCK = "meter.faster_than_clock"
    FASTER_WITH_ROLLOVER = "meter.faster_with_rollover"


@dataclass(frozen=True)
class Flag:
    """A meter reading that cannot be right, why, and the value that one slip of the fingers would explain."""

    read_at: datetime
    reading_h: float
    reason: Reason
    likely_h: float | None = None


@dataclass(frozen=True)
class MeterResult:
    """Spans between the readings that agree, and the readings that do not."""

    spans: tuple[Span, ...]
    flagged: tuple[Flag, ...]


def meter_spans(readings: Iterable[Meter], modulus_h: float | None = None) -> MeterResult:
    """Turn hour-meter readings into spans with running hours, and set aside what cannot be right.

    Parameters
    ----------
    readings : iterable of Meter
        In any order; a repeated reading counts once.
    modulus_h : float, optional
        Reading at which the meter starts again from zero, such as 10 000 [h]. Left out: a meter never rolls over, and a
        reading below the one before is wrong.

    Returns
    -------
    MeterResult
        spans : kind "total", source "meter", between readings that follow from each other.
        flagged : readings set aside, in order of time, with a reason and, where one digit mistyped, two digits swapped
        or one digit too many or too few explains it, the likely reading.

    Raises
    ------
    ValueError
        If the modulus is not above zero.

    Examples
    --------
    >>> from datetime import UTC, timedelta
    >>> day = datetime(2026, 3, 1, tzinfo=UTC)
    >>> readings = [Meter(day, 9900), Meter(day + timedelta(days=31), 150)]
    >>> meter_spans(readings, modulus_h=10_000).spans[0].running_h
    250.0
    """
    if modulus_h is not None and not (modulus_h > 0 and math.isfinite(modulus_h)):
        raise ValueError(f"modulus_h is {modulus_h} h; give the reading at which the meter starts again, such as 10000")
    order = {"normal": 0, "last_of_old": 1, "first_of_new": 2}
    ordered = sorted(set(readings), key=lambda r: (microseconds(r.read_at), order[r.event], r.reading_h))
    spans: list[Span] = []
    flagged: list[Flag] = []
    for one_meter in _split_at_replacements(ordered):
        possible = [r for r in one_meter if modulus_h is None or r.reading_h < modulus_h]
        flagged += [
            Flag(r.read_at, r.reading_h, _reason(MeterRule.BEYOND_METER, read_h=r.reading_h, most_h=modulus_h or 0))
            for r in one_meter
            if r not in possible
        ]
        chains, apart = _chains(possible, modulus_h)
        for n, chain in enumerate(chains):
            spans += [
                Span(a.read_at, b.read_at, min(_hours(a, b, modulus_h), _elapsed_h(a, b)), "total", METER_SOURCE)
                for a, b in pairwise(chain)
            ]
            if n:
                flagged.append(_broken(chains[n - 1][-1], chain[0], modulus_h))
        flagged += [_set_aside(r, [k for chain in chains for k in chain], modulus_h) for r in apart]
    return MeterResult(tuple(spans), tuple(sorted(flagged, key=lambda f: (microseconds(f.read_at), f.reading_h))))


def _split_at_replacements(ordered: list[Meter]) -> list[list[Meter]]:
    meters: list[list[Meter]] = [[]]
    for reading in ordered:
        if reading.event == "first_of_new" and meters[-1]:
            meters.append([])
        meters[-1].append(reading)
        if reading.event == "last_of_old":
            meters.append([])
    return [m for m in meters if m]


def _hours(a: Meter, b: Meter, modulus_h: float | None) -> float:
    """Hours from one reading to the next; negative where the meter ran backwards."""
    # Readings are decimal; 310.4 - 0.1 must not bring the digits of a binary fraction into the ledger.
    hours = round(float(b.reading_h) - float(a.reading_h), 9)
    return round(hours + modulus_h, 9) if hours < 0 and modulus_h is not None else hours


def _elapsed_h(a: Meter, b: Meter) -> float:
    return (microseconds(b.read_at) - microseconds(a.read_at)) / US_PER_H


def _follows(a: Meter, b: Meter, modulus_h: float | None) -> bool:
    elapsed = _elapsed_h(a, b)
    return elapsed > 0 and 0 <= _hours(a, b, modulus_h) <= elapsed + SLACK_H


def _chains(readings: list[Meter], modulus_h: float | None) -> tuple[list[list[Meter]], list[Meter]]:
    """Longest runs of readings that follow from each other, and the readings in none of them.

    What lies inside the longest run without belonging to it is set aside. What lies before or after it may be a run of
    its own: that is a meter replaced without a word, and its own hours are good.
    """
    if not readings:
        return [], []
    longest = [1] * len(readings)
    following: list[int | None] = [None] * len(readings)
    for i in range(len(readings) - 2, -1, -1):
        for j in range(i + 1, min(i + 1 + LOOK_AHEAD, len(readings))):
            if longest[j] >= longest[i] and _follows(readings[i], readings[j], modulus_h):
                longest[i], following[i] = longest[j] + 1, j
                if longest[i] == len(readings) - i:
                    break
    at: int | None = longest.index(max(longest))
    members: list[int] = []
    while at is not None:
        members.append(at)
        at = following[at]
    if len(members) == 1:
        # Nothing follows from anything; the first reading stays as the one that the others are held against.
        return [readings[:1]], readings[1:]
    chosen = set(members)
    inside = [r for i, r in enumerate(readings[members[0] : members[-1]], members[0]) if i not in chosen]
    before, apart_before = _side_chains(readings[: members[0]], modulus_h)
    after, apart_after = _side_chains(readings[members[-1] + 1 :], modulus_h)
    return [*before, [readings[i] for i in members], *after], [*apart_before, *inside, *apart_after]


def _side_chains(readings: list[Meter], modulus_h: float | None) -> tuple[list[list[Meter]], list[Meter]]:
    chains, apart = _chains(readings, modulus_h)
    return [c for c in chains if len(c) > 1], [*(c[0] for c in chains if len(c) == 1), *apart]


def _broken(before: Meter, first: Meter, modulus_h: float | None) -> Flag:
    why = _why(before, first, modulus_h)
    return Flag(first.read_at, first.reading_h, Reason(MeterRule.LEFT_OPEN, {"why": why}))


def _set_aside(reading: Meter, kept: list[Meter], modulus_h: float | None) -> Flag:
    before = max((k for k in kept if k.read_at <= reading.read_at), key=lambda k: k.read_at, default=None)
    after = min((k for k in kept if k.read_at > reading.read_at), key=lambda k: k.read_at, default=None)
    if before is not None and not _follows(before, reading, modulus_h):
        reason = _why(before, reading, modulus_h)
    elif after is not None:
        reason = _why(reading, after, modulus_h)
    else:
        reason = Reason(MeterRule.ALONE)
    likely = _likely(reading, before, after, modulus_h) if before is not None and after is not None else None
    return Flag(reading.read_at, reading.reading_h, reason, likely)


def _why(a: Meter, b: Meter, modulus_h: float | None) -> Reason:
    hours, elapsed = _hours(a, b, modulus_h), _elapsed_h(a, b)
    if elapsed == 0:
        return _reason(MeterRule.AT_ONE_TIME, first_h=a.reading_h, second_h=b.reading_h)
    if hours < 0:
        return _reason(MeterRule.BACKWARDS, first_h=a.reading_h, second_h=b.reading_h)
    rule = MeterRule.FASTER_WITH_ROLLOVER if b.reading_h < a.reading_h else MeterRule.FASTER_THAN_CLOCK
    return _reason(rule, first_h=a.reading_h, second_h=b.reading_h, ran_h=hours, clock_h=elapsed)


def _reason(rule: MeterRule, **hours: float) -> Reason:
    """With hours to a tenth, as a meter shows them."""
    return Reason(rule, {name: round(value, 1) for name, value in hours.items()})


def _likely(reading: Meter, before: Meter, after: Meter, modulus_h: float | None) -> float | None:
    """The reading that one slip of the fingers turned into this one, nearest to even running; None if there is none."""
    fitting = [
        value
        for value in _slips(reading.reading_h)
        if (modulus_h is None or value < modulus_h)
        and _follows(before, meant := Meter(reading.read_at, value), modulus_h)
        and _follows(meant, after, modulus_h)
    ]
    share = _elapsed_h(before, reading) / _elapsed_h(before, after)
    even = before.reading_h + share * _hours(before, after, modulus_h)
    return min(fitting, key=lambda value: (abs(value - even), value), default=None)


def _slips(reading_h: float) -> set[float]:
    text = f"{reading_h:.10g}"
    texts = set()
    for i, c in enumerate(text):
        if c.isdigit():
            texts |= {text[:i] + d + text[i + 1 :] for d in "0123456789"}
            texts.add(text[:i] + text[i + 1 :])
            if i + 1 < len(text) and text[i + 1].isdigit():
                texts.add(text[:i] + text[i + 1] + c + text[i + 2 :])
    texts |= {text[:i] + d + text[i:] for i in range(len(text) + 1) for d in "0123456789"}
    return {float(t) for t in texts if t.strip(".")} - {reading_h}
