"""Whether the pivot moves freely, and the force that it takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _

from inspections.calc.findings import Finding, find_pivot
from inspections.check_rules.base import CheckRule, Tool, found_of
from inspections.check_rules.wanted import Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.models import Installation
from plant.calc.units import QuantityKind, UnitSystem, format_reading


class PivotFreedom(CheckRule):
    rule = CheckKind.Rule.PIVOT_FREEDOM
    tools = frozenset({Tool.SPRING_BALANCE})

    def wanted(
        self, installation: Installation, fields: Sequence[ReadingField], previous: Mapping[str, Reading]
    ) -> list[Wanted]:
        states = (("free", _("free")), ("stiff", _("stiff")), ("seized", _("seized")))
        return [
            Wanted(
                code="pivot",
                label=_("Pivot"),
                form="choice",
                options=states,
                required=True,
                previous=previous.get("pivot"),
            ),
            Wanted(
                code="breakaway",
                label=_("Breakaway force"),
                form="number",
                quantity=QuantityKind.FORCE_N.value,
                limits={"limit_n": installation.spec.breakaway_limit_n},
                previous=previous.get("breakaway"),
            ),
        ]

    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        limits = next(each.limits for each in wanted if each.code == "breakaway")
        return find_pivot(found_of(values), **limits)

    def suggested(self, kind_name: str) -> str:
        return _("Free or replace the pivot")

    def limit_words(self, each: Wanted, system: UnitSystem) -> str:
        if not each.limits:
            return ""
        return _("limit %(limit)s") % {"limit": format_reading(each.limits["limit_n"], each.kind, system)}
