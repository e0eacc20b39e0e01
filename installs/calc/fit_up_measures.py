"""What the tape said at a fit-up, and what the device model states. All lengths in mm; None where nothing is known."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from installs.calc.fit_up_geometry import SquareMethod
from installs.calc.fit_up_rules import FitUpRule
from plant.calc.reasons import NotAccepted, Reason


@dataclass(frozen=True)
class ModelFigures:
    """What the device model states [mm]; None where it states nothing."""

    frame_length_least_mm: float | None = None
    frame_length_most_mm: float | None = None
    extension_most_mm: float | None = None
    end_play_least_mm: float | None = None
    end_play_most_mm: float | None = None
    roller_drop_mm: float | None = None
    belt_lift_least_mm: float | None = None
    belt_lift_most_mm: float | None = None
    sensor_gap_mm: float | None = None
    sensor_gap_tolerance_mm: float | None = None
    sensor_gap_sum_mm: float | None = None

    def __post_init__(self) -> None:
        _check_lengths(self)


@dataclass(frozen=True)
class Measures:
    """What the tape said [mm]; None where nothing was measured. Sides are drive side and off side."""

    bracket_spacing_mm: float | None = None
    frame_length_mm: float | None = None
    end_play_mm: float | None = None
    extension_drive_mm: float | None = None
    extension_off_mm: float | None = None
    end_play_left_mm: float | None = None
    squareness_way: str = ""
    square_reference: str = ""
    reference_was_checked: bool = False
    reference_distance_mm: float | None = None
    square_drive_mm: float | None = None
    square_off_mm: float | None = None
    centre_drive_mm: float | None = None
    centre_off_mm: float | None = None
    belt_mark_drive_mm: float | None = None
    belt_mark_off_mm: float | None = None
    wanted_lift_mm: float | None = None
    bracket_height_drive_mm: float | None = None
    bracket_height_off_mm: float | None = None
    belt_width_mm: float | None = None
    sensor_clear_mm: float | None = None
    belt_lies_to: str = ""
    belt_off_by_mm: float | None = None
    gap_drive_mm: float | None = None
    gap_off_mm: float | None = None

    def __post_init__(self) -> None:
        _check_lengths(self)
        for name in ("bracket_spacing_mm", "frame_length_mm", "belt_width_mm", "sensor_clear_mm"):
            if getattr(self, name) == 0:
                raise NotAccepted(Reason(FitUpRule.LENGTH_ZERO, {"field": name, "given_mm": 0.0}))
        if self.squareness_way and self.squareness_way not in set(SquareMethod):
            raise ValueError(
                f"squareness_way is {self.squareness_way!r}; give one of {', '.join(SquareMethod)}, or leave it out"
            )
        if self.belt_lies_to not in ("", "drive", "off"):
            raise ValueError(f"belt_lies_to is {self.belt_lies_to!r}; give drive or off, or leave it out")

    @property
    def mirrored(self) -> Measures:
        """The same place seen from the other side."""
        swapped: dict[str, float | str | bool | None] = {}
        for each in fields(self):
            name = each.name
            other = name.replace("_drive_mm", "_OFF_mm").replace("_off_mm", "_drive_mm").replace("_OFF_mm", "_off_mm")
            swapped[other] = getattr(self, name)
        swapped["belt_lies_to"] = {"drive": "off", "off": "drive"}.get(self.belt_lies_to, self.belt_lies_to)
        return Measures(**swapped)  # type: ignore[arg-type]


def _check_lengths(given: Measures | ModelFigures) -> None:
    for each in fields(given):
        value = getattr(given, each.name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        if not 0 <= value < math.inf:
            given_mm = value if math.isfinite(value) else str(value)
            raise NotAccepted(Reason(FitUpRule.LENGTH_ODD, {"field": each.name, "given_mm": given_mm}))
