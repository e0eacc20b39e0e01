"""Trial runs: how long they must be watched, what was measured, and where a station lies seen from the device.

Offsets are in millimetres, positive towards the drive side.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from plant.calc.chainage import downstream, revolution_time_s

LEAST_REVOLUTIONS = 3  # common practice


@dataclass(frozen=True)
class Offset:
    """Where the belt lay at one station: chainage [m] and distance off its centre line [mm], drive side positive."""

    chainage_m: float
    offset_mm: float


@dataclass(frozen=True)
class Run:
    """One trial run: after which cycle, loaded or not, minutes watched, what was measured and seen."""

    cycle: int
    is_loaded: bool
    minutes: float
    offsets: tuple[Offset, ...]
    touches_structure: bool = False
    is_noisy: bool = False
    frame_position: str = ""
    # Its times cannot be as they were entered, and a person said why they stand all the same.
    is_time_doubted: bool = False


class SideOfDevice(StrEnum):
    """Where a station lies, seen along belt travel."""

    UPSTREAM = "upstream"
    DOWNSTREAM = "downstream"
    AT_DEVICE = "at_device"


@dataclass(frozen=True)
class SideByTravel:
    """Where a station lies while the belt runs towards the head (+1) or the tail (-1) on the device's strand."""

    travel: int
    side: SideOfDevice


def least_run_s(length_m: float, speed_m_s: float, revolutions: int = LEAST_REVOLUTIONS) -> float:
    """How long a trial run must be watched at least: some whole revolutions of the belt.

    Parameters
    ----------
    length_m : float
        Centre to centre [m]; the belt itself is about twice as long.
    speed_m_s : float
        Belt speed [m/s].
    revolutions : int, optional
        Common practice: three.

    Returns
    -------
    float
        revolutions * 2 L / v [s].

    Raises
    ------
    ValueError
        If length, speed or revolutions are not above 0.

    Examples
    --------
    >>> least_run_s(110, 2.5)
    264.0
    """
    if revolutions < 1:
        raise ValueError(f"revolutions is {revolutions}; give 1 or more")
    return revolutions * revolution_time_s(length_m, speed_m_s)


def worst_of(offsets: Iterable[Offset]) -> Offset | None:
    """The offset that is furthest from the centre line; the first of equal ones; None where there is none.

    Parameters
    ----------
    offsets : iterable of Offset
        Such as those of one run.
    """
    return max(offsets, key=lambda each: abs(each.offset_mm), default=None)


def station_sides(
    station_m: float, device_m: float, strand: str, *, reversing: bool = False
) -> tuple[SideByTravel, ...]:
    """Whether a station lies upstream or downstream of a device, for each way that the belt travels there.

    Parameters
    ----------
    station_m, device_m : float
        Chainages [m].
    strand : {"carry", "return"}
        Strand of both.
    reversing : bool, optional
        Whether the belt runs both ways.

    Returns
    -------
    tuple of SideByTravel
        One for a belt that runs one way, two for a reversing one, towards the head first.

    Examples
    --------
    >>> [(each.travel, each.side.value) for each in station_sides(80, 55, "return")]
    [(-1, 'upstream')]
    >>> [(each.travel, each.side.value) for each in station_sides(80, 55, "carry", reversing=True)]
    [(1, 'downstream'), (-1, 'upstream')]
    """

    def side(travel: int) -> SideOfDevice:
        along = (station_m - device_m) * travel
        if along == 0:
            return SideOfDevice.AT_DEVICE
        return SideOfDevice.DOWNSTREAM if along > 0 else SideOfDevice.UPSTREAM

    return tuple(SideByTravel(travel, side(travel)) for travel in downstream(strand, reversing))


def sides_of_device(
    stations_m: Iterable[float], device_m: float, strand: str, *, reversing: bool = False
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Stations upstream and downstream of a device on its strand.

    Parameters
    ----------
    stations_m : iterable of float
        Chainages [m].
    device_m : float
        Chainage of the device [m]. A station at the device itself counts for neither.
    strand : {"carry", "return"}
        Downstream is towards the head on the carry strand, towards the tail on the return strand.
    reversing : bool, optional
        On a reversing belt each side is downstream in one direction: taken as the belt runs forward.

    Returns
    -------
    tuple of two tuples
        Upstream, downstream.

    Examples
    --------
    >>> sides_of_device([30, 80], 55, "return")
    ((80,), (30,))
    """
    way = downstream(strand, False)[0]
    stations = tuple(stations_m)
    upstream = tuple(each for each in stations if (each - device_m) * way < 0)
    return upstream, tuple(each for each in stations if (each - device_m) * way > 0)


def lacking_sides(run: Run, device_m: float) -> tuple[int, ...]:
    """On which sides of a device no station was measured in a run.

    Parameters
    ----------
    run : Run
        With its offsets.
    device_m : float
        Chainage of the device [m]. A station at the device itself counts for neither side.

    Returns
    -------
    tuple of int
        +1 for the side towards the head, -1 for the side towards the tail.
    """
    return tuple(way for way in (1, -1) if not any((each.chainage_m - device_m) * way > 0 for each in run.offsets))
