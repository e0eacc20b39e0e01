"""What this app does when a device was fitted or removed. The nightly job makes the same calls for what was missed."""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from inspections.services.tasks import plan_next
from installs.models import Installation
from installs.signals import device_installed, device_removed


@receiver(device_installed, dispatch_uid="inspections.plan_after_installation")
@receiver(device_removed, dispatch_uid="inspections.withdraw_after_removal")
def plan_again(sender: Any, installation: Installation, **kwargs: Any) -> None:
    """First and bedding-in tasks of a device that was fitted; withdraws those of one that was removed."""
    plan_next(installation)
