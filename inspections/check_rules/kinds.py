"""The rule object of each kind of check."""

from __future__ import annotations

from inspections.check_rules.base import CheckRule
from inspections.check_rules.fastener_torque import FastenerTorque
from inspections.check_rules.limits import Limits
from inspections.check_rules.offsets import Offsets
from inspections.check_rules.pivot_freedom import PivotFreedom
from inspections.check_rules.sensor_wear import SensorWear
from inspections.models import CheckKind

RULES: dict[str, CheckRule] = {
    each.rule.value: each for each in (SensorWear(), PivotFreedom(), FastenerTorque(), Offsets(), Limits())
}


def rule_of(kind: CheckKind) -> CheckRule:
    return RULES[kind.rule]
