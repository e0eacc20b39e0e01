"""What is said of the energy that a belt stores."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _


def energies_of(conveyor: Any) -> str:
    """The belt's energies in the plant's words, and those that its own figures tell."""
    told = [conveyor.energies.rstrip(". ")] if conveyor.energies.strip() else []
    lower = conveyor.energies.lower()
    if conveyor.lift_m and "incline" not in lower and "inclin" not in lower:
        told.append(_("incline, the belt can roll back"))
    if conveyor.is_reversing and "revers" not in lower:
        told.append(_("the drive runs both ways"))
    if not conveyor.energies.strip():
        ask = _("others are not in the book: find out how the belt is tensioned and what can start it")
        none = _("nothing is in the book yet: find out how the belt is tensioned and what can start it")
        told.append(ask if told else none)
    return "; ".join(told)
