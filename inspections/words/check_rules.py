"""What each kind of check says: the limits beside a box, and what a finding to act on calls for."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial

from django.utils.translation import gettext_lazy as _

from inspections.check_rules.base import ShownLimit, Suggestion
from inspections.check_rules.kinds import suggestion_of
from inspections.check_rules.wanted import LabelRule, SeenAnswer, Wanted
from inspections.models import CheckKind
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind, UnitSystem, format_reading, kind_of
from plant.words.reasons import Texts, Writers, sentence

TEXTS: Texts = {
    Suggestion.PUT_RIGHT: _("Put right: %(kind)s"),
    Suggestion.REPLACE_ROLLERS: _("Replace both sensor rollers"),
    Suggestion.FREE_PIVOT: _("Free or replace the pivot"),
    Suggestion.SECURE_FASTENERS: _("Find out why fasteners come loose, and secure them"),
    Suggestion.CENTRE_BELT: _("Find out why the belt runs off here"),
    Suggestion.STUDY_CAUSE: _("Study the cause: %(kind)s says act %(n)s times running"),
    ShownLimit.ROLLER: _("new %(new_mm)s, limit %(limit_mm)s"),
    ShownLimit.FORCE: _("limit %(limit_n)s"),
    ShownLimit.TORQUE: _("target %(target_nm)s, within %(tolerance_pct)s"),
    ShownLimit.NO_TARGET: _("target not stated"),
    ShownLimit.OFFSET: _("permitted %(permitted_mm)s; drive side plus, off side minus"),
}
LABELS: Texts = {
    LabelRule.DRIVE_SIDE: _("Drive side"),
    LabelRule.OFF_SIDE: _("Off side"),
    LabelRule.DRIVE_SIDE_ROLLER: _("Drive side roller"),
    LabelRule.OFF_SIDE_ROLLER: _("Off side roller"),
    LabelRule.PIVOT: _("Pivot"),
    LabelRule.BREAKAWAY_FORCE: _("Breakaway force"),
    LabelRule.WITNESS_MARK: _("%(fastener)s, witness mark"),
    LabelRule.STATION_EMPTY: _("%(at_m)s, empty"),
    LabelRule.STATION_LOADED: _("%(at_m)s, loaded"),
}
ANSWERS: Texts = {
    SeenAnswer.ROUND: _("round, turns"),
    SeenAnswer.FLAT_SPOT: _("flat spot"),
    SeenAnswer.DOES_NOT_TURN: _("does not turn"),
    SeenAnswer.FREE: _("free"),
    SeenAnswer.STIFF: _("stiff"),
    SeenAnswer.SEIZED: _("seized"),
    SeenAnswer.IN_LINE: _("in line"),
    SeenAnswer.TURNED: _("turned past it"),
    SeenAnswer.YES: _("yes"),
    SeenAnswer.NO: _("no"),
}


def label_words(each: Wanted) -> str:
    """What a reading is called; stations in metres, as the book keeps the name."""
    label = each.label
    return sentence(label, LABELS, UnitSystem.METRIC) if isinstance(label, Reason) else label


def answers_of(options: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Each answer that is offered, by its value."""
    return {value: str(ANSWERS[label]) if isinstance(label, SeenAnswer) else label for value, label in options}


def limit_words(reason: Reason | None, system: UnitSystem) -> str:
    """The limits of a reading as they stand beside its box, written as its instrument shows them."""
    if reason is None:
        return ""
    writers: Writers = {
        name: partial(format_reading, kind=kind, system=system)
        for name in reason.values
        if (kind := kind_of(name)) not in (None, QuantityKind.PERCENT)
    }
    return sentence(reason, TEXTS, system, writers=writers)


def suggested_action(kind: CheckKind, n_before: int = 0) -> str:
    """What a finding to act on calls for, as a title that the person may change; as in `suggestion_of`."""
    return sentence(suggestion_of(kind, n_before), TEXTS, UnitSystem.METRIC)
