"""Whether the pivot moves freely, and the force that it takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from inspections.calc.findings import Finding, find_pivot
from inspections.check_rules.base import CheckRule, ShownLimit, Suggestion, Tool, found_of
from inspections.check_rules.wanted import LabelRule, SeenAnswer, Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.models import Installation
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind


class PivotFreedom(CheckRule):
    rule = CheckKind.Rule.PIVOT_FREEDOM
    suggestion = Suggestion.FREE_PIVOT
    tools = frozenset({Tool.SPRING_BALANCE})

    def wanted(
        self,
        installation: Installation,
        fields: Sequence[ReadingField],
        previous: Mapping[str, Reading],
        stations: Sequence[float] = (),
    ) -> list[Wanted]:
        states = (("free", SeenAnswer.FREE), ("stiff", SeenAnswer.STIFF), ("seized", SeenAnswer.SEIZED))
        return [
            Wanted(
                code="pivot",
                label=Reason(LabelRule.PIVOT),
                form="choice",
                options=states,
                required=True,
                previous=previous.get("pivot"),
            ),
            Wanted(
                code="breakaway",
                label=Reason(LabelRule.BREAKAWAY_FORCE),
                form="number",
                quantity=QuantityKind.FORCE_N.value,
                limits={"limit_n": installation.spec.breakaway_limit_n},
                previous=previous.get("breakaway"),
            ),
        ]

    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        limits = next(each.limits for each in wanted if each.code == "breakaway")
        return find_pivot(found_of(values), **limits)

    def limit_reason(self, each: Wanted) -> Reason | None:
        return Reason(ShownLimit.FORCE, each.limits) if each.limits else None
