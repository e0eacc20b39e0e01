"""How far the belt runs off at the stations of its survey, empty and loaded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _

from inspections.calc.findings import Finding, OffsetStation, find_offsets
from inspections.check_rules.base import CheckRule, found_of
from inspections.check_rules.wanted import Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.models import Installation
from installs.selectors.belt_offsets import permitted_on, stations_of
from plant.calc.units import QuantityKind, UnitSystem, format_reading
from plant.calc.wording import figure

EMPTY, LOADED = "empty", "loaded"


class Offsets(CheckRule):
    rule = CheckKind.Rule.OFFSETS

    def wanted(
        self, installation: Installation, fields: Sequence[ReadingField], previous: Mapping[str, Reading]
    ) -> list[Wanted]:
        permitted_mm = permitted_on(installation.conveyor)
        wanted = []
        for at in stations_of(installation):
            for load, words in ((EMPTY, _("empty")), (LOADED, _("loaded"))):
                code = station_code(at, load)
                wanted.append(
                    Wanted(
                        code=code,
                        label=f"{figure(at)} m, {words}",
                        form="number",
                        quantity=QuantityKind.LENGTH_MM.value,
                        is_signed=True,
                        limits={"permitted_mm": permitted_mm},
                        plausible={
                            "quantity": "other",
                            "unit": "mm",
                            "low": 0,
                            "high": installation.conveyor.belt_width_mm,
                        },
                        previous=previous.get(code),
                    )
                )
        return wanted

    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        return find_offsets(
            found_of(values),  # type: ignore[arg-type]
            [OffsetStation(each.code, each.label, **each.limits) for each in wanted],
        )

    def suggested(self, kind_name: str) -> str:
        return _("Find out why the belt runs off here")

    def limit_words(self, each: Wanted, system: UnitSystem) -> str:
        permitted = format_reading(each.limits["permitted_mm"], each.kind, system)
        return _("permitted %(permitted)s; drive side plus, off side minus") % {"permitted": permitted}

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
