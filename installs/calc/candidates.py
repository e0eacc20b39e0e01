"""Where the next device should go: places along both strands are tried, the best are ranked with their reasons.

1. **Scan**: at each step along a strand, the incidents in the zone downstream that no standing device reaches.
2. **Pick**: the place with most of them. Where nearby places reach nearly as many, the one that stands as far into the
   wander as is usual is taken, else the middle one, so that no incident lies at the very edge of the zone.
3. **Again**, with what the picked place would steer left out, until the rest is too little: candidates of one strand
   never share a stretch, so what they reach may be added up.
4. **Rank**: by the lower limit of the new incidents per 1000 running hours, so that a few incidents in few hours do not
   jump the queue. A place with an open cause never stands above one without, and a place that no model in the book fits
   stands below those that one does.

Places near a pulley, loading point, scraper or belt scale are not offered. A place is a proposal: a survey decides.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from installs.calc.belt_cases import BeltCase
from installs.calc.clearance import Fit, PlacementLimits, clearance_lines, overall
from installs.calc.closeness import closeness_lines
from installs.calc.effect_zones import SLACK_M, TRAVEL, Zone, inside, strand_coverage, union
from installs.calc.placement import Judged, judge_place
from installs.calc.placement_rules import PlacementRules
from installs.calc.provability import incident_count
from installs.calc.wander import Wander, into_the_wander, wandering_stretches
from plant.calc.rates import rate_with_interval_many
from plant.calc.reasons import Reason, Value

# Lines that a survey can never mend: they tell whether a model comes into question for the belt at all.
BELT_RULES = frozenset({"strand", "direction", "width", "speed"})
# Of the places nearby, those that reach at least this share of the best are as good; own rule.
NEARLY = 0.9


class CandidateRule(StrEnum):
    """Why a place is offered, and what speaks against it."""

    REACHES_ONE = "candidate.reaches_one"
    REACHES = "candidate.reaches"
    ZONE = "candidate.zone"
    TWO_ZONES = "candidate.two_zones"
    IN_GAP = "candidate.in_gap"
    SHARED = "candidate.shared"
    NO_MODEL = "candidate.no_model"


@dataclass(frozen=True)
class Scan:
    """New incidents within reach of each place of one strand that may be offered, and their rate per 1000 h."""

    strand: str
    chainages_m: NDArray[np.float64]
    n_new: NDArray[np.int64]
    per_1000_h: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


@dataclass(frozen=True)
class Candidate:
    """A place that is offered: the belt's key, everything judged there, whether a model fits, and the reasons."""

    belt: Hashable
    judged: Judged
    has_model: bool
    reasons: tuple[Reason, ...]

    @property
    def is_cause_first(self) -> bool:
        """A cause is to be cured before anything is fitted."""
        return bool(self.judged.causes_first)

    @property
    def rate(self) -> float:
        """New incidents per 1000 running hours; 0 where no hours are known."""
        return self.judged.reach.rate.per_1000_h or 0.0


def suiting_models(case: BeltCase, strand: str, models: Iterable[PlacementLimits]) -> tuple[PlacementLimits, ...]:
    """Models that come into question for a strand of a belt by strand, direction, width and speed.

    Parameters
    ----------
    case : BeltCase
        The belt.
    strand : {"carry", "return"}
        Strand of the device.
    models : iterable of PlacementLimits
        What the plant keeps sheets of.

    Returns
    -------
    tuple of PlacementLimits
        Those that state everything first, then by name. One that leaves width or speed unstated comes into question;
        its line says so.
    """
    place = case.place(strand, 0.0)
    found = []
    for model in models:
        fit = overall(line for line in clearance_lines(model, place) if line.rule in BELT_RULES)
        if fit is not Fit.DOES_NOT_FIT:
            found.append((list(Fit).index(fit), model.name, model))
    return tuple(model for _order, _name, model in sorted(found, key=lambda each: each[:2]))


