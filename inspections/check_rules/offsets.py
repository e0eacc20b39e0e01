"""How far the belt runs off at the stations of its survey, empty and loaded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from inspections.calc.findings import Finding, OffsetStation, find_offsets
from inspections.check_rules.base import CheckRule, ShownLimit, Suggestion, found_of
from inspections.check_rules.wanted import LabelRule, Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.models import Installation
from installs.selectors.belt_offsets import permitted_on, stations_of
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind

EMPTY, LOADED = "empty", "loaded"


class Offsets(CheckRule):
    rule = CheckKind.Rule.OFFSETS
    reads_offsets = True
    suggestion = Suggestion.CENTRE_BELT

    def wanted(
        self,
        installation: Installation,
        fields: Sequence[ReadingField],
        previous: Mapping[str, Reading],
        stations: Sequence[float] = (),
    ) -> list[Wanted]:
        permitted_mm = permitted_on(installation.conveyor)
        wanted = []
        for at in stations or stations_of(installation):
            for load, called in ((EMPTY, LabelRule.STATION_EMPTY), (LOADED, LabelRule.STATION_LOADED)):
                code = station_code(at, load)
                wanted.append(
                    Wanted(
                        code=code,
                        label=Reason(called, {"at_m": at}),
                        form="number",
                        quantity=QuantityKind.LENGTH_MM.value,
                        is_signed=True,
                        limits={"at_m": at, "is_loaded": load == LOADED, "permitted_mm": permitted_mm},
                        plausible={
                            "quantity": "other",
                            "kind": "mm",
                            "low": 0,
                            "high": installation.conveyor.belt_width_mm,
                        },
                        previous=previous.get(code),
                    )
                )
        return wanted

    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        return find_offsets(
            found_of(values),
            [OffsetStation(each.code, **each.limits) for each in wanted],
        )

    def limit_reason(self, each: Wanted) -> Reason | None:
        return Reason(ShownLimit.OFFSET, {"permitted_mm": each.limits["permitted_mm"]})

    def belt_offsets(self, installation: Installation, values: Values) -> list[tuple[float, bool, float | None]]:
        found = found_of(values)
        offsets = []
        for at in stations_of(installation):
            for load in (EMPTY, LOADED):
                value = found.get(station_code(at, load))
                offsets.append((at, load == LOADED, None if value is None else float(value)))
        return offsets


def station_code(chainage_m: float, load: str) -> str:
    return f"at_{f'{chainage_m:g}'.replace('.', '_')}_{load}"
