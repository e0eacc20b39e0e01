"""What every kind of check answers; a kind that has no answer of its own takes the one here."""

from __future__ import annotations

import enum
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping, Sequence

from django.utils.translation import gettext as _

from inspections.calc.findings import Finding
from inspections.check_rules.wanted import FOUND, LEFT, Values, Wanted
from inspections.models import CheckKind, Reading, ReadingField
from installs.models import Installation
from plant.calc.units import UnitSystem


class Tool(enum.Enum):
    """What has to be brought to a check."""

    CALIPER = "caliper"
    SPRING_BALANCE = "spring_balance"
    TORQUE_WRENCH = "torque_wrench"


class CheckRule(ABC):
    """The answers of one kind of check.

    Attributes
    ----------
    rule : CheckKind.Rule
        By which a kind of check names it.
    tools : frozenset of Tool
        What has to be brought.
    reads_wear : bool
        Whether it reads the rollers, whose own trend says what to expect and when to look again.
    is_measured : bool
        Whether every number is read at a check where nothing is amiss.
    names_tool : bool
        Whether it says of each number how it was read, and with which tool.
    has_own_fields : bool
        Whether the plant says what is read and within which limits. They may have changed since a reading was graded,
        so that keeps its grade.
    """

    rule: CheckKind.Rule
    tools: frozenset[Tool] = frozenset()
    reads_wear = False
    is_measured = False
    names_tool = False
    has_own_fields = False

    @abstractmethod
    def wanted(
        self, installation: Installation, fields: Sequence[ReadingField], previous: Mapping[str, Reading]
    ) -> list[Wanted]:
        """What to read at a device, with what is implausible of each; `fields` are those of the plant's own kind."""

    @abstractmethod
    def find(self, wanted: Sequence[Wanted], values: Values) -> Finding:
        """What the readings of one check come to, by the limits beside each."""

    def suggested(self, kind_name: str) -> str:
        """What a finding to act on calls for, as a title that the person may change."""
        return _("Put right: %(kind)s") % {"kind": kind_name}

    def with_trend(self, wanted: Iterable[Wanted], expected: Mapping[str, Mapping[str, float]]) -> list[Wanted]:
        """The same with what the wear of each side makes one expect."""
        return list(wanted)

    def limit_words(self, each: Wanted, system: UnitSystem) -> str:
        """The limits of one reading, as they stand beside its box."""
        return ""

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
