"""Where a device steers, what no device reaches, and whether anything there would be seen.

A device acts on the stretch downstream of itself: towards the head on the carry strand (rising chainage), towards the
tail on the return strand (falling chainage), both ways on a reversing belt. Zones end at the pulleys. Chainage is in
metres from the centre of the tail pulley; all zones of one call lie on one strand of one conveyor.

Ends belong to the zone: an incident at the chainage of the device counts as inside, and so does one at the far end.
How far a device acts is a setting of the plant or the device model; 45 to 60 m is common practice, no source.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Sign of chainage along belt travel.
TRAVEL = {"carry": 1.0, "return": -1.0}
# Chainages are read with a tape; shorter lengths than this are rounding.
SLACK_M = 1e-9


@dataclass(frozen=True, order=True)
class Zone:
    """A stretch of one strand, from low to high chainage [m], ends included."""

    low_m: float
    high_m: float

    def __post_init__(self) -> None:
        if not -math.inf < self.low_m <= self.high_m < math.inf:
            raise ValueError(
                f"zone runs from {self.low_m} to {self.high_m} m; give the low chainage before the high one"
            )

    @property
    def length_m(self) -> float:
        """Length [m]."""
        return self.high_m - self.low_m


@dataclass(frozen=True)
class Overlap:
    """Two zones, by their places in what was given, and the stretch that they share."""

    first: int
    second: int
    zone: Zone


@dataclass(frozen=True)
class StretchCount:
    """Incidents on one stretch that no device reaches, and their share of all that have a place."""

    zone: Zone
    n: int
    share: float | None


@dataclass(frozen=True)
class UncoveredCounts:
    """Incidents outside all zones, stretch by stretch along the belt.

    `most` is the stretch with most of them (the longer one at a tie); None where none lies outside. `n_inside` lie in a
    zone, `n_without_place` have no chainage or one off the belt.
    """

    stretches: tuple[StretchCount, ...]
    most: StretchCount | None
    n_inside: int
    n_without_place: int


@dataclass(frozen=True)
class StrandCoverage:
    """How much of a strand is steered [m], and how many incidents lie there, elsewhere, or where nobody knows."""

    covered_m: float
    uncovered_m: float
    overlap_m: float
    n_reached: int
    n_not_reached: int
    n_without_place: int
    gaps: tuple[StretchCount, ...]


@dataclass(frozen=True)
class Placed:
    """An installation as the grouping needs it: a key of the caller's, conveyor and strand, and its zones."""

    key: Hashable
    conveyor: Hashable
    strand: str
    zones: tuple[Zone, ...]


def effect_zone(
    strand: str, chainage_m: float, effect_length_m: float, belt_length_m: float, reversing: bool = False
) -> tuple[Zone, ...]:
    """The stretch on which a device steers, cut at the pulleys.

    Parameters
    ----------
    strand : {"carry", "return"}
        Strand that the device stands on.
    chainage_m : float
        Place of the device, 0 to belt_length_m [m].
    effect_length_m : float
        How far it acts downstream, above 0 [m].
    belt_length_m : float
        Centre distance of head and tail pulley, above 0 [m].
    reversing : bool, optional
        The belt runs both ways, so the device acts both ways.

    Returns
    -------
    tuple of Zone
        The zone for ordinary travel first; on a reversing belt the one for reversed travel second, which meets it at
        the device. Empty only where the device stands at the very pulley that the belt runs to.

    Raises
    ------
    ValueError
        If the strand is unknown or a length is outside its range.

    Examples
    --------
    >>> effect_zone("return", 120, 50, 260)
    (Zone(low_m=70.0, high_m=120.0),)
    >>> effect_zone("carry", 240, 50, 260)
    (Zone(low_m=240.0, high_m=260.0),)
    """
    if strand not in TRAVEL:
        raise ValueError(f"strand is {strand!r}; give one of {', '.join(TRAVEL)}")
    _check_length("effect_length_m", effect_length_m)
    _check_length("belt_length_m", belt_length_m)
    if not 0 <= chainage_m <= belt_length_m:
        raise ValueError(f"chainage_m is {chainage_m} m; give 0 to {belt_length_m:g} m, the length of the belt")
    ends = [chainage_m + TRAVEL[strand] * effect_length_m]
    if reversing:
        ends.append(chainage_m - TRAVEL[strand] * effect_length_m)
    cut = [min(max(end, 0.0), float(belt_length_m)) for end in ends]
    found = (Zone(float(min(chainage_m, end)), float(max(chainage_m, end))) for end in cut)
    return tuple(zone for zone in found if zone.length_m > SLACK_M)


