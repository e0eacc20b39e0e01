"""The rule object of each kind of check."""

from __future__ import annotations

from django.utils.translation import gettext as _

from inspections.check_rules.base import CheckRule
from inspections.check_rules.fastener_torque import FastenerTorque
from inspections.check_rules.limits import Limits
from inspections.check_rules.offsets import Offsets
from inspections.check_rules.pivot_freedom import PivotFreedom
from inspections.check_rules.sensor_wear import SensorWear
from inspections.models import (
    CheckKind,
)

RULES: dict[str, CheckRule] = {
    each.rule.value: each for each in (SensorWear(), PivotFreedom(), FastenerTorque(), Offsets(), Limits())
}


def rule_of(kind: CheckKind) -> CheckRule:
    return RULES[kind.rule]


# From how many findings of act running a study of the cause is proposed: common practice, no source.
REPEATS_TO_STUDY = 3


def suggested_action(kind: CheckKind, n_before: int = 0) -> str:
    """What a finding to act on calls for, as a title that the person may change.

    From its third time running it is no longer the part that is at fault: a study of the cause is proposed instead.
    `n_before` says how often the check said act just before.
    """
    if n_before + 1 >= REPEATS_TO_STUDY:
        return _("Study the cause: %(kind)s says act %(n)s times running") % {"kind": kind, "n": n_before + 1}
    return rule_of(kind).suggested(str(kind))
