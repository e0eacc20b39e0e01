"""Which stretches of a strand wander, and how far into one a device would stand, seen along belt travel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from installs.calc.belt_cases import BeltCase
from installs.calc.clearance import Fit
from installs.calc.effect_zones import SLACK_M, TRAVEL, Zone, inside
from installs.calc.placement_rules import PlacementRules
from plant.calc.reasons import Reason, Value


class WanderRule(StrEnum):
    """How far into a stretch that wanders a device would stand."""

    BEFORE = "wander.before"
    SHALLOW = "wander.shallow"
    DEEP = "wander.deep"
    USUAL = "wander.usual"
    AT_SWITCH = "wander.at_switch"
    STRETCH = "wander.stretch"
    ONE_PLACE = "wander.one_place"


@dataclass(frozen=True)
class Wander:
    """A stretch that wanders, and how many incidents make it; `n_at_detector` of them carry the place of a switch."""

    zone: Zone
    n: int
    n_at_detector: int


@dataclass(frozen=True)
class IntoWander:
    """How far into the stretch a device stands for one way of travel; below 0 it stands before the beginning [m]."""

    wander: Wander
    towards: str
    distance_m: float
    fit: Fit
    why: tuple[Reason, ...]


def wandering_stretches(case: BeltCase, strand: str, rules: PlacementRules) -> tuple[Wander, ...]:
    """Stretches of a strand on which incidents lie close to each other.

    Parameters
    ----------
    case : BeltCase
        The belt.
    strand : {"carry", "return"}
        Strand that is looked at.
    rules : PlacementRules
        What counts as close, and how many make a stretch.

    Returns
    -------
    tuple of Wander
        Rising by chainage. One of length 0 has all its incidents at the same place, as the log of one switch has.
    """
    positions = case.positions_on(strand)
    if positions.size == 0:
        return ()
    runs = np.split(positions, np.flatnonzero(np.diff(positions) > rules.joined_m + SLACK_M) + 1)
    found = []
    for run in runs:
        if run.size < rules.least_incidents:
            continue
        at_detector = sum(
            any(abs(position - each) <= rules.at_detector_m + SLACK_M for each in case.detectors_m) for position in run
        )
        found.append(Wander(Zone(float(run[0]), float(run[-1])), int(run.size), at_detector))
    return tuple(found)


def into_the_wander(
    wanders: Sequence[Wander], strand: str, chainage_m: float, is_reversing: bool, rules: PlacementRules
) -> tuple[IntoWander, ...]:
    """How far into the wandering stretch the device would stand, for each way that the belt travels.

    The stretch is the one that the place lies in, else the nearest one that begins downstream of it; where there is
    none, nothing is said.

    Parameters
    ----------
    wanders : sequence of Wander
        Of this strand.
    strand : {"carry", "return"}
        Strand of the device.
    chainage_m : float
        Its place [m].
    is_reversing : bool
        The belt runs both ways.
    rules : PlacementRules
        How far into the stretch a device is set.

    Returns
    -------
    tuple of IntoWander
        Ordinary travel first; FITS from `into_wander_least_m` to `into_wander_most_m` in, CONDITION elsewhere.
    """
    signs = (TRAVEL[strand], -TRAVEL[strand]) if is_reversing else (TRAVEL[strand],)
    found = []
    for sign in signs:
        # Along travel both a stretch's beginning and the place are measured by sign * chainage.
        along = [(min(sign * w.zone.low_m, sign * w.zone.high_m), w) for w in wanders]
        here = sign * chainage_m
        holding = [(start, w) for start, w in along if start <= here + SLACK_M and inside((w.zone,), [chainage_m])[0]]
        ahead = [(start, w) for start, w in along if start > here]
        if not holding and not ahead:
            continue
        start, wander = holding[0] if holding else min(ahead, key=lambda pair: pair[0])
        found.append(_into(wander, "head" if sign > 0 else "tail", here - start, rules))
    return tuple(found)


def _into(wander: Wander, towards: str, distance_m: float, rules: PlacementRules) -> IntoWander:
    low, high = rules.into_wander_least_m, rules.into_wander_most_m
    zone = wander.zone
    stretch = Reason(WanderRule.STRETCH, {"low_m": zone.low_m, "high_m": zone.high_m})
    if zone.length_m < 1.0:
        stretch = Reason(WanderRule.ONE_PLACE, {"low_m": zone.low_m})
    known: dict[str, Value | Reason] = {"stretch": stretch, "into_m": distance_m}
    usual: dict[str, Value] = {"least_m": low, "most_m": high}
    fit = Fit.CONDITION
    if distance_m < -SLACK_M:
        why = Reason(WanderRule.BEFORE, {"stretch": stretch, "before_m": -distance_m, **usual})
    elif distance_m < low - SLACK_M:
        why = Reason(WanderRule.SHALLOW, {**known, **usual})
    elif distance_m > high + SLACK_M:
        why = Reason(WanderRule.DEEP, known)
    else:
        fit, why = Fit.FITS, Reason(WanderRule.USUAL, known)
    said = [why]
    if 2 * wander.n_at_detector > wander.n:
        said.append(Reason(WanderRule.AT_SWITCH, {"n": wander.n_at_detector, "of": wander.n}))
    return IntoWander(wander, towards, distance_m, fit, tuple(said))
