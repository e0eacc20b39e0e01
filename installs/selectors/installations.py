"""Reads of installations that fit no one QuerySet."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch, Q

from installs.calc.effect_zones import Zone, effect_zone
from installs.models import Device, Installation


def zones_of(installation: Installation) -> tuple[Zone, ...]:
    """Where it steers; on a reversing belt both ways. Needs conveyor, device model and plant loaded."""
    belt = installation.conveyor
    return effect_zone(
        installation.strand,
        # A belt may have been shortened since.
        min(installation.chainage_m, belt.length_m),
        installation.effect_length_m,
        belt.length_m,
        reversing=belt.is_reversing,
    )


def find_devices(person: Any, plant: Any, text: str, most: int = 20) -> list[Device]:
    """Devices by number, serial number or the code on their label, with the place where each stands."""
    standing = Installation.objects.in_place().select_related("conveyor")
    rows = Device.objects.visible_to(person).of_plant(plant).select_related("device_model")
    rows = rows.prefetch_related(Prefetch("installations", standing, to_attr="standing"))
    exact = list(rows.filter(Q(label_code__iexact=text) | Q(number__iexact=text) | Q(serial__iexact=text))[:most])
    return [*(exact or rows.filter(serial__icontains=text)[:most])]