def scan_strand(
    case: BeltCase,
    strand: str,
    effect_length_m: float,
    *,
    step_m: float = 5.0,
    rules: PlacementRules | None = None,
) -> Scan:
    """Try a device at every step of a strand.

    Parameters
    ----------
    case : BeltCase
        The belt with incidents and standing devices.
    strand : {"carry", "return"}
        Strand that is scanned.
    effect_length_m : float
        How far a device acts downstream, above 0 [m].
    step_m : float, optional
        Distance between the places that are tried, above 0 [m].
    rules : PlacementRules, optional
        Distances to pulleys and the like; start values where left out.

    Returns
    -------
    Scan
        Without the places that stand near to something; on a belt where that leaves none, without those that stand too
        near. Empty where no place is left, as on a very short belt.

    Raises
    ------
    ValueError
        If the strand is unknown or a length is not above 0.
    """
    rules = rules or PlacementRules()
    if strand not in TRAVEL:
        raise ValueError(f"strand is {strand!r}; give one of {', '.join(TRAVEL)}")
    for name, length_m in (("effect_length_m", effect_length_m), ("step_m", step_m)):
        if not 0 < length_m < math.inf:
            raise ValueError(f"{name} is {length_m} m; give a length above 0 m")
    tried = np.arange(0.0, case.length_m + 1e-9, step_m)
    chainages = tried[_offered(case, strand, tried, rules)]
    positions = case.positions_on(strand)
    standing = union(case.zones_on(strand))
    new = positions[~inside(standing, positions)]
    back, ahead = (0.0, effect_length_m) if TRAVEL[strand] > 0 else (effect_length_m, 0.0)
    if case.is_reversing:
        back = ahead = effect_length_m
    slack = 1e-9
    n_new = np.searchsorted(new, chainages + ahead + slack, "right") - np.searchsorted(
        new, chainages - back - slack, "left"
    )
    rates = rate_with_interval_many(n_new, case.hours)
    return Scan(strand, chainages, n_new.astype(np.int64), rates.per_1000_h, rates.low, rates.high)


def _offered(case: BeltCase, strand: str, chainages: NDArray[np.float64], rules: PlacementRules) -> NDArray[np.bool_]:
    """Places that closeness leaves: those clear of everything, or on a belt without any, those not too near."""
    widest = max(rules.clear_m, rules.scale_idlers * rules.pitch_m(strand), (case.belt_width_mm or 0.0) / 1000.0 + 10.0)
    fixed = [0.0, case.length_m, *(each.chainage_m for each in case.fixtures if each.strand in (strand, ""))]
    # Lines are asked only near something, so that long belts stay quick.
    asked = np.zeros(chainages.shape, dtype=bool)
    for at in fixed:
        asked |= np.abs(chainages - at) <= widest
    clear, not_too_near = ~asked, ~asked
    for i in np.flatnonzero(asked):
        worst = overall(closeness_lines(case, strand, float(chainages[i]), rules))
        clear[i], not_too_near[i] = worst is Fit.FITS, worst is not Fit.DOES_NOT_FIT
    return clear if clear.any() else not_too_near


def candidates(
    belt: Hashable,
    case: BeltCase,
    models: Sequence[PlacementLimits],
    *,
    effect_length_m: float,
    step_m: float = 5.0,
    most: int = 3,
    least_new: int = 2,
    rules: PlacementRules | None = None,
) -> tuple[Candidate, ...]:
    """Places for the next device on one belt, the best first.

    Parameters
    ----------
    belt : hashable
        The caller's key of the belt, handed through.
    case : BeltCase
        What is known of it.
    models : sequence of PlacementLimits
        What the plant keeps sheets of.
    effect_length_m : float
        Start value of the plant where a model states no length of effect [m].
    step_m : float, optional
        Distance between the places that are tried [m].
    most : int, optional
        Most places of one strand.
    least_new : int, optional
        Places that reach fewer new incidents are not offered; own rule, one incident is no reason for a device.
    rules : PlacementRules, optional
        Start values of the trade where left out.

    Returns
    -------
    tuple of Candidate
        In the order of `rank`. Zones of one strand's candidates do not overlap.
    """
    rules = rules or PlacementRules()
    found = []
    for strand in TRAVEL:
        suits = suiting_models(case, strand, models)
        limits = suits[0] if suits else PlacementLimits("", strand, case.is_reversing)
        length = limits.effect_length_m or effect_length_m
        scan = scan_strand(case, strand, length, step_m=step_m, rules=rules)
        for chainage in _pick(case, scan, length, most, least_new, rules):
            place = case.place(strand, chainage)
            judged = judge_place(case, place, limits, effect_length_m=effect_length_m, rules=rules)
            found.append(Candidate(belt, judged, bool(suits), _reasons(case, judged, bool(suits))))
    return rank(found)


