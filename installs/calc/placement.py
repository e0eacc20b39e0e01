"""One place for a device, judged before anything is fitted: does it fit, what does it reach, could it ever be proven?

Each question is asked on its own and answered with a rule and its values, so that a page, a survey and the ranking say
the same:

1. **Clearance** (`clearance_lines`): the place against what the device model states. What the model does not state, or
   nobody has measured, is never a pass.
2. **Closeness** (`closeness_lines`): pulleys, loading points, scrapers and belt scales on the strand.
3. **Into the wander** (`wandering_stretches`, `into_the_wander`): how far behind the beginning of the stretch that
   wanders the device would stand, seen along belt travel; on a reversing belt once for each way.
4. **Reach** (`reach_of`): incidents in the zone downstream, and those among them that no standing device reaches, per
   1000 running hours with the exact interval.
5. **Proof** (`provability`): switches and logged stations in the zone, and running hours until a halving would show.
6. **Causes first** (`causes_first`): causes that are known or suspected in reach and should be cured before a device
   hides them.

Lengths that nobody has measured in print are common practice without a source; they are arguments (`PlacementRules`).
Places lie on one conveyor; chainage in metres from the centre of the tail pulley.
"""

from __future__ import annotations

from dataclasses import dataclass

from installs.calc.belt_cases import BeltCase, BeltPlace
from installs.calc.clearance import Fit, PlaceLine, PlacementLimits, clearance_lines, overall
from installs.calc.closeness import closeness_lines
from installs.calc.open_causes import causes_first, overridden_causes, put_aside, suspected_in
from installs.calc.placement_rules import PlacementRules
from installs.calc.provability import Provability, Reach, provability, reach_of
from installs.calc.wander import IntoWander, into_the_wander, wandering_stretches
from plant.calc.reasons import Reason

# Chainages are read with a tape: nearer than this is the same place.
SAME_PLACE_M = 0.05


@dataclass(frozen=True)
class Judged:
    """A device of one model tried at one place: every answer of this module."""

    place: BeltPlace
    limits: PlacementLimits
    effect_length_m: float
    clearance: tuple[PlaceLine, ...]
    closeness: tuple[PlaceLine, ...]
    into_wander: tuple[IntoWander, ...]
    reach: Reach
    # Incidents in the zone if the device acts over the least and the most that its model states; None if not stated.
    n_least: int | None
    n_most: int | None
    proof: Provability
    causes_first: tuple[Reason, ...]
    overridden: tuple[Reason, ...]
    suspected: tuple[tuple[str, int], ...]

    @property
    def fit(self) -> Fit:
        """All lines of clearance and closeness together."""
        return overall([*self.clearance, *self.closeness])


def judge_place(
    case: BeltCase,
    place: BeltPlace,
    limits: PlacementLimits,
    *,
    effect_length_m: float,
    rules: PlacementRules | None = None,
) -> Judged:
    """Try a device of one model at one place.

    Parameters
    ----------
    case : BeltCase
        The belt.
    place : BeltPlace
        The place with what was measured there, on this belt.
    limits : PlacementLimits
        What the model states.
    effect_length_m : float
        Start value of the plant where the model states no length of effect [m].
    rules : PlacementRules, optional
        Start values of the trade where left out.

    Returns
    -------
    Judged
        Clearance, closeness, depth in the wander, reach, proof and causes.

    Raises
    ------
    ValueError
        If the strand is unknown or a length is outside its range.
    """
    rules = rules or PlacementRules()
    length = limits.effect_length_m or effect_length_m
    strand, at = place.strand, place.chainage_m
    reach = reach_of(case, strand, at, length)
    wanders = wandering_stretches(case, strand, rules)
    stated = (limits.effect_length_least_m, limits.effect_length_most_m)
    causes, overridden = causes_first(case, strand, reach.zones, rules), overridden_causes(case, strand, reach.zones)
    override = case.override_at(strand, at)
    if override is not None:
        causes, overridden = (), (*put_aside(causes, override), *overridden)
    least, most = (None if each is None else reach_of(case, strand, at, each).n_in_zone for each in stated)
    return Judged(
        place=place,
        limits=limits,
        effect_length_m=length,
        clearance=clearance_lines(limits, place),
        closeness=closeness_lines(case, strand, at, rules),
        into_wander=into_the_wander(wanders, strand, at, case.is_reversing, rules),
        reach=reach,
        n_least=least,
        n_most=most,
        proof=provability(case, reach, strand=strand),
        causes_first=causes,
        overridden=overridden,
        suspected=suspected_in(case, strand, reach.zones),
    )
