"""Running hours of a belt: how long it moved under power, and for how much of the time that is known.

1. **Meter readings become spans** (`plant.calc.meter_readings`), as do rows of the signal, of logs and of files.
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

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from plant.calc.running_spans import (
    METER_SOURCE,
    SLACK_H,
    US_PER_H,
    IntArray,
    Span,
    instant,
    microseconds,
    microseconds_of,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# A belt at rest for longer than a kiln's yearly repair is no longer taken as idle: 21 days, common practice, no source.
LONGEST_IDLE_H = 504.0

_NONE, _METER, _LOG, _SIGNAL = range(4)


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


@dataclass(frozen=True, eq=False)
class Ledger:
    """What is known of a belt's running, instant by instant; made by `build_ledger`.

    ``set_aside`` holds the spans that claim more hours than their clock has; they are never used.
    """

    set_aside: tuple[Span, ...] = ()
    # Edges of stretches [microseconds since 1970]; between them shares of time: running, covered by signal, log, meter.
    edges_us: IntArray = field(default_factory=lambda: np.zeros(1, np.int64), repr=False)
    shares: FloatArray = field(default_factory=lambda: np.zeros((4, 0)), repr=False)
    _sums_h: FloatArray = field(init=False, repr=False)  # the same rows summed up to each edge [h]

    def __post_init__(self) -> None:
        hours = self.shares * (np.diff(self.edges_us) / US_PER_H)
        object.__setattr__(self, "_sums_h", np.concatenate([np.zeros((4, 1)), np.cumsum(hours, axis=1)], axis=1))

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
        low, high = microseconds_of(starts), microseconds_of(ends)
        if np.any(high < low):
            at = int(np.argmax(high < low))
            raise ValueError(f"the window ends at {ends[at]}, before its start {starts[at]}; give a later end")
        inside = self._up_to(high) - self._up_to(low)
        # Differences of long sums leave dust of 1e-12 h, which would show as coverage above one.
        running, signal, log, meter = np.where(inside < 1e-9, 0.0, inside)
        elapsed = (high - low) / US_PER_H
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
        at = np.searchsorted(self.edges_us, microseconds_of(instants), side="right") - 1
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
        low, high = (int(t) for t in microseconds_of([start, end]))
        inner = self.edges_us[(self.edges_us > low) & (self.edges_us < high)]
        edges = np.concatenate([[low], inner, [high]])
        at = np.searchsorted(self.edges_us, edges[:-1], side="right")
        unknown = ~self._known()[at] & (edges[1:] > edges[:-1])
        turns = np.flatnonzero(np.diff(np.concatenate([[0], unknown.astype(np.int8), [0]])))
        return tuple((instant(edges[a]), instant(edges[b])) for a, b in zip(turns[::2], turns[1::2], strict=True))

    def _known(self) -> BoolArray:
        """Whether something is known before the first edge, between edges, and after the last one."""
        return np.concatenate([[False], self.shares[1:].any(axis=0), [False]])

    def _up_to(self, t_us: IntArray) -> FloatArray:
        """Running hours and covered hours by source from the first edge up to each instant; shape (4, n)."""
        n_stretches = self.shares.shape[1]
        if not n_stretches:
            return np.zeros((4, len(t_us)))
        t = np.clip(t_us, self.edges_us[0], self.edges_us[-1])
        at = np.clip(np.searchsorted(self.edges_us, t, side="right") - 1, 0, n_stretches - 1)
        part_h = (t - self.edges_us[at]) / US_PER_H
        return np.asarray(self._sums_h[:, at] + part_h * self.shares[:, at])


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
    >>> from datetime import UTC, timedelta
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
    starts, ends = microseconds_of([s.start for s in ranked]), microseconds_of([s.end for s in ranked])
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
    return Ledger(tuple(sorted(set_aside, key=_painting_order)), edges, shares)


def _painting_order(span: Span) -> tuple[bool, int, int, float, str, str]:
    # Painted over each other from first to last: meter before log, long before short. The rest of the key only makes
    # the outcome the same whatever order the spans came in.
    start, end = microseconds(span.start), microseconds(span.end)
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
        idle = (following > reached) & (following - reached <= longest_idle_h * US_PER_H)
        gap_starts.append(reached[idle])
        gap_ends.append(following[idle])
    return np.concatenate(gap_starts), np.concatenate(gap_ends)


def _covered(edges: IntArray, starts: IntArray, ends: IntArray) -> BoolArray:
    """Which elementary stretches lie in at least one of the intervals."""
    depth = np.zeros(len(edges), np.int64)
    np.add.at(depth, np.searchsorted(edges, starts), 1)
    np.add.at(depth, np.searchsorted(edges, ends), -1)
    return np.asarray(np.cumsum(depth)[:-1] > 0)
