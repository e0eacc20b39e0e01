"""Spans of time and what is known of a belt in each: what the ledger of running hours is laid from.

Instants are taken to whole microseconds, through UTC.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]

METER_SOURCE = "meter"

# Readings are taken to the quarter of an hour and meters show tenths, so a belt that never stopped may show a little
# more than the clock (one hour: common practice, no source). What is used is never more than the clock.
SLACK_H = 1.0

US_PER_H = 3_600_000_000
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


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
        if microseconds(self.end) <= microseconds(self.start):
            raise ValueError(f"the span ends at {self.end}, not after its start {self.start}; give a later end")
        if not (self.running_h >= 0 and math.isfinite(self.running_h)):
            raise ValueError(f"running_h is {self.running_h} h; give 0 or more")

    @property
    def elapsed_h(self) -> float:
        """Hours on the clock, daylight saving included."""
        return (microseconds(self.end) - microseconds(self.start)) / US_PER_H


def microseconds(t: datetime) -> int:
    """Whole microseconds since 1970, through UTC: two datetimes of one zone subtract as wall clocks.

    Parameters
    ----------
    t : datetime
        With a zone.

    Returns
    -------
    int
        [microseconds]
    """
    return round(t.timestamp() * 1_000_000)


def microseconds_of(times: Sequence[datetime]) -> IntArray:
    """The microseconds of several instants.

    Parameters
    ----------
    times : sequence of datetime, length n
        With a zone.

    Returns
    -------
    array of int, shape (n,)
        [microseconds since 1970]

    Raises
    ------
    ValueError
        If an instant carries no zone.
    """
    for t in times:
        if t.tzinfo is None:
            raise ValueError(f"{t} has no zone; give an instant with one, such as UTC")
    return np.fromiter((microseconds(t) for t in times), np.int64, len(times))


def instant(t_us: int) -> datetime:
    """The instant so many microseconds after the beginning of 1970, in UTC.

    Parameters
    ----------
    t_us : int
        [microseconds]

    Returns
    -------
    datetime
    """
    return EPOCH + timedelta(microseconds=int(t_us))
