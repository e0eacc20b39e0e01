"""What a check asks for, and what was entered for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from inspections.models import (
    Reading,
)
from installs.models import Instrument, TorqueSignOff
from plant.calc.units import QuantityKind

FOUND, LEFT = Reading.Stage.AS_FOUND.value, Reading.Stage.AS_LEFT.value

# How a torque can be read as found; as left it was set while tightening.
Method = TorqueSignOff.Method

FOUND_METHODS = (Method.FIRST_MOVEMENT, Method.MARK_AND_RETIGHTEN)


@dataclass(frozen=True)
class Wanted:
    """One thing to read or to see at a check.

    `limits` and `plausible` are what the grade and the question about it need; the page is given the same.
    """

    code: str
    label: str
    form: str  # "number" or "choice"
    quantity: str = ""
    is_signed: bool = False
    side: str = ""
    asks_as_left: bool = False
    required: bool = False
    options: tuple[tuple[str, str], ...] = ()
    limits: Mapping[str, Any] = field(default_factory=dict)
    plausible: Mapping[str, Any] = field(default_factory=dict)
    # How it stood after the last visit: as left where something was set or changed, else as found.
    previous: Reading | None = None
    # As found at the last visits, the latest first; what was set since must not hide what came loose again.
    found_before: tuple[Reading, ...] = ()
    left_last: Reading | None = None

    @property
    def kind(self) -> QuantityKind:
        return QuantityKind(self.quantity)


class Typed(NamedTuple):
    """A value with the text that a person typed for it.

    A torque also has its method, its instrument, and why that was used where it was out of calibration.
    """

    value: float | str | None
    text: str = ""
    method: str = ""
    instrument: Instrument | None = None
    tool_reason: str = ""


Values = dict[str, dict[str, Typed]]  # by stage, then by code
