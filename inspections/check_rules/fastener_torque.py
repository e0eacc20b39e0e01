"""The torque of every fastener of a device, as found and as left, and its witness mark."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.utils.text import slugify

from inspections.calc.findings import MARK, FastenerTarget, Finding, find_torque
from inspections.check_rules.base import CheckRule, ShownLimit, Suggestion, Tool, found_of, left_of
from inspections.check_rules.wanted import FOUND, LEFT, LabelRule, SeenAnswer, Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.calc.specs import DeviceSpec
from installs.models import Installation, Instrument
from installs.selectors.torque import deviation_of
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind

# What a torque can be at all, against its target: common practice, no source.
MOST_OF_TARGET = 2.5


MARK_ANSWERS = (("in_line", SeenAnswer.IN_LINE), ("rotated", SeenAnswer.TURNED))


class FastenerTorque(CheckRule):
    rule = CheckKind.Rule.FASTENER_TORQUE
    suggestion = Suggestion.SECURE_FASTENERS
    tools = frozenset({Tool.TORQUE_WRENCH})
    is_measured = True
    names_tool = True

    def wanted(
        self,
        installation: Installation,
        fields: Sequence[ReadingField],
        previous: Mapping[str, Reading],
        stations: Sequence[float] = (),
    ) -> list[Wanted]:
        torques = torques_wanted(installation.spec, previous)
        return [*torques, *map(mark_wanted, torques)]

    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        fasteners = [
            FastenerTarget(
                each.code, str(each.label), **each.limits, tool_deviation_pct=deviation_of(tool_of(each, values))
            )
            for each in wanted
            if each.form == "number"
        ]
        return find_torque(found_of(values), left_of(values), fasteners)

    def limit_reason(self, each: Wanted) -> Reason | None:
        if not each.limits:
            return None
        return Reason(ShownLimit.NO_TARGET if each.limits["target_nm"] is None else ShownLimit.TORQUE, each.limits)


def torques_wanted(spec: DeviceSpec, previous: Mapping[str, Reading]) -> list[Wanted]:
    """Each fastener of a device, in the order of its sheet."""
    wanted = []
    for group in spec.fasteners:
        for n in range(1, group.count + 1):
            code = f"{slugify(group.place).replace('-', '_')[:50] or 'fastener'}_{n}"
            bounds = {"high": MOST_OF_TARGET * group.torque_nm, "low": 0} if group.torque_nm else {}
            wanted.append(
                Wanted(
                    code=code,
                    label=f"{group.place} {n}" if group.count > 1 else group.place,
                    form="number",
                    quantity=QuantityKind.TORQUE_NM.value,
                    asks_as_left=True,
                    limits={"target_nm": group.torque_nm, "tolerance_pct": group.tolerance_pct},
                    plausible={"quantity": "torque", **bounds},
                    previous=previous.get(code),
                )
            )
    return wanted


def mark_wanted(torque: Wanted) -> Wanted:
    """The witness mark of a fastener: a nut that turned is a finding of its own, whatever torque it shows."""
    return Wanted(
        code=f"{torque.code}{MARK}",
        label=Reason(LabelRule.WITNESS_MARK, {"fastener": torque.label}),
        form="choice",
        options=MARK_ANSWERS,
    )


def tool_of(each: Wanted, values: Values) -> Instrument | None:
    """The torque tool that a fastener was read with."""
    typed = values.get(FOUND, {}).get(each.code) or values.get(LEFT, {}).get(each.code)
    return typed.instrument if typed else None
