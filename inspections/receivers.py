"""What this app does when a device was fitted or removed, a part of it changed, or it went out of service.

The nightly job makes the same calls for what was missed.
"""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from inspections.services.tasks import plan_next
from installs.models import Installation
from installs.signals import device_installed, device_removed, part_changed, service_changed


@receiver(device_installed, dispatch_uid="inspections.plan_after_installation")
@receiver(device_removed, dispatch_uid="inspections.withdraw_after_removal")
@receiver(service_changed, dispatch_uid="inspections.plan_after_service_change")
@receiver(part_changed, dispatch_uid="inspections.plan_after_part_change")
def plan_again(sender: Any, installation: Installation, **kwargs: Any) -> None:
    """First and bedding-in tasks of a device that was fitted or got a new part; withdraws those of a removed one."""
    plan_next(installation)
