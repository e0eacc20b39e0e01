"""The torque tools that readings of a plant are made with."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from installs.models import Instrument
from installs.selectors.torque import deviation_of
from plant.models import Plant


@dataclass(frozen=True)
class ToolAtHand:
    """A torque wrench on a day: the deviation that the page grades by, and whether it is out of calibration."""

    tool: Instrument
    deviation_pct: float
    on: date
    is_in_doubt: bool


def wrenches_of(plant: Any) -> Any:
    """Torque tools of a plant that are in use."""
    return Instrument.objects.of_plant(plant).in_use().filter(kind=Instrument.Kind.TORQUE_WRENCH)


def tools_at_hand(plant: Plant, on: date) -> list[ToolAtHand]:
    """The torque wrenches of a plant on a day."""
    return [
        ToolAtHand(tool, deviation_of(tool), on, tool.calibration_due_on is None or tool.calibration_due_on < on)
        for tool in wrenches_of(plant)
    ]
