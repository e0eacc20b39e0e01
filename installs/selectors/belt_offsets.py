"""Stations to measure the belt's offset at, and how much of it a plant permits."""

from __future__ import annotations

from installs.calc.belt_offsets import propose_stations
from installs.calc.commissioning import permitted_offset_mm
from installs.models import BeltOffset, Installation
from plant.models import Conveyor


def stations_around(conveyor: Conveyor, strand: str, chainage_m: float, effect_length_m: float) -> tuple[float, ...]:
    """Stations to measure at around a place [m]; a belt may have been shortened since."""
    return propose_stations(
        strand,
        min(chainage_m, conveyor.length_m),
        effect_length_m,
        conveyor.length_m,
        reversing=conveyor.is_reversing,
    )


def stations_of(installation: Installation) -> tuple[float, ...]:
    """Stations to measure at again: those of its survey, else of its acceptance, else proposed ones [m]."""
    rows = BeltOffset.objects.current().of_installation(installation)
    known: dict[str, set[float]] = {}
    for occasion, chainage_m in rows.values_list("occasion", "chainage_m").order_by():
        known.setdefault(occasion, set()).add(chainage_m)
    for occasion in (BeltOffset.Occasion.SURVEY, BeltOffset.Occasion.ACCEPTANCE):
        if occasion.value in known:
            return tuple(sorted(known[occasion.value]))
    return stations_around(
        installation.conveyor, installation.strand, installation.chainage_m, installation.effect_length_m
    )


def permitted_on(conveyor: Conveyor) -> float:
    """Permitted run-off of a belt by the plant's settings [mm]."""
    plant = conveyor.plant
    return permitted_offset_mm(conveyor.belt_width_mm, share_pct=plant.runoff_share_pct, most_mm=plant.runoff_most_mm)