def union(zones: Iterable[Zone]) -> tuple[Zone, ...]:
    """Zones in order of chainage, with those that touch or overlap made one.

    Parameters
    ----------
    zones : iterable of Zone
        In any order.

    Returns
    -------
    tuple of Zone
        Apart from each other, rising.
    """
    merged: list[Zone] = []
    for zone in sorted(zones):
        if merged and zone.low_m <= merged[-1].high_m + SLACK_M:
            merged[-1] = Zone(merged[-1].low_m, max(merged[-1].high_m, zone.high_m))
        else:
            merged.append(zone)
    return tuple(merged)


def overlaps(zones: Sequence[Zone]) -> tuple[Overlap, ...]:
    """Every pair of zones that share a stretch; zones that only touch share none.

    Parameters
    ----------
    zones : sequence of Zone
        One for each device, on one strand.

    Returns
    -------
    tuple of Overlap
        Pairs by their places in `zones`, first < second.
    """
    found = []
    for (i, one), (j, other) in itertools.combinations(enumerate(zones), 2):
        low, high = max(one.low_m, other.low_m), min(one.high_m, other.high_m)
        if high - low > SLACK_M:
            found.append(Overlap(i, j, Zone(low, high)))
    return tuple(found)


def uncovered(zones: Iterable[Zone], belt_length_m: float) -> tuple[Zone, ...]:
    """Stretches of the strand that no zone reaches.

    Parameters
    ----------
    zones : iterable of Zone
        In any order; what lies off the belt is passed over.
    belt_length_m : float
        Centre distance of head and tail pulley, above 0 [m].

    Returns
    -------
    tuple of Zone
        Rising. A point that is the end of a zone belongs to that zone, not to the stretch beside it.

    Raises
    ------
    ValueError
        If belt_length_m is not above 0.
    """
    _check_length("belt_length_m", belt_length_m)
    gaps, reached = [], 0.0
    for zone in union(zones):
        if min(zone.low_m, belt_length_m) - reached > SLACK_M:
            gaps.append(Zone(reached, min(zone.low_m, float(belt_length_m))))
        reached = max(reached, zone.high_m)
    if belt_length_m - reached > SLACK_M:
        gaps.append(Zone(reached, float(belt_length_m)))
    return tuple(gaps)


def inside(zones: Iterable[Zone], positions_m: ArrayLike) -> NDArray[np.bool_]:
    """Which positions lie in any of the zones, ends included.

    Parameters
    ----------
    zones : iterable of Zone
        On one strand.
    positions_m : array of float, shape (n,)
        Chainages, NaN where unknown [m].

    Returns
    -------
    array of bool, shape (n,)
        False where the position is unknown.
    """
    positions = np.asarray(positions_m, dtype=float)
    found = np.zeros(positions.shape, dtype=bool)
    for zone in zones:
        found |= (positions >= zone.low_m - SLACK_M) & (positions <= zone.high_m + SLACK_M)
    return found


def stretch_with_most(positions_m: ArrayLike, zones: Iterable[Zone], belt_length_m: float) -> UncoveredCounts:
    """Incidents outside all zones by stretch, and the stretch that has most of them.

    Parameters
    ----------
    positions_m : array of float, shape (n,)
        Chainages of incidents on the strand, NaN where unknown [m].
    zones : iterable of Zone
        Zones of the devices on that strand.
    belt_length_m : float
        Centre distance of head and tail pulley, above 0 [m].

    Returns
    -------
    UncoveredCounts
        Each incident is counted once: on a stretch, inside a zone, or without a place.

    Raises
    ------
    ValueError
        If belt_length_m is not above 0.
    """
    covered = union(zones)
    gaps = uncovered(covered, belt_length_m)
    positions = np.asarray(positions_m, dtype=float).ravel()
    placed = positions[(positions >= 0) & (positions <= belt_length_m)]
    outside = placed[~inside(covered, placed)]
    counts = [int(np.count_nonzero((outside >= gap.low_m) & (outside <= gap.high_m))) for gap in gaps]
    stretches = tuple(
        StretchCount(gap, n, n / placed.size if placed.size else None) for gap, n in zip(gaps, counts, strict=True)
    )
    most = max(stretches, key=lambda stretch: (stretch.n, stretch.zone.length_m), default=None)
    return UncoveredCounts(
        stretches,
        most if most is not None and most.n > 0 else None,
        int(placed.size - outside.size),
        int(positions.size - placed.size),
    )


