"""What is at fault with what was entered for a check, and what speaks against the tool of a reading, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.check_rules.wanted import EntryRule
from inspections.words.check_rules import LABELS
from installs.calc.fasteners import DayCount, ToolRule
from installs.words import torque
from plant.calc.reasons import NotAccepted, Reason
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.words.reasons import Texts, sentence
from plant.words.refusals import refused

TEXTS: Texts = {
    EntryRule.NO_SUCH_ANSWER: gettext_lazy("Choose one of the answers offered."),
    EntryRule.NOT_A_NUMBER: gettext_lazy("Give a number."),
    EntryRule.DIAMETER_NOT_ABOVE_0: gettext_lazy("A diameter is above 0."),
    EntryRule.BELOW_0: gettext_lazy("This cannot be below 0."),
    EntryRule.MISSING: gettext_lazy("%(label)s is missing."),
    EntryRule.NOTHING_AS_FOUND: gettext_lazy("Give at least one reading as found."),
    EntryRule.NOT_GRADED: "%(why)s",
    EntryRule.NO_SUCH_READING: gettext_lazy("%(kind)s asks for no reading “%(code)s”."),
    EntryRule.TOOL_IN_DOUBT: gettext_lazy(
        "%(tool)s: %(doubts)s Take another one, or say why this one was used all the same; the reason stays visible."
    ),
    EntryRule.ACT_WITHOUT_ACTION: gettext_lazy(
        "A finding says act (%(checks)s): raise an action, or say why none is needed."
    ),
    **LABELS,
    **{rule: torque.TEXTS[rule] for rule in (*ToolRule, *DayCount)},
}


def entry_words(faults: Mapping[str, Reason], system: UnitSystem = UnitSystem.METRIC) -> dict[str, str]:
    """What is at fault with each box."""
    return {key: sentence(reason, TEXTS, system) for key, reason in faults.items()}


def entry_refused(error: NotAccepted) -> Refused:
    """The refusal of readings that no check asks for."""
    return refused(error.reason, TEXTS, code="refused")


def doubt_words(doubts: Iterable[Reason], used_because: str) -> str:
    """Why a tool may have read wrong, and why it was used all the same; both stay with the reading."""
    told = [torque.torque_reasons(doubt, UnitSystem.METRIC) for doubt in doubts]
    if told and used_because:
        told.append(_("Used all the same: %(reason)s") % {"reason": used_because})
    return " ".join(told)[:300]
