"""The offset of the belt run by run, before and after each adjustment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from installs.selectors.job_steps import FittingWork
from plant.calc.wording import figure

CHART = {"width": 320.0, "height": 120.0, "left": 8.0, "top": 18.0, "foot": 22.0}


# --- The small chart --------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class OffsetBar:
    x: float
    y: float
    width: float
    height: float
    middle: float
    label: str
    value: str
    is_beyond: bool


def offset_bars(job: FittingWork) -> dict[str, Any] | None:
    """Worst offset by cycle as bars from zero, with the target as a line; None where nothing was measured."""
    known = [(each.cycle, abs(each.worst.offset_mm)) for each in job.convergence.cycles if each.worst is not None]
    if not known:
        return None
    most = max(job.target_mm, *(size for _cycle, size in known)) * 1.05
    inner_w, inner_h = CHART["width"] - 2 * CHART["left"], CHART["height"] - CHART["top"] - CHART["foot"]
    base, slot = CHART["height"] - CHART["foot"], inner_w / len(known)
    width = min(slot * 0.6, 44.0)
    bars = []
    for number, (cycle, size) in enumerate(known):
        height = inner_h * size / most
        middle = CHART["left"] + slot * (number + 0.5)
        bars.append(
            OffsetBar(
                round(middle - width / 2, 1),
                round(base - height, 1),
                round(width, 1),
                round(height, 1),
                round(middle, 1),
                _("cycle %s") % cycle,
                figure(size),
                size > job.target_mm,
            )
        )
    return {
        "bars": bars,
        "base": base,
        "target_y": round(base - inner_h * job.target_mm / most, 1),
        "target_text_y": round(base - inner_h * job.target_mm / most - 4, 1),
        "label_y": CHART["height"] - 6,
        "right": CHART["width"] - CHART["left"],
        **CHART,
    }
