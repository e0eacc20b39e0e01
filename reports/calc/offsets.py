"""Belt offset before against after, station by station: a second end point beside the counts of incidents.

How far the belt lay off its centre line is measured at the same stations before a device is fitted and after. Looked at
is the size of the offset, whichever the side; the mean of the differences (after minus before) has Student's interval.
An empty and a loaded belt run differently and are told apart. Readings of one survey share the day's weather and load,
so the interval speaks of these stations on these days only.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy

from plant.calc.reasons import Reason

FEWEST_STATIONS = 3
# Stations closer together than this are the same one measured again; common practice, no source.
SAME_STATION_M = 0.5


@dataclass(frozen=True)
class OffsetReading:
    """One reading: station [m], offset with drive side positive [mm], after the installation or before, loaded."""

    chainage_m: float
    offset_mm: float
    is_after: bool
    is_loaded: bool


class OffsetChangeRule(StrEnum):
    """Why there is no interval."""

    NOT_PAIRED = "offset.not_paired"
    TOO_FEW_STATIONS = "offset.too_few_stations"
    EVEN = "offset.even"


class OffsetAnswer(StrEnum):
    """What the measurements allow to be said; the words are put where they are shown."""

    NEARER = "nearer"
    FURTHER = "further"
    UNCLEAR = "unclear"
    TOO_FEW = "too_few"
    EVEN = "even"  # every station changed by the same amount: no spread to make an interval from
    NOT_PAIRED = "not_paired"


@dataclass(frozen=True)
class PairedOffsetChange:
    """Mean change of the size of the offset [mm], below 0 where the belt lies nearer to its line.

    Medians and largest sizes are over the same stations, those measured both before and after.
    """

    is_loaded: bool
    n_stations: int
    mean_before_mm: float | None
    mean_after_mm: float | None
    change_mm: float | None
    low_mm: float | None
    high_mm: float | None
    p: float | None
    level: float = 0.95
    reasons: tuple[Reason, ...] = ()
    median_before_mm: float | None = None
    median_after_mm: float | None = None
    largest_before_mm: float | None = None
    largest_after_mm: float | None = None

    @property
    def answer(self) -> OffsetAnswer:
        """Nearer or further only where the interval of the mean change leaves out 0."""
        if self.n_stations == 0:
            return OffsetAnswer.NOT_PAIRED
        if self.low_mm is None or self.high_mm is None:
            return OffsetAnswer.TOO_FEW if self.n_stations < FEWEST_STATIONS else OffsetAnswer.EVEN
        if self.high_mm < 0:
            return OffsetAnswer.NEARER
        return OffsetAnswer.FURTHER if self.low_mm > 0 else OffsetAnswer.UNCLEAR


def offset_changes(
    readings: Iterable[OffsetReading], *, level: float = 0.95
) -> tuple[PairedOffsetChange, PairedOffsetChange]:
    """Paired change of the size of the offset, empty belt and loaded belt apart.

    Parameters
    ----------
    readings : iterable of OffsetReading
        Several readings of a station on one side are averaged, each as its size, before they are paired.
    level : float, optional
        Coverage of Student's interval, 0 < level < 1 [-].

    Returns
    -------
    tuple of PairedOffsetChange
        Empty, loaded. Without interval, with the reason, where fewer than three stations have both.

    Raises
    ------
    ValueError
        If level is outside 0 to 1 or a value is not finite.

    References
    ----------
    Student (1908), The probable error of a mean, Biometrika 6, 1-25 (from memory); equals scipy.stats.ttest_rel.
    """
    if not 0 < level < 1:
        raise ValueError(f"level is {level}; give a share between 0 and 1, such as 0.95")
    rows = list(readings)
    if not all(math.isfinite(each.chainage_m) and math.isfinite(each.offset_mm) for each in rows):
        raise ValueError("a station or an offset is not finite; leave out readings that were not taken")
    empty, loaded = ([each for each in rows if each.is_loaded == is_loaded] for is_loaded in (False, True))
    return _change(empty, False, level), _change(loaded, True, level)


def _change(rows: list[OffsetReading], is_loaded: bool, level: float) -> PairedOffsetChange:
    pairs = _pairs(rows)
    n = len(pairs)
    if n == 0:
        why = Reason(OffsetChangeRule.NOT_PAIRED)
        return PairedOffsetChange(is_loaded, 0, None, None, None, None, None, None, level, (why,))
    before, after = np.array(pairs, dtype=float).T
    difference = after - before
    means = (float(before.mean()), float(after.mean()), float(difference.mean()))
    sizes = {
        "median_before_mm": float(np.median(before)),
        "median_after_mm": float(np.median(after)),
        "largest_before_mm": float(before.max()),
        "largest_after_mm": float(after.max()),
    }
    if n < FEWEST_STATIONS:
        why = Reason(OffsetChangeRule.TOO_FEW_STATIONS, {"n": n, "n_needed": FEWEST_STATIONS})
        return PairedOffsetChange(is_loaded, n, *means, None, None, None, level, (why,), **sizes)
    error = float(difference.std(ddof=1)) / math.sqrt(n)
    if error == 0.0:
        why = Reason(OffsetChangeRule.EVEN)
        return PairedOffsetChange(is_loaded, n, *means, None, None, None, level, (why,), **sizes)
    reach = float(scipy.stats.t.isf((1.0 - level) / 2.0, n - 1)) * error
    p = float(2.0 * scipy.stats.t.sf(abs(means[2]) / error, n - 1))
    return PairedOffsetChange(is_loaded, n, *means, means[2] - reach, means[2] + reach, p, level, (), **sizes)


def _pairs(rows: list[OffsetReading]) -> list[tuple[float, float]]:
    """Mean size before and after of each station that has both, in the order of the belt."""
    stations: dict[int, tuple[list[float], list[float]]] = defaultdict(lambda: ([], []))
    station, last = -1, -math.inf
    for each in sorted(rows, key=lambda row: row.chainage_m):
        if each.chainage_m - last > SAME_STATION_M:
            station, last = station + 1, each.chainage_m
        stations[station][each.is_after].append(abs(each.offset_mm))
    return [(float(np.mean(before)), float(np.mean(after))) for before, after in stations.values() if before and after]
