"""What every kind of check answers; a kind that has no answer of its own takes the one here."""

from __future__ import annotations

import enum
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping, Sequence

from inspections.calc.findings import Finding
from inspections.check_rules.wanted import FOUND, LEFT, Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.models import Installation
from plant.calc.reasons import Reason


class Tool(enum.Enum):
    """What has to be brought to a check."""

    CALIPER = "caliper"
    SPRING_BALANCE = "spring_balance"
    TORQUE_WRENCH = "torque_wrench"


class Suggestion(enum.StrEnum):
    """What a finding to act on calls for."""

    PUT_RIGHT = "suggestion.put_right"
    REPLACE_ROLLERS = "suggestion.replace_rollers"
    FREE_PIVOT = "suggestion.free_pivot"
    SECURE_FASTENERS = "suggestion.secure_fasteners"
    CENTRE_BELT = "suggestion.centre_belt"
    STUDY_CAUSE = "suggestion.study_cause"


class ShownLimit(enum.StrEnum):
    """Which limits stand beside the box of a reading."""

    ROLLER = "limit.roller"
    FORCE = "limit.force"
    TORQUE = "limit.torque"
    NO_TARGET = "limit.no_target"
    OFFSET = "limit.offset"


class CheckRule(ABC):
    """The answers of one kind of check.

    Attributes
    ----------
    rule : CheckKind.Rule
        By which a kind of check names it.
    suggestion : Suggestion
        What a finding to act on calls for; its words are in inspections/words/check_rules.py.
    tools : frozenset of Tool
        What has to be brought.
    reads_wear : bool
        Whether it reads the rollers, whose own trend says what to expect and when to look again.
    reads_offsets : bool
        Whether the belt's offset is read at the stations of the device.
    is_measured : bool
        Whether every number is read at a check where nothing is amiss.
    names_tool : bool
        Whether it says of each number how it was read, and with which tool.
    has_own_fields : bool
        Whether the plant says what is read and within which limits. They may have changed since a reading was graded,
        so that keeps its grade.
    """

    rule: CheckKind.Rule
    suggestion = Suggestion.PUT_RIGHT
    tools: frozenset[Tool] = frozenset()
    reads_wear = False
    reads_offsets = False
    is_measured = False
    names_tool = False
    has_own_fields = False

    @abstractmethod
    def wanted(
        self,
        installation: Installation,
        fields: Sequence[ReadingField],
        previous: Mapping[str, Reading],
        stations: Sequence[float] = (),
    ) -> list[Wanted]:
        """What to read at a device, with what is implausible of each.

        `fields` are those of the plant's own kind; `stations` where the belt's offset is read at this device [m]; they
        are looked up where they are not given.
        """

    @abstractmethod
    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        """What the readings of one check come to, by the limits beside each."""

    def with_trend(self, wanted: Iterable[Wanted], expected: Mapping[str, Mapping[str, float]]) -> list[Wanted]:
        """The same with what the wear of each side makes one expect."""
        return list(wanted)

    def limit_reason(self, each: Wanted) -> Reason | None:
        """The limits of one reading, as they stand beside its box; None where nothing stands there."""
        return None

    def belt_offsets(self, installation: Installation, values: Values) -> list[tuple[float, bool, float | None]]:
        """Offsets of the belt that were measured: chainage [m], whether loaded, offset [mm] or None."""
        return []


def typed_at(values: Values, stage: str) -> dict[str, float | str]:
    """What was entered at one stage, by code."""
    given = {code: typed.value for code, typed in values.get(stage, {}).items()}
    return {code: value for code, value in given.items() if value is not None and value != ""}


def found_of(values: Values) -> dict[str, float | str]:
    return typed_at(values, FOUND)


def left_of(values: Values) -> dict[str, float | str]:
    return typed_at(values, LEFT)
