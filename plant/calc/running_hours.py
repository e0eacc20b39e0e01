"""Running hours of a belt: how long it moved under power, and for how much of the time that is known.

1. **Meter readings become spans.** The hours between two readings are later minus earlier, plus the meter's modulus
   where it fell and a rollover is declared. More hours than the clock had are impossible: such a reading is set aside
   and flagged, never used. Readings are kept as the largest set in which each follows from the one before; on a tie
   the earlier ones stay. A replacement closes the old meter at its last reading and opens the new one at its first.
2. **Each instant has one source.** Running signal, also when it says idle, before hours logged or imported for a span,
   before the share of a meter, before nothing. Of several spans of one rank the shortest wins, so a file imported
   twice, or two exports that overlap, never count twice. "No data" takes coverage away from all of them.
3. **Idle or unknown.** Time between two running intervals of one source is known idle time, up to ``longest_idle_h``;
   beyond that a source that simply stopped reporting would look like a belt at rest.
4. **Inside a span hours are spread evenly** over elapsed time.
5. **Windows** are answered from prefix sums. Missing is not zero: a rate divides by ``running_h``, and ``coverage``
   tells how much of the window that speaks for. Incidents in time that is not covered must be left out as well.

==================  =====================================================
6 to 10, 9:30 to 12  two exports that overlap: running 6 to 12, 6 h
12 to 13             no data: not covered
13 to 18             running, 5 h
window 6 to 18       11 h running, 11 of 12 h covered; 2 incidents are
                     2 / 11 h, not 2 / 12 h
==================  =====================================================
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

METER_SOURCE = "meter"

# A belt at rest for longer than a kiln's yearly repair is no longer taken as idle: 21 days, common practice, no source.
LONGEST_IDLE_H = 504.0

# Readings are taken to the quarter of an hour and meters show tenths, so a belt that never stopped may show a little
# more than the clock (one hour: common practice, no source). What is used is never more than the clock.
SLACK_H = 1.0

# Readings that may be wrong one after the other before the right ones are found again.
LOOK_AHEAD = 60

_US_PER_H = 3_600_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NONE, _METER, _LOG, _SIGNAL = range(4)


@dataclass(frozen=True)
class Span:
    """A span of time and what is known of the belt in it.

    ``running``: it ran all the while, whatever ``running_h`` says. ``total``: it ran ``running_h`` of the time.
    ``no_data``: nothing is known. ``source`` names the signal, file or log; "meter" ranks last.
    """

    start: datetime
    end: datetime
    running_h: float = 0.0
    kind: Literal["running", "total", "no_data"] = "total"
    source: str = ""

    def __post_init__(self) -> None:
        if self.kind not in ("running", "total", "no_data"):
            raise ValueError(f"kind is “{self.kind}”; give running, total or no_data")
        if self.start.tzinfo is None or self.end.tzinfo is None:
            raise ValueError(f"{self.start} to {self.end} has no zone; give instants with one, such as UTC")
        if _microseconds(self.end) <= _microseconds(self.start):
            raise ValueError(f"the span ends at {self.end}, not after its start {self.start}; give a later end")
        if not (self.running_h >= 0 and math.isfinite(self.running_h)):
            raise ValueError(f"running_h is {self.running_h} h; give 0 or more")

    @property
    def elapsed_h(self) -> float:
        """Hours on the clock, daylight saving included."""
        return (_microseconds(self.end) - _microseconds(self.start)) / _US_PER_H


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


@dataclass(frozen=True)
class Flag:
    """A meter reading that cannot be right, why, and the value that one slip of the fingers would explain."""

    read_at: datetime
    reading_h: float
    reason: str
    likely_h: float | None = None


@dataclass(frozen=True)
class MeterResult:
    """Spans between the readings that agree, and the readings that do not."""

    spans: tuple[Span, ...]
    flagged: tuple[Flag, ...]


@dataclass(frozen=True)
class Exposure:
    """Running hours in a window and how much of it is known.

    ``signal_h``, ``log_h`` and ``meter_h`` say by what kind of source the covered hours are known; they add up to
    ``covered_h``. ``coverage`` is covered by elapsed, 0 for an empty window.
    """

    running_h: float
    covered_h: float
    elapsed_h: float
    coverage: float
    signal_h: float = 0.0
    log_h: float = 0.0
    meter_h: float = 0.0


@dataclass(frozen=True, eq=False)
class Exposures:
    """`Exposure` of many windows at once; arrays of shape (n,)."""

    running_h: FloatArray
    covered_h: FloatArray
    elapsed_h: FloatArray
    coverage: FloatArray
    signal_h: FloatArray
    log_h: FloatArray
    meter_h: FloatArray


# --- meter readings to spans ----------------------------------------------------------------------------------------


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
    >>> day = datetime(2026, 3, 1, tzinfo=UTC)
    >>> readings = [Meter(day, 9900), Meter(day + timedelta(days=31), 150)]
    >>> meter_spans(readings, modulus_h=10_000).spans[0].running_h
    250.0
    """
    if modulus_h is not None and not (modulus_h > 0 and math.isfinite(modulus_h)):
        raise ValueError(f"modulus_h is {modulus_h} h; give the reading at which the meter starts again, such as 10000")
    order = {"normal": 0, "last_of_old": 1, "first_of_new": 2}
    ordered = sorted(set(readings), key=lambda r: (_microseconds(r.read_at), order[r.event], r.reading_h))
    spans: list[Span] = []
    flagged: list[Flag] = []
    for one_meter in _split_at_replacements(ordered):
        possible = [r for r in one_meter if modulus_h is None or r.reading_h < modulus_h]
        flagged += [
            Flag(r.read_at, r.reading_h, f"{_h(r.reading_h)} is more than the meter can show, {_h(modulus_h or 0)}")
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
    return MeterResult(tuple(spans), tuple(sorted(flagged, key=lambda f: (_microseconds(f.read_at), f.reading_h))))


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
    return (_microseconds(b.read_at) - _microseconds(a.read_at)) / _US_PER_H


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
    return Flag(
        first.read_at,
        first.reading_h,
        f"{_why(before, first, modulus_h)}; the readings after it agree with it, so time since the reading before is "
        "left open: if the meter was replaced, record the last reading of the old and the first of the new one",
    )


def _set_aside(reading: Meter, kept: list[Meter], modulus_h: float | None) -> Flag:
    before = max((k for k in kept if k.read_at <= reading.read_at), key=lambda k: k.read_at, default=None)
    after = min((k for k in kept if k.read_at > reading.read_at), key=lambda k: k.read_at, default=None)
    if before is not None and not _follows(before, reading, modulus_h):
        reason = _why(before, reading, modulus_h)
    elif after is not None:
        reason = _why(reading, after, modulus_h)
    else:
        reason = "it agrees with no other reading"
    likely = _likely(reading, before, after, modulus_h) if before is not None and after is not None else None
    return Flag(reading.read_at, reading.reading_h, reason, likely)


def _why(a: Meter, b: Meter, modulus_h: float | None) -> str:
    hours, elapsed = _hours(a, b, modulus_h), _elapsed_h(a, b)
    at = f"from {_h(a.reading_h)} to {_h(b.reading_h)}"
    if elapsed == 0:
        return f"two readings at one time, {_h(a.reading_h)} and {_h(b.reading_h)}"
    if hours < 0:
        return f"the meter ran backwards, {at}, and no rollover is declared for it"
    rollover = " with a rollover" if b.reading_h < a.reading_h else ""
    return f"{at}{rollover} is {_h(hours)} in {_h(elapsed)} on the clock"


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


def _h(hours: float) -> str:
    return f"{round(hours, 1):.10g} h"


# --- spans to a ledger ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Ledger:
    """What is known of a belt's running, instant by instant; made by `build_ledger`.

    ``set_aside`` holds the spans that claim more hours than their clock has; they are never used.
    """

    set_aside: tuple[Span, ...] = ()
    # Elementary stretches: edges [microseconds since 1970] and, between them, shares of time in four rows: running,
    # covered by signal, covered by log, covered by meter.
    _edges_us: IntArray = field(default_factory=lambda: np.zeros(1, np.int64), repr=False)
    _shares: FloatArray = field(default_factory=lambda: np.zeros((4, 0)), repr=False)
    # The same rows summed from the first edge up to each edge [h].
    _sums_h: FloatArray = field(default_factory=lambda: np.zeros((4, 1)), repr=False)

    def hours(self, start: datetime, end: datetime) -> Exposure:
        """Running hours in one window.

        Parameters
        ----------
        start, end : datetime
            Window, its end not included; with a zone.

        Returns
        -------
        Exposure
            Running, covered and elapsed hours [h], coverage [-].

        Raises
        ------
        ValueError
            If the window ends before it starts, or an instant carries no zone.
        """
        return self.by_month([(start, end)])[0]

    def by_month(self, bounds: Sequence[tuple[datetime, datetime]]) -> list[Exposure]:
        """Running hours in each of several windows, such as local months.

        Parameters
        ----------
        bounds : sequence of (start, end)
            Windows, as `plant.calc.calendar.local_month_bounds` gives them.

        Returns
        -------
        list of Exposure
            In the order of the windows.

        Raises
        ------
        ValueError
            If a window ends before it starts, or an instant carries no zone.
        """
        many = self.hours_many([a for a, _ in bounds], [b for _, b in bounds])
        columns = (
            many.running_h, many.covered_h, many.elapsed_h, many.coverage, many.signal_h, many.log_h, many.meter_h,
        )  # fmt: skip
        return [Exposure(*row) for row in zip(*(column.tolist() for column in columns), strict=True)]

    def hours_many(self, starts: Sequence[datetime], ends: Sequence[datetime]) -> Exposures:
        """Running hours in many windows at once.

        Parameters
        ----------
        starts, ends : sequence of datetime, length n
            Windows, ends not included; with a zone.

        Returns
        -------
        Exposures
            Arrays of shape (n,).

        Raises
        ------
        ValueError
            If lengths differ, a window ends before it starts, or an instant carries no zone.
        """
        if len(starts) != len(ends):
            raise ValueError(f"{len(starts)} starts and {len(ends)} ends; give one end for each start")
        low, high = _instants(starts), _instants(ends)
        if np.any(high < low):
            at = int(np.argmax(high < low))
            raise ValueError(f"the window ends at {ends[at]}, before its start {starts[at]}; give a later end")
        inside = self._up_to(high) - self._up_to(low)
        # Differences of long sums leave dust of 1e-12 h, which would show as coverage above one.
        running, signal, log, meter = np.where(inside < 1e-9, 0.0, inside)
        elapsed = (high - low) / _US_PER_H
        covered = np.minimum(signal + log + meter, elapsed)
        coverage = np.divide(covered, elapsed, out=np.zeros_like(elapsed), where=elapsed > 0)
        return Exposures(np.minimum(running, covered), covered, elapsed, coverage, signal, log, meter)

    def covers(self, instants: Sequence[datetime]) -> BoolArray:
        """Whether something is known at each instant; what happened elsewhere has no exposure to be divided by.

        Parameters
        ----------
        instants : sequence of datetime, length n
            With a zone.

        Returns
        -------
        array of bool, shape (n,)
        """
        at = np.searchsorted(self._edges_us, _instants(instants), side="right") - 1
        return self._known()[at + 1]

    def gaps(self, start: datetime, end: datetime) -> tuple[tuple[datetime, datetime], ...]:
        """The parts of a window of which nothing is known.

        Parameters
        ----------
        start, end : datetime
            Window, with a zone.

        Returns
        -------
        tuple of (start, end)
            In order, UTC, touching parts joined; none for an empty window.
        """
        low, high = (int(t) for t in _instants([start, end]))
        inner = self._edges_us[(self._edges_us > low) & (self._edges_us < high)]
        edges = np.concatenate([[low], inner, [high]])
        at = np.searchsorted(self._edges_us, edges[:-1], side="right")
        unknown = ~self._known()[at] & (edges[1:] > edges[:-1])
        turns = np.flatnonzero(np.diff(np.concatenate([[0], unknown.astype(np.int8), [0]])))
        return tuple((_instant(edges[a]), _instant(edges[b])) for a, b in zip(turns[::2], turns[1::2], strict=True))

    def _known(self) -> BoolArray:
        """Whether something is known before the first edge, between edges, and after the last one."""
        return np.concatenate([[False], self._shares[1:].any(axis=0), [False]])

    def _up_to(self, t_us: IntArray) -> FloatArray:
        """Running hours and covered hours by source from the first edge up to each instant; shape (4, n)."""
        n_stretches = self._shares.shape[1]
        if not n_stretches:
            return np.zeros((4, len(t_us)))
        t = np.clip(t_us, self._edges_us[0], self._edges_us[-1])
        at = np.clip(np.searchsorted(self._edges_us, t, side="right") - 1, 0, n_stretches - 1)
        part_h = (t - self._edges_us[at]) / _US_PER_H
        return np.asarray(self._sums_h[:, at] + part_h * self._shares[:, at])


def build_ledger(spans: Iterable[Span], *, longest_idle_h: float = LONGEST_IDLE_H) -> Ledger:
    """Lay spans of all sources over each other so that each instant has one source.

    Parameters
    ----------
    spans : iterable of Span
        In any order and as often as they come; those of `meter_spans` among them.
    longest_idle_h : float, optional
        Longest time between two running intervals of one source that still counts as known idle time [h].

    Returns
    -------
    Ledger
        To be asked for windows. A span of hours that claims more than its clock has, beyond one hour of slack, is in
        ``set_aside``.

    Raises
    ------
    ValueError
        If longest_idle_h is negative or not a number.

    Examples
    --------
    >>> at = datetime(2026, 1, 1, tzinfo=UTC)
    >>> ledger = build_ledger([Span(at, at + timedelta(hours=744), 500.0, "total", "log")])
    >>> round(ledger.hours(at + timedelta(days=10), at + timedelta(days=20)).running_h, 4)
    161.2903
    """
    if not longest_idle_h >= 0:
        raise ValueError(f"longest_idle_h is {longest_idle_h} h; give 0 or more")
    known = set(spans)
    set_aside = {s for s in known if s.kind == "total" and s.running_h > s.elapsed_h + SLACK_H}
    ranked = sorted(known - set_aside, key=_painting_order)
    if not ranked:
        return Ledger(set_aside=tuple(sorted(set_aside, key=_painting_order)))
    starts, ends = _instants([s.start for s in ranked]), _instants([s.end for s in ranked])
    running = np.array([s.kind == "running" for s in ranked])
    idle_starts, idle_ends = _idle_gaps(
        starts[running], ends[running], [s.source for s in ranked if s.kind == "running"], longest_idle_h
    )
    edges = np.unique(np.concatenate([starts, ends, idle_starts, idle_ends]))
    rate, rank = np.zeros(len(edges) - 1), np.full(len(edges) - 1, _NONE)
    first, last = np.searchsorted(edges, starts), np.searchsorted(edges, ends)
    for span, a, b in zip(ranked, first.tolist(), last.tolist(), strict=True):
        if span.kind == "total":
            rate[a:b] = min(span.running_h / span.elapsed_h, 1.0)
            rank[a:b] = _METER if span.source == METER_SOURCE else _LOG
    idle = _covered(edges, idle_starts, idle_ends)
    runs = _covered(edges, starts[running], ends[running])
    rank[idle | runs] = _SIGNAL
    rate[idle] = 0.0
    rate[runs] = 1.0
    nothing = np.array([s.kind == "no_data" for s in ranked])
    unknown = _covered(edges, starts[nothing], ends[nothing])
    rate[unknown], rank[unknown] = 0.0, _NONE
    shares = np.stack([rate, rank == _SIGNAL, rank == _LOG, rank == _METER]).astype(np.float64)
    sums = np.concatenate([np.zeros((4, 1)), np.cumsum(shares * (np.diff(edges) / _US_PER_H), axis=1)], axis=1)
    return Ledger(tuple(sorted(set_aside, key=_painting_order)), edges, shares, sums)


def _painting_order(span: Span) -> tuple[bool, int, int, float, str, str]:
    # Painted over each other from first to last: meter before log, long before short. The rest of the key only makes
    # the outcome the same whatever order the spans came in.
    start, end = _microseconds(span.start), _microseconds(span.end)
    return (span.source != METER_SOURCE, start - end, start, -span.running_h, span.kind, span.source)


def _idle_gaps(
    starts: IntArray, ends: IntArray, sources: list[str], longest_idle_h: float
) -> tuple[IntArray, IntArray]:
    """Gaps between the running intervals of each source, as far as they count as idle."""
    gap_starts, gap_ends = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    names = np.array(sources)
    for name in np.unique(names):
        mine = np.flatnonzero(names == name)
        mine = mine[np.argsort(starts[mine], kind="stable")]
        # The latest end so far, not the end of the interval before: a short interval may lie inside a long one.
        reached, following = np.maximum.accumulate(ends[mine])[:-1], starts[mine][1:]
        idle = (following > reached) & (following - reached <= longest_idle_h * _US_PER_H)
        gap_starts.append(reached[idle])
        gap_ends.append(following[idle])
    return np.concatenate(gap_starts), np.concatenate(gap_ends)


def _covered(edges: IntArray, starts: IntArray, ends: IntArray) -> BoolArray:
    """Which elementary stretches lie in at least one of the intervals."""
    depth = np.zeros(len(edges), np.int64)
    np.add.at(depth, np.searchsorted(edges, starts), 1)
    np.add.at(depth, np.searchsorted(edges, ends), -1)
    return np.asarray(np.cumsum(depth)[:-1] > 0)


def _microseconds(t: datetime) -> int:
    # Whole microseconds, and through UTC: two datetimes of one zone subtract as wall clocks.
    return round(t.timestamp() * 1_000_000)


def _instants(times: Sequence[datetime]) -> IntArray:
    for t in times:
        if t.tzinfo is None:
            raise ValueError(f"{t} has no zone; give an instant with one, such as UTC")
    return np.fromiter((_microseconds(t) for t in times), np.int64, len(times))


def _instant(t_us: int) -> datetime:
    return _EPOCH + timedelta(microseconds=int(t_us))
