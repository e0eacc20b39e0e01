"""What a check asks for, and what was entered for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from django.utils.translation import gettext as _

from inspections.calc.grading import implausible
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


def question_about(each: Wanted, value: float, stage: str) -> str | None:
    """A sentence about a reading that is hard to believe; None where nothing is odd."""
    return None if value < 0 else implausible(value, **plausible_at(each, stage))


def plausible_at(each: Wanted, stage: str) -> dict[str, Any]:
    """What a reading is held against; a part changed at this visit may well be larger than before."""
    return {**each.plausible, "previous": None, "expected": None} if stage == LEFT else dict(each.plausible)


def fault_of(each: Wanted, value: float | str) -> str:
    if each.form == "choice":
        return "" if value in dict(each.options) else _("Choose one of the answers offered.")
    if not isinstance(value, int | float):
        return _("Give a number.")
    if each.plausible.get("quantity") == "diameter" and value <= 0:
        return _("A diameter is above 0.")
    if each.quantity and value < 0 and not each.is_signed:
        return _("This cannot be below 0.")
    return ""


def reading_key(task_id: int, code: str, stage: str) -> str:
    return f"{task_id}:{code}:{stage}"
