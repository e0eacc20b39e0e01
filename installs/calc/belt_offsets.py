"""Belt offsets at stations: where to measure, and how far the belt lay off, occasion by occasion.

An offset is how far the belt's middle lies off the centre line of the structure [mm], positive towards the drive side.
It is measured at the same stations each time, empty and loaded, so that the same places are compared.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from installs.calc.effect_zones import TRAVEL

LEAST_STATIONS, MOST_STATIONS = 5, 8
# Places as shares of the effect length downstream of the device; negative lies upstream. Two before it, five on the
# stretch that it steers, one beyond (common practice, no source).
SHARES = (-0.4, -0.1, 0.1, 0.3, 0.5, 0.7, 1.0, 1.4)
FROM_PULLEY_M = 2.0  # nearer to a pulley the belt follows the pulley
APART_M = 1.0


@dataclass(frozen=True)
class OffsetSummary:
    """One occasion: how many readings, the mean distance off the centre line and the largest of them [mm]."""

    n: int
    mean_mm: float
    largest_mm: float


def propose_stations(
    strand: str,
    chainage_m: float,
    effect_length_m: float,
    belt_length_m: float,
    *,
    reversing: bool = False,
    step_m: float = 1.0,
) -> tuple[float, ...]:
    """Five to eight stations around a place, upstream and downstream of it, in whole metres or feet.

    Parameters
    ----------
    strand : {"carry", "return"}
    chainage_m : float
        The place, 0 to belt_length_m [m].
    effect_length_m : float
        How far the device acts, above 0 [m].
    belt_length_m : float
        Above 0 [m].
    reversing : bool, optional
        The belt runs both ways: stations lie alike on both sides.
    step_m : float, optional
        The unit of whoever goes there, above 0: stations lie at whole numbers of it [m].

    Returns
    -------
    tuple of float
        Rising chainages [m]. A belt too short for them gets stations that are spread evenly, to a tenth of the unit.

    Raises
    ------
    ValueError
        If the strand is unknown or a length is outside its range.

    Examples
    --------
    >>> propose_stations("return", 120, 50, 260)
    (50.0, 70.0, 85.0, 95.0, 105.0, 115.0, 125.0, 140.0)
    """
    if strand not in TRAVEL:
        raise ValueError(f"strand is {strand!r}; give one of {', '.join(TRAVEL)}")
    for name, value in (("effect_length_m", effect_length_m), ("belt_length_m", belt_length_m), ("step_m", step_m)):
        if not 0 < value < math.inf:
            raise ValueError(f"{name} is {value} m; give a length above 0 m")
    if not 0 <= chainage_m <= belt_length_m:
        raise ValueError(f"chainage_m is {chainage_m} m; give 0 to {belt_length_m:g} m, the length of the belt")
    shares = (-1.0, -0.6, -0.3, -0.1, 0.1, 0.3, 0.6, 1.0) if reversing else SHARES
    edge = min(FROM_PULLEY_M, belt_length_m / 10)
    first, last = math.ceil(edge / step_m), math.floor((belt_length_m - edge) / step_m)
    found: list[float] = []
    for each in sorted(chainage_m + TRAVEL[strand] * share * effect_length_m for share in shares):
        at = min(max(round(each / step_m), first), last) * step_m
        if not found or at - found[-1] >= APART_M:
            found.append(at)
    if len(found) >= LEAST_STATIONS:
        return tuple(found)
    step = (belt_length_m - 2 * edge) / (LEAST_STATIONS - 1)
    return tuple(round((edge + n * step) / step_m, 1) * step_m for n in range(LEAST_STATIONS))


def summarise(offsets_mm: Iterable[float]) -> OffsetSummary | None:
    """Distance off the centre line over all stations of one occasion, whichever side.

    Parameters
    ----------
    offsets_mm : iterable of float
        Signed offsets [mm].

    Returns
    -------
    OffsetSummary or None
        None where nothing was measured.

    Examples
    --------
    >>> summarise([40, -10, 10])
    OffsetSummary(n=3, mean_mm=20.0, largest_mm=40.0)
    """
    sizes = [abs(float(each)) for each in offsets_mm]
    if not sizes:
        return None
    return OffsetSummary(len(sizes), math.fsum(sizes) / len(sizes), max(sizes))
