"""What a device would reach, and whether its worth could ever be shown there."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from installs.calc.belt_cases import BeltCase
from installs.calc.effect_zones import Zone, detectors_in, effect_zone, inside, overlaps, union
from plant.calc.rate_power import hours_to_power
from plant.calc.rates import Rate, rate_with_interval
from plant.calc.reasons import Reason, Value


class ProofRule(StrEnum):
    """Whether the worth of a device at a place could ever be shown."""

    UNSEEN = "proof.unseen"
    SEEN_AT_ONE = "proof.seen_at_one"
    SEEN_AT = "proof.seen_at"
    PLACE_OF_MORE = "proof.place_of_more"
    PLACE = "proof.place"
    HALVING = "proof.halving"
    ONE_TOO_FEW = "proof.one_too_few"
    TOO_FEW = "proof.too_few"
    FALL_TO_QUARTER = "proof.fall_to_quarter"
    FALL_TO_TENTH = "proof.fall_to_tenth"
    HARDLY = "proof.hardly"
    ONE_INCIDENT = "proof.one_incident"
    INCIDENTS = "proof.incidents"


@dataclass(frozen=True)
class Reach:
    """What a device here would steer: its zones, incidents in them, and those that no standing device reaches.

    `rate` is for the new ones, per 1000 running hours; `shared_m` is the length that standing devices steer already,
    `shared_with` their names.
    """

    zones: tuple[Zone, ...]
    n_in_zone: int
    n_new: int
    rate: Rate
    shared_m: float
    shared_with: tuple[str, ...]


def reach_of(case: BeltCase, strand: str, chainage_m: float, effect_length_m: float) -> Reach:
    """Incidents within reach of a device at this place.

    Parameters
    ----------
    case : BeltCase
        The belt with its incidents and its standing devices.
    strand : {"carry", "return"}
        Strand of the device.
    chainage_m : float
        Its place, 0 to the length of the belt [m].
    effect_length_m : float
        How far it acts downstream, above 0 [m].

    Returns
    -------
    Reach
        Each incident is counted once, ends of zones included.

    Raises
    ------
    ValueError
        As `effect_zone`.
    """
    zones = effect_zone(strand, chainage_m, effect_length_m, case.length_m, case.is_reversing)
    positions = case.positions_on(strand)
    within = inside(zones, positions)
    new = within & ~inside(case.zones_on(strand), positions)
    shared_m, names = 0.0, []
    others = [each for each in case.steered if each.strand == strand]
    # Stretches that several standing devices share already are counted once.
    for zone in zones:
        cuts = [
            Zone(max(zone.low_m, each.zone.low_m), min(zone.high_m, each.zone.high_m))
            for each in others
            if overlaps((zone, each.zone))
        ]
        shared_m += sum(each.length_m for each in union(cuts))
        names += [each.name for each in others if overlaps((zone, each.zone)) and each.name not in names]
    n_new = int(np.count_nonzero(new))
    return Reach(
        zones, int(np.count_nonzero(within)), n_new, rate_with_interval(n_new, case.hours), shared_m, tuple(names)
    )


@dataclass(frozen=True)
class Provability:
    """Whether the worth of a device here could ever be shown: what stands in its zone, and after how many hours [h].

    `hours` is None where no number of hours would do, or where nothing in the zone sees an incident.
    """

    detectors_m: tuple[float, ...]
    hours: float | None
    can_be_proven: bool
    why: tuple[Reason, ...]


def provability(
    case: BeltCase, reach: Reach, *, strand: str = "return", true_ratio: float = 0.5, power: float = 0.8
) -> Provability:
    """Could a change of the stated size be shown here, and after how many running hours?

    Parameters
    ----------
    case : BeltCase
        The belt; its hours are those that would be compared with.
    reach : Reach
        What the device would reach; all incidents in its zones count, as they would in the comparison.
    strand : {"carry", "return"}, optional
        Strand of the device: a station that people log tells of its own strand only.
    true_ratio : float, optional
        Rate after over rate before that is to be found, a halving [-].
    power : float, optional
        Wanted probability of finding it [-].

    Returns
    -------
    Provability
        Reasons warn where no switch and no logged station stands in the zones.
    """
    seen_by = detectors_in(reach.zones, case.detectors_on(strand))
    if not seen_by:
        return Provability((), None, False, (Reason(ProofRule.UNSEEN),))
    *others, last = seen_by
    places = [Reason(ProofRule.PLACE_OF_MORE, {"at_m": each}) for each in others]
    rule = ProofRule.SEEN_AT_ONE if len(seen_by) == 1 else ProofRule.SEEN_AT
    seen = Reason(rule, {"n": len(seen_by), "places": (*places, Reason(ProofRule.PLACE, {"at_m": last}))})
    hours = hours_until_shown(reach.n_in_zone, case.hours, true_ratio, power)
    if hours is None:
        return Provability(seen_by, None, False, (seen, _smaller_proof(reach.n_in_zone, case.hours, power)))
    known: dict[str, Value | Reason] = {
        "power_pct": round(100 * power),
        "about_hours": _round(hours),
        "incidents": incident_count(reach.n_in_zone),
        "before_h": round(case.hours),
    }
    return Provability(seen_by, hours, True, (seen, Reason(ProofRule.HALVING, known)))


def incident_count(n: int) -> Reason:
    """A number of incidents, for a sentence.

    Parameters
    ----------
    n : int
        How many.
    """
    return Reason(ProofRule.ONE_INCIDENT if n == 1 else ProofRule.INCIDENTS, {"n": n})


def _smaller_proof(n: int, hours: float, power: float) -> Reason:
    """What could still be shown where a halving could not."""
    few = Reason(ProofRule.ONE_TOO_FEW if n == 1 else ProofRule.TOO_FEW, {"n": n, "before_h": round(hours)})
    for ratio, fall in ((0.25, ProofRule.FALL_TO_QUARTER), (0.1, ProofRule.FALL_TO_TENTH)):
        found = hours_until_shown(n, hours, ratio, power)
        if found is not None:
            return Reason(fall, {"few": few, "about_hours": _round(found)})
    return Reason(ProofRule.HARDLY, {"few": few})


def hours_until_shown(n: int, hours: float, true_ratio: float = 0.5, power: float = 0.8) -> float | None:
    """`hours_to_power` for a count; None where there are no hours or no incidents to compare with.

    Parameters
    ----------
    n : int
        Incidents before.
    hours : float
        Running hours before [h].
    true_ratio, power : float, optional
        As for `plant.calc.rate_power.hours_to_power`.

    Returns
    -------
    float or None
        Running hours after [h].
    """
    if n == 0 or hours <= 0:
        return None
    share = _share_until_shown(n, true_ratio, power)
    return None if share is None else share * hours


@functools.lru_cache(maxsize=4096)
def _share_until_shown(n: int, true_ratio: float, power: float) -> float | None:
    """Hours after as a share of the hours before: it depends on the count alone, so a plant needs few of them."""
    return hours_to_power(float(n), 1.0, true_ratio=true_ratio, power=power)


def _round(hours: float) -> float:
    """Two digits: nobody knows the hours better than that."""
    power = 10.0 ** (math.floor(math.log10(hours)) - 1)
    return round(hours / power) * power
