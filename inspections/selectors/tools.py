"""The torque tools that readings of a plant are made with."""

from __future__ import annotations

from datetime import date
from typing import Any

from inspections.words.tools import calibration_words
from installs.models import Instrument
from installs.selectors.torque import deviation_of
from plant.models import Plant


def wrenches_of(plant: Any) -> Any:
    """Torque tools of a plant that are in use."""
    return Instrument.objects.of_plant(plant).in_use().filter(kind=Instrument.Kind.TORQUE_WRENCH)


def tools_at_hand(plant: Plant, on: date) -> list[dict[str, Any]]:
    """Torque wrenches with the deviation that the page grades by, and what speaks against each on a day."""
    tools = []
    for tool in wrenches_of(plant):
        due = tool.calibration_due_on
        state = calibration_words(due, on)
        tools.append(
            {
                "id": tool.pk,
                "name": str(tool),
                "number": tool.number,
                "deviation_pct": deviation_of(tool),
                "due_on": due.isoformat() if due else "",
                "state": state,
                "doubt": state if due is None or due < on else "",
            }
        )
    return tools
