"""The devices that check plans are about."""

from __future__ import annotations

from typing import Any

from installs.models import Installation


def installations_of(plans: Any) -> list[Installation]:
    """Devices in place that these plans are about."""
    known = list(plans)
    by_model = Installation.objects.in_place().filter(
        device__device_model__in=[plan.device_model_id for plan in known if plan.device_model_id]
    )
    own = Installation.objects.in_place().filter(
        pk__in=[plan.installation_id for plan in known if plan.installation_id]
    )
    return list((by_model | own).distinct())
