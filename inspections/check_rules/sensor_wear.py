"""Wear of the sensor rollers: the diameter of both sides, and what is seen of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from inspections.calc.findings import Finding, find_sensor_wear
from inspections.check_rules.base import CheckRule, ShownLimit, Suggestion, Tool, found_of
from inspections.check_rules.wanted import LabelRule, SeenAnswer, Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.models import Installation
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind

# What a diameter can be at all, against what the model states: common practice, no source.
LEAST_OF_LIMIT, MOST_OF_NEW = 0.75, 1.05


class SensorWear(CheckRule):
    rule = CheckKind.Rule.SENSOR_WEAR
    suggestion = Suggestion.REPLACE_ROLLERS
    tools = frozenset({Tool.CALIPER})
    reads_wear = True
    is_measured = True

    def wanted(
        self,
        installation: Installation,
        fields: Sequence[ReadingField],
        previous: Mapping[str, Reading],
        stations: Sequence[float] = (),
    ) -> list[Wanted]:
        new, limit = installation.spec.sensor_new_mm, installation.spec.sensor_limit_mm
        is_stated = new is not None and limit is not None
        bounds = {"low": LEAST_OF_LIMIT * (limit or 0.0), "high": MOST_OF_NEW * (new or 0.0)} if is_stated else {}
        states = (
            ("round", SeenAnswer.ROUND),
            ("flat_spot", SeenAnswer.FLAT_SPOT),
            ("seized", SeenAnswer.DOES_NOT_TURN),
        )
        wanted = []
        for side, called in (("drive", LabelRule.DRIVE_SIDE), ("off", LabelRule.OFF_SIDE)):
            last = previous.get(f"{side}_diameter")
            wanted.append(
                Wanted(
                    code=f"{side}_diameter",
                    label=Reason(called),
                    form="number",
                    quantity=QuantityKind.LENGTH_MM.value,
                    side=side,
                    asks_as_left=True,
                    limits={"new_mm": new, "limit_mm": limit},
                    plausible={"quantity": "diameter", "previous": last.value if last else None, **bounds},
                    previous=last,
                )
            )
        for side, called in (("drive", LabelRule.DRIVE_SIDE_ROLLER), ("off", LabelRule.OFF_SIDE_ROLLER)):
            code = f"{side}_state"
            wanted.append(
                Wanted(
                    code=code,
                    label=Reason(called),
                    form="choice",
                    side=side,
                    options=states,
                    previous=previous.get(code),
                )
            )
        return wanted

    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        limits = next(each.limits for each in wanted if each.code == "drive_diameter")
        return find_sensor_wear(found_of(values), **limits)

    def with_trend(self, wanted: Iterable[Wanted], expected: Mapping[str, Mapping[str, float]]) -> list[Wanted]:
        return [
            replace(each, plausible={**each.plausible, **expected.get(each.side, {})})
            if each.form == "number"
            else each
            for each in wanted
        ]

    def limit_reason(self, each: Wanted) -> Reason | None:
        return Reason(ShownLimit.ROLLER, each.limits) if each.limits else None
