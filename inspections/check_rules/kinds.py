"""The rule object of each kind of check."""

from __future__ import annotations

from inspections.check_rules.base import CheckRule, Suggestion
from inspections.check_rules.fastener_torque import FastenerTorque
from inspections.check_rules.limits import Limits
from inspections.check_rules.offsets import Offsets
from inspections.check_rules.pivot_freedom import PivotFreedom
from inspections.check_rules.sensor_wear import SensorWear
from inspections.models import (
    CheckKind,
)
from plant.calc.reasons import Reason

RULES: dict[str, CheckRule] = {
    each.rule.value: each for each in (SensorWear(), PivotFreedom(), FastenerTorque(), Offsets(), Limits())
}


def rule_of(kind: CheckKind) -> CheckRule:
    return RULES[kind.rule]


# From how many findings of act running a study of the cause is proposed: common practice, no source.
REPEATS_TO_STUDY = 3


def suggestion_of(kind: CheckKind, n_before: int = 0) -> Reason:
    """What a finding to act on calls for.

    From its third time running it is no longer the part that is at fault: a study of the cause is proposed instead.
    `n_before` says how often the check said act just before.
    """
    if n_before + 1 >= REPEATS_TO_STUDY:
        return Reason(Suggestion.STUDY_CAUSE, {"kind": str(kind), "n": n_before + 1})
    return Reason(rule_of(kind).suggestion, {"kind": str(kind)})
