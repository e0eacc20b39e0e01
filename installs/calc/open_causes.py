"""Causes in reach that should be cured before a device hides them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from enum import StrEnum
from typing import Any

import numpy as np

from installs.calc.belt_cases import BOTH_STRANDS, BeltCase, OpenCause, Override, SeenIncident
from installs.calc.effect_zones import SLACK_M, Zone, inside
from installs.calc.placement_rules import PlacementRules
from plant.calc.reasons import Reason


class CauseRule(StrEnum):
    """What is said of a cause that a device would hide."""

    CURE_FIRST = "cause.cure_first"
    SUSPECTED = "cause.suspected"
    TYPED = "cause.typed"
    FOUND_AT_SURVEY = "cause.found_at_survey"
    NOT_CURED = "cause.not_cured"
    PUT_ASIDE = "cause.put_aside"
    PUT_ASIDE_BY = "cause.put_aside_by"
    SAID_BY = "cause.said_by"
    ONE_OF_MORE = "cause.one_of_more"


def causes_first(case: BeltCase, strand: str, zones: Sequence[Zone], rules: PlacementRules) -> tuple[Reason, ...]:
    """What should be cured before a device hides it; empty where nothing stands in the way.

    Parameters
    ----------
    case : BeltCase
        The belt, with causes that are known to be open and causes that people suspected at incidents.
    strand : {"carry", "return"}
        Strand of the device.
    zones : sequence of Zone
        Where it would steer.
    rules : PlacementRules
        How many incidents, and what share of those in reach, must name the same cause.

    Returns
    -------
    tuple of Reason
        Open causes first, then the suspected ones; each has the cause among its values.
    """
    causes = [
        _cause(each)
        for each in case.open_causes
        if not each.override and each.strand in (strand, BOTH_STRANDS) and _touches(each, zones)
    ]
    in_reach = incidents_in(case, strand, zones)
    for cause, n in Counter(each.cause for each in in_reach if each.cause).most_common():
        if n >= rules.least_incidents and n >= rules.least_cause_share * len(in_reach):
            causes.append(Reason(CauseRule.SUSPECTED, {"n": n, "of": len(in_reach), "cause": cause}))
    return tuple(Reason(CauseRule.CURE_FIRST, {"cause": each}) for each in causes)


def _cause(each: OpenCause) -> Reason:
    if isinstance(each.cause, Reason):
        return each.cause
    return Reason(CauseRule.TYPED, {"cause": each.cause.rstrip(".")})


def overridden_causes(case: BeltCase, strand: str, zones: Sequence[Zone]) -> tuple[Reason, ...]:
    """Open causes in reach that hold nothing back because somebody gave a reason.

    Parameters
    ----------
    case : BeltCase
        The belt.
    strand : {"carry", "return"}
        Strand of the device.
    zones : sequence of Zone
        Where it would steer.
    """
    return tuple(
        Reason(CauseRule.NOT_CURED, {"cause": _cause(each), "why": each.override})
        for each in case.open_causes
        if each.override and each.strand in (strand, BOTH_STRANDS) and _touches(each, zones)
    )


def put_aside(causes: Sequence[Reason], override: Override) -> tuple[Reason, ...]:
    """Causes that hold nothing back because somebody gave a reason; one reason, which tells both.

    Parameters
    ----------
    causes : sequence of Reason
        Of `causes_first`.
    override : Override

    Returns
    -------
    tuple of Reason
        Empty where no cause stands in the way.

    Examples
    --------
    >>> first = Reason(CauseRule.CURE_FIRST, {"cause": Reason(CauseRule.TYPED, {"cause": "build-up"})})
    >>> (found,) = put_aside([first], Override("return", 0, 10, "a look is planned", "erin, 2026-11-02"))
    >>> found.values["why"], found.values["by"]
    ('a look is planned', 'erin, 2026-11-02')
    """
    if not causes:
        return ()
    *others, last = (each.values["cause"] for each in causes)
    told = tuple(Reason(CauseRule.ONE_OF_MORE, {"cause": each}) for each in others)
    known: dict[str, Any] = {"causes": (*told, last), "why": override.reason.rstrip(".")}
    if override.said:
        return (Reason(CauseRule.PUT_ASIDE_BY, {**known, "by": override.said}),)
    return (Reason(CauseRule.PUT_ASIDE, known),)


def suspected_in(case: BeltCase, strand: str, zones: Sequence[Zone]) -> tuple[tuple[str, int], ...]:
    """Suspected causes of the incidents in reach with how often each was named, most often first.

    Parameters
    ----------
    case : BeltCase
        The belt.
    strand : {"carry", "return"}
        Strand of the device.
    zones : sequence of Zone
        Where it would steer.
    """
    named = Counter(each.cause for each in incidents_in(case, strand, zones) if each.cause)
    return tuple(sorted(named.items(), key=lambda pair: (-pair[1], pair[0])))


def incidents_in(case: BeltCase, strand: str, zones: Sequence[Zone]) -> tuple[SeenIncident, ...]:
    """Incidents of the strand that lie in any of the zones."""
    here = [each for each in case.incidents if each.strand == strand and each.chainage_m is not None]
    within = inside(zones, np.array([each.chainage_m for each in here], dtype=float))
    return tuple(each for each, is_in in zip(here, within, strict=True) if is_in)


def _touches(cause: OpenCause, zones: Sequence[Zone]) -> bool:
    low = -math.inf if cause.low_m is None else cause.low_m
    high = math.inf if cause.high_m is None else cause.high_m
    return any(low <= zone.high_m + SLACK_M and high >= zone.low_m - SLACK_M for zone in zones)