def _pick(case: BeltCase, scan: Scan, length_m: float, most: int, least_new: int, rules: PlacementRules) -> list[float]:
    """Chainages by and by, each apart from the zones of those before."""
    wanders = wandering_stretches(case, scan.strand, rules)
    apart = 2 * length_m if case.is_reversing else length_m
    free = np.ones(scan.chainages_m.shape, dtype=bool)
    picked: list[float] = []
    while len(picked) < most:
        n = np.where(free, scan.n_new, -1)
        if n.size == 0 or n.max() < least_new:
            break
        best = float(n.max())
        # Seen along travel, so that a mirrored belt gets the mirrored places.
        along = TRAVEL[scan.strand] * scan.chainages_m
        first = float(along[n == best].min())
        # Nearly as good, and near the first of the best: its zone holds the same bunch.
        around = np.flatnonzero((n >= NEARLY * best) & (np.abs(along - first) <= length_m))
        equal = along[(n == best) & (np.abs(along - first) <= length_m)]
        middle = float(equal.min() + equal.max()) / 2.0
        costs = [
            (_short_m(wanders, scan, i, case, rules), -int(n[i]), abs(float(along[i]) - middle), float(along[i]))
            for i in around
        ]
        chosen = float(scan.chainages_m[around[costs.index(min(costs))]])
        picked.append(chosen)
        # Zones that only touched would both count an incident at the point between them.
        free &= np.abs(scan.chainages_m - chosen) > apart + SLACK_M
    return picked


def _short_m(wanders: Sequence[Wander], scan: Scan, i: np.intp | int, case: BeltCase, rules: PlacementRules) -> float:
    """How much is missing to the usual depth in the wander, 0 where nothing is [m]."""
    depths = into_the_wander(wanders, scan.strand, float(scan.chainages_m[i]), case.is_reversing, rules)
    # Where most incidents carry the place of a switch, nobody knows where the wander begins.
    known = [each.distance_m for each in depths if 2 * each.wander.n_at_detector <= each.wander.n]
    return max((max(rules.into_wander_least_m - each, 0.0) for each in known), default=0.0)


def rank(found: Iterable[Candidate]) -> tuple[Candidate, ...]:
    """Candidates of one belt or of many, the best first.

    Parameters
    ----------
    found : iterable of Candidate
        In any order.

    Returns
    -------
    tuple of Candidate
        Those without an open cause before those with one, within each those that a model fits first, then by the lower
        limit of the new incidents per 1000 running hours; the rate itself, then the place, decide ties.
    """
    return tuple(
        sorted(
            found,
            key=lambda each: (
                each.is_cause_first,
                not each.has_model,
                -(each.judged.reach.rate.low or 0.0),
                -each.rate,
                each.judged.place.strand,
                each.judged.place.chainage_m,
            ),
        )
    )


def _reasons(case: BeltCase, judged: Judged, has_model: bool) -> tuple[Reason, ...]:
    """Why this place, and what speaks against it; what must come first at the front."""
    reach, strand = judged.reach, judged.place.strand
    total = int(case.positions_on(strand).size)
    rule = CandidateRule.REACHES_ONE if reach.n_new == 1 else CandidateRule.REACHES
    known: dict[str, Value | Reason] = {
        "n": reach.n_new,
        "incidents": incident_count(total),
        "stretch": _stretch(reach.zones),
    }
    said = [*judged.causes_first, Reason(rule, known)]
    standing = case.zones_on(strand)
    counts = strand_coverage(case.positions_on(strand), standing, case.length_m)
    for gap in counts.gaps if standing else ():
        if gap.n > reach.n_new and gap.zone.low_m <= judged.place.chainage_m <= gap.zone.high_m:
            ends = {"low_m": gap.zone.low_m, "high_m": gap.zone.high_m}
            said.append(Reason(CandidateRule.IN_GAP, {**ends, "n": gap.n, "total": total}))
    said += judged.overridden
    said += [why for each in judged.into_wander for why in each.why]
    if reach.shared_with:
        shared: dict[str, Value] = {"shared_m": reach.shared_m, "names": ", ".join(reach.shared_with)}
        said.append(Reason(CandidateRule.SHARED, shared))
    said += [each.why for each in judged.closeness if each.fit is not Fit.FITS]
    if not has_model:
        said.append(Reason(CandidateRule.NO_MODEL))
    return (*said, *judged.proof.why)


def _stretch(zones: Iterable[Zone]) -> Reason:
    """Where a device would steer: one zone, or one for each way of travel."""
    one, *others = [Reason(CandidateRule.ZONE, {"low_m": each.low_m, "high_m": each.high_m}) for each in sorted(zones)]
    return Reason(CandidateRule.TWO_ZONES, {"one": one, "other": others[0]}) if others else one
