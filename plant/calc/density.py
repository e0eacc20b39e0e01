"""How densely incidents lie along a strand: counts in stretches of equal length, per running hours and per length.

The length is the same for every belt (50 m where nothing else is said), so that a profile of a short belt can be laid
beside one of a long one; the stretches themselves are as near to it as the belt's length allows.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plant.calc.rates import Rate, rate_with_interval

PER_M = 50.0


@dataclass(frozen=True)
class DensityBin:
    """One stretch: its ends [m], its incidents, and their rate per 1000 running hours and `per_m` of belt."""

    strand: str
    low_m: float
    high_m: float
    rate: Rate

    @property
    def n(self) -> int:
        """Incidents in it."""
        return self.rate.n


@dataclass(frozen=True)
class Density:
    """The profile of a belt; `hours` and `per_m` are what its rates are per."""

    bins: tuple[DensityBin, ...]
    hours: float
    per_m: float

    @property
    def highest(self) -> DensityBin | None:
        """The densest stretch, the first of equals; None where nothing happened or no hours are known."""
        known = [each for each in self.bins if each.n and each.rate.per_1000_h is not None]
        return max(known, key=lambda each: each.rate.per_1000_h or 0.0, default=None)

    def share(self, one: DensityBin) -> float:
        """Its rate as a share of the highest [0 to 1]."""
        top = self.highest
        if top is None or not top.rate.per_1000_h:
            return 0.0
        return (one.rate.per_1000_h or 0.0) / top.rate.per_1000_h


def density(places: Mapping[str, Iterable[float]], length_m: float, hours: float, *, per_m: float = PER_M) -> Density:
    """Profile of incidents along each strand.

    Parameters
    ----------
    places : mapping of str to iterable of float
        Chainages of incidents by strand [m]; what lies off the belt counts at its end.
    length_m : float
        Centre distance of head and tail pulley, above 0 [m].
    hours : float
        Running hours in which the incidents were seen, 0 or more [h].
    per_m : float, optional
        Length that rates are told for, and near which the stretches are, above 0 [m].

    Returns
    -------
    Density
        Stretches of equal length from the tail on, strand by strand. Together they hold every incident once; one that
        lies on a border counts towards the head. Rates are None where no hours are known.

    Raises
    ------
    ValueError
        If a length is not above 0, hours are negative, or a place is not finite.

    References
    ----------
    Rate and interval as `rate_with_interval`: Garwood (1936). The 50 m are common practice of drawing, no source.

    Examples
    --------
    >>> told = density({"return": [10, 60, 70]}, 100, 2000)
    >>> [(each.low_m, each.high_m, each.n, each.rate.per_1000_h) for each in told.bins]
    [(0.0, 50.0, 1, 0.5), (50.0, 100.0, 2, 1.0)]
    """
    for name, value in (("length_m", length_m), ("per_m", per_m)):
        if not 0 < value < math.inf:
            raise ValueError(f"{name} is {value} m; give a length above 0 m")
    n_bins = max(1, round(length_m / per_m))
    edges = np.linspace(0.0, length_m, n_bins + 1)
    # A rate per 50 m from a stretch of another length: as if so many more hours were watched.
    watched_h = hours * (length_m / n_bins) / per_m
    bins: list[DensityBin] = []
    for strand, chainages in places.items():
        counts = _counts(list(chainages), edges)
        bins += [
            DensityBin(strand, float(edges[i]), float(edges[i + 1]), rate_with_interval(int(counts[i]), watched_h))
            for i in range(n_bins)
        ]
    return Density(tuple(bins), hours, per_m)


def _counts(chainages: Sequence[float], edges: np.ndarray) -> np.ndarray:
    if not all(math.isfinite(each) for each in chainages):
        raise ValueError("a place is not finite; leave out incidents whose place is not known")
    return np.histogram(np.clip(chainages, edges[0], edges[-1]), bins=edges)[0]