def strand_coverage(positions_m: ArrayLike, zones: Sequence[Zone], belt_length_m: float) -> StrandCoverage:
    """How much of a strand standing devices steer, in metres and in incidents.

    Parameters
    ----------
    positions_m : array of float, shape (n,)
        Chainages of incidents on the strand, NaN where unknown [m].
    zones : sequence of Zone
        Where devices steer on it; what lies off the belt is passed over.
    belt_length_m : float
        Centre distance of head and tail pulley, above 0 [m].

    Returns
    -------
    StrandCoverage
        covered_m + uncovered_m is the length of the belt; overlap_m is the length that two or more zones share.

    Raises
    ------
    ValueError
        If belt_length_m is not above 0.

    Examples
    --------
    >>> found = strand_coverage([20, 150, 400], (Zone(0, 60), Zone(40, 180)), 900)
    >>> found.covered_m, found.uncovered_m, found.overlap_m, found.n_reached, found.n_not_reached
    (180.0, 720.0, 20.0, 2, 1)
    """
    counts = stretch_with_most(positions_m, zones, belt_length_m)
    uncovered_m = sum(stretch.zone.length_m for stretch in counts.stretches)
    return StrandCoverage(
        covered_m=float(belt_length_m - uncovered_m),
        uncovered_m=float(uncovered_m),
        overlap_m=float(sum(zone.length_m for zone in union(pair.zone for pair in overlaps(zones)))),
        n_reached=counts.n_inside,
        n_not_reached=sum(stretch.n for stretch in counts.stretches),
        n_without_place=counts.n_without_place,
        gaps=counts.stretches,
    )


def detectors_in(zones: Iterable[Zone], positions_m: Iterable[float]) -> tuple[float, ...]:
    """Drift switches and logged stations that stand in the zones.

    With none, an incident in the zone is seen by nobody and the device's effect can never be judged from events; ask
    before it is fitted.

    Parameters
    ----------
    zones : iterable of Zone
        Zones of one device, or of a group studied as one.
    positions_m : iterable of float
        Chainages of switches and logged stations [m].

    Returns
    -------
    tuple of float
        Those inside, rising [m].
    """
    positions = np.sort(np.asarray(list(positions_m), dtype=float))
    return tuple(float(position) for position in positions[inside(zones, positions)])


def overlap_groups(installations: Iterable[Placed]) -> tuple[tuple[Hashable, ...], ...]:
    """Devices on one strand whose zones overlap, directly or through others: they are studied as one.

    Parameters
    ----------
    installations : iterable of Placed
        Those that stood at the same time.

    Returns
    -------
    tuple of tuple
        Keys of each group of two or more, in the order given.
    """
    given = list(installations)
    group = list(range(len(given)))
    for (i, one), (j, other) in itertools.combinations(enumerate(given), 2):
        if (one.conveyor, one.strand) == (other.conveyor, other.strand) and _share_a_stretch(one.zones, other.zones):
            # The whole group of the later one joins, so that chains of overlaps end as one group.
            kept, joined = group[i], group[j]
            group = [kept if g == joined else g for g in group]
    members: dict[int, list[Hashable]] = {}
    for g, placed in zip(group, given, strict=True):
        members.setdefault(g, []).append(placed.key)
    return tuple(tuple(keys) for keys in members.values() if len(keys) > 1)


def _share_a_stretch(one: Sequence[Zone], other: Sequence[Zone]) -> bool:
    return any(overlaps((a, b)) for a in one for b in other)


def _check_length(name: str, length_m: float) -> None:
    if not 0 < length_m < math.inf:
        raise ValueError(f"{name} is {length_m} m; give a length above 0 m")
