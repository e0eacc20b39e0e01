"""What a check asks for, and what was entered for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, NamedTuple

from inspections.calc.plausible import implausible
from inspections.models import (
    Reading,
)
from installs.models import Instrument, TorqueSignOff
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind

FOUND, LEFT = Reading.Stage.AS_FOUND.value, Reading.Stage.AS_LEFT.value

# How a torque can be read as found; as left it was set while tightening.
Method = TorqueSignOff.Method

FOUND_METHODS = (Method.FIRST_MOVEMENT, Method.MARK_AND_RETIGHTEN)


class EntryRule(StrEnum):
    """What is at fault with what was entered for a check; in words `inspections.words.entered`."""

    NO_SUCH_ANSWER = "entry.no_such_answer"
    NOT_A_NUMBER = "entry.not_a_number"
    DIAMETER_NOT_ABOVE_0 = "entry.diameter_not_above_0"
    BELOW_0 = "entry.below_0"
    MISSING = "entry.missing"
    NOTHING_AS_FOUND = "entry.nothing_as_found"
    NOT_GRADED = "entry.not_graded"
    NO_SUCH_READING = "entry.no_such_reading"
    TOOL_IN_DOUBT = "entry.tool_in_doubt"
    ACT_WITHOUT_ACTION = "entry.act_without_action"


class LabelRule(StrEnum):
    """What a reading is called that the plant gives no name; in words `inspections.words.check_rules`."""

    DRIVE_SIDE = "label.drive_side"
    OFF_SIDE = "label.off_side"
    DRIVE_SIDE_ROLLER = "label.drive_side_roller"
    OFF_SIDE_ROLLER = "label.off_side_roller"
    PIVOT = "label.pivot"
    BREAKAWAY_FORCE = "label.breakaway_force"
    WITNESS_MARK = "label.witness_mark"
    STATION_EMPTY = "label.station_empty"
    STATION_LOADED = "label.station_loaded"


class SeenAnswer(StrEnum):
    """What is seen at a check, of the answers that are built in."""

    ROUND = "answer.round"
    FLAT_SPOT = "answer.flat_spot"
    DOES_NOT_TURN = "answer.does_not_turn"
    FREE = "answer.free"
    STIFF = "answer.stiff"
    SEIZED = "answer.seized"
    IN_LINE = "answer.in_line"
    TURNED = "answer.turned"
    YES = "answer.yes"
    NO = "answer.no"


@dataclass(frozen=True)
class Wanted:
    """One thing to read or to see at a check.

    `limits` and `plausible` are what the grade and the question about it need; the page is given the same.
    """

    code: str
    label: str | Reason  # as the plant named it, or a `LabelRule`
    form: str  # "number" or "choice"
    quantity: str = ""
    is_signed: bool = False
    side: str = ""
    asks_as_left: bool = False
    required: bool = False
    options: tuple[tuple[str, str], ...] = ()  # value, and a `SeenAnswer` or the plant's own text
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


def question_about(each: Wanted, value: float, stage: str) -> Reason | None:
    """What is odd about a reading that is hard to believe; None where nothing is odd."""
    return None if value < 0 else implausible(value, **plausible_at(each, stage))


def plausible_at(each: Wanted, stage: str) -> dict[str, Any]:
    """What a reading is held against; a part changed at this visit may well be larger than before."""
    return {**each.plausible, "previous": None, "expected": None} if stage == LEFT else dict(each.plausible)


def fault_of(each: Wanted, value: float | str) -> Reason | None:
    """Why a value cannot be taken; None where it can."""
    if each.form == "choice":
        return None if value in dict(each.options) else Reason(EntryRule.NO_SUCH_ANSWER)
    if not isinstance(value, int | float):
        return Reason(EntryRule.NOT_A_NUMBER)
    if each.plausible.get("quantity") == "diameter" and value <= 0:
        return Reason(EntryRule.DIAMETER_NOT_ABOVE_0)
    if each.quantity and value < 0 and not each.is_signed:
        return Reason(EntryRule.BELOW_0)
    return None


def reading_key(task_id: int, code: str, stage: str) -> str:
    return f"{task_id}:{code}:{stage}"
