"""What this app does when a device was fitted or removed, a part of it changed, or it went out of service.

The nightly job makes the same calls for what was missed.
"""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from inspections.services.rounds import tell_of_clashes
from inspections.services.tasks import plan_next
from installs.models import Fitting, Installation
from installs.signals import device_installed, device_removed, fitting_planned, part_changed, service_changed


@receiver(device_installed, dispatch_uid="inspections.plan_after_installation")
@receiver(device_removed, dispatch_uid="inspections.withdraw_after_removal")
@receiver(service_changed, dispatch_uid="inspections.plan_after_service_change")
@receiver(part_changed, dispatch_uid="inspections.plan_after_part_change")
def plan_again(sender: Any, installation: Installation, **kwargs: Any) -> None:
    """First and bedding-in tasks of a device that was fitted or got a new part; withdraws those of a removed one."""
    plan_next(installation)


@receiver(fitting_planned, dispatch_uid="inspections.tell_of_round_clashes")
def say_who_is_wanted_twice(sender: Any, fitting: Fitting, by: Any, **kwargs: Any) -> None:
    """A fitting planned over a published round; the board and the fitting's page show it as long as it stands."""
    tell_of_clashes(fitting, by=by)
