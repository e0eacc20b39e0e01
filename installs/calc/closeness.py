"""How near a place stands to pulleys, loading points, scrapers and belt scales of its strand."""

from __future__ import annotations

from enum import StrEnum

from installs.calc.belt_cases import BOTH_STRANDS, BeltCase, Fixture
from installs.calc.clearance import Fit, PlaceLine
from installs.calc.effect_zones import SLACK_M
from installs.calc.placement_rules import PlacementRules
from plant.calc.reasons import Reason, Value


class ClosenessRule(StrEnum):
    """What a line says of what stands near a place."""

    TOO_NEAR = "closeness.too_near"
    NEAR = "closeness.near"
    CLEAR = "closeness.clear"


class BeltEnd(StrEnum):
    """Pulleys that a belt has whether or not they are in the book."""

    TAIL_PULLEY = "belt_end.tail_pulley"
    HEAD_PULLEY = "belt_end.head_pulley"


def closeness_lines(case: BeltCase, strand: str, chainage_m: float, rules: PlacementRules) -> tuple[PlaceLine, ...]:
    """The nearest pulley, loading point, scraper and belt scale on the strand, each with the distance that it wants.

    Pulleys and scrapers disturb the belt, a loading point pushes it, and a scale must not feel the device. The ends of
    the belt count as pulleys whether or not they are in the book. Toward the tail pulley a device on the return strand
    keeps at least one idler pitch more than the belt's width.

    Parameters
    ----------
    case : BeltCase
        The belt.
    strand : {"carry", "return"}
        Strand of the device.
    chainage_m : float
        Its place [m].
    rules : PlacementRules
        Distances that are asked.

    Returns
    -------
    tuple of PlaceLine
        One for each kind that is on the strand, with the distance as measured and least [m]: DOES_NOT_FIT below the
        least, CONDITION where it is near, FITS from `rules.clear_m` on.
    """
    ends = [Fixture("pulley", 0.0, BeltEnd.TAIL_PULLEY), Fixture("pulley", case.length_m, BeltEnd.HEAD_PULLEY)]
    known = [each for each in case.fixtures if each.strand in (strand, BOTH_STRANDS)]
    found = []
    for kind in ("pulley", "loading", "scraper", "scale"):
        here = [each for each in [*known, *ends] if each.kind == kind]
        if not here:
            continue
        nearest = min(here, key=lambda each: abs(each.chainage_m - chainage_m))
        distance = abs(nearest.chainage_m - chainage_m)
        least, clear = _distances(kind, nearest, strand, case, rules)
        seen: dict[str, Value] = {"distance_m": distance, "what": nearest.name}
        fit, why = Fit.FITS, Reason(ClosenessRule.CLEAR, seen)
        if distance < least - SLACK_M:
            fit, why = Fit.DOES_NOT_FIT, Reason(ClosenessRule.TOO_NEAR, {**seen, "least_m": least})
        elif distance < clear - SLACK_M:
            fit, why = Fit.CONDITION, Reason(ClosenessRule.NEAR, {**seen, "clear_m": clear})
        found.append(PlaceLine(kind, distance, least, None, distance - least, fit, why))
    return tuple(found)


def _distances(kind: str, fixture: Fixture, strand: str, case: BeltCase, rules: PlacementRules) -> tuple[float, float]:
    """Least distance and the distance from which nothing is said [m]."""
    if kind == "scale":
        least = rules.scale_idlers * rules.pitch_m(strand)
        return least, least
    least = rules.close_m
    if kind == "pulley" and strand == "return" and fixture.chainage_m <= SLACK_M and case.belt_width_mm is not None:
        least = max(least, rules.pitch_m(strand) + case.belt_width_mm / 1000.0)
    return least, max(least, rules.clear_m)
