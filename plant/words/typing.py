"""What is said of a quantity that a person types: what it was taken for, what it may mean, why it is not read."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.reasons import NotAccepted
from plant.calc.typed_quantities import TypingRule, Unclear, Understood, Way, kind_word, typing_grammar
from plant.calc.units import QuantityKind, UnitSystem
from plant.words.reasons import Texts, sentence

_KINDS: dict[QuantityKind, tuple[Any, Any, Any]] = {
    QuantityKind.LENGTH_MM: (
        gettext_lazy("a length"),
        gettext_lazy("length"),
        gettext_lazy("38 mm, 43 1/4 in or 4' 3\""),
    ),
    QuantityKind.DISTANCE_M: (
        gettext_lazy("a distance"),
        gettext_lazy("distance"),
        gettext_lazy("120 m, 394 ft or 12' 6\""),
    ),
    QuantityKind.SPEED_M_S: (gettext_lazy("a speed"), gettext_lazy("speed"), gettext_lazy("3.15 m/s or 620 ft/min")),
    QuantityKind.TORQUE_NM: (gettext_lazy("a torque"), gettext_lazy("torque"), gettext_lazy("100 N·m or 75 lbf·ft")),
    QuantityKind.FORCE_N: (gettext_lazy("a force"), gettext_lazy("force"), gettext_lazy("120 N or 27 lbf")),
    QuantityKind.MASS_KG: (gettext_lazy("a mass"), gettext_lazy("mass"), gettext_lazy("71 kg or 156 lb")),
    QuantityKind.TONNES: (gettext_lazy("a tonnage"), gettext_lazy("tonnage"), gettext_lazy("450 t or 500 short tons")),
    QuantityKind.HOURS: (
        gettext_lazy("a time in hours"),
        gettext_lazy("time in hours"),
        gettext_lazy("4.5 h, 270 min or 4 h 30 min"),
    ),
    QuantityKind.MINUTES: (
        gettext_lazy("a time in minutes"),
        gettext_lazy("time in minutes"),
        gettext_lazy("25 min, 1.5 h or 1 h 30 min"),
    ),
    QuantityKind.DEGREES: (gettext_lazy("an angle"), gettext_lazy("angle"), gettext_lazy("0.25 or 0.25°")),
    QuantityKind.PERCENT: (gettext_lazy("a percentage"), gettext_lazy("percentage"), gettext_lazy("96 or 96 %")),
    QuantityKind.PLAIN: (gettext_lazy("a number"), gettext_lazy("number"), gettext_lazy("12 or 2.5")),
}

TEXTS: Texts = {
    TypingRule.NOTHING: gettext_lazy("Nothing was typed. Give %(what)s such as %(examples)s."),
    TypingRule.NOT_UNDERSTOOD: gettext_lazy(
        "“%(text)s” was not understood as %(what)s: %(problem)s. Give %(what)s such as %(examples)s."
    ),
    TypingRule.EMPTY: gettext_lazy("it is empty"),
    TypingRule.TOO_LONG: gettext_lazy("it has %(length)s characters, at most %(most)s are read"),
    TypingRule.TOO_LARGE: gettext_lazy("the number is too large"),
    TypingRule.NEGATIVE: gettext_lazy("it is negative, and only zero or more is allowed here"),
    TypingRule.HOLDS_NO_NUMBER: gettext_lazy("“%(part)s” holds no number"),
    TypingRule.MORE_PARTS: gettext_lazy("it has more than two parts with units"),
    TypingRule.MIXED_UNITS: gettext_lazy("units are mixed; only feet with inches and hours with minutes go together"),
    TypingRule.WHOLE_FIRST: gettext_lazy("%(unit)s with %(small)s must be a whole number of %(unit)s"),
    TypingRule.SMALL_TOO_LARGE: gettext_lazy("%(small)s after %(unit)s must be less than %(limit)s"),
    TypingRule.NUMBER_EXPECTED: gettext_lazy("“%(part)s” stands where a number was expected"),
    TypingRule.MORE_NUMBERS: gettext_lazy(
        "“%(part)s” is more than one number without a unit between; write it without spaces"
    ),
    TypingRule.MORE_FRACTIONS: gettext_lazy("“%(part)s” has more than one fraction"),
    TypingRule.BEFORE_SLASH: gettext_lazy("“%(part)s” has no whole number before the slash"),
    TypingRule.AFTER_SLASH: gettext_lazy("“%(part)s” has no single whole number after the slash"),
    TypingRule.BY_ZERO: gettext_lazy("“%(part)s” divides by zero"),
    TypingRule.NO_MIXED_NUMBER: gettext_lazy("“%(part)s” is no whole number with one fraction"),
    TypingRule.NO_NUMBER: gettext_lazy("“%(part)s” is no number"),
    TypingRule.OTHER_KIND: gettext_lazy("“%(part)s” is not a unit of %(of)s"),
    TypingRule.UNKNOWN_UNIT: gettext_lazy("“%(part)s” is not a known unit"),
    TypingRule.MAY_MEAN_UNITS: gettext_lazy("“%(part)s” may mean %(one)s or %(other)s; write the unit"),
    TypingRule.MAY_MEAN_NUMBERS: gettext_lazy("“%(part)s” may mean %(one)s or %(other)s; write one of these"),
    TypingRule.MAY_BE_A_TON: gettext_lazy("“%(part)s” may be a tonne or a short ton; write t or short ton"),
    TypingRule.FRACTION_IN_INCHES: gettext_lazy("a fraction is read as inches"),
    TypingRule.TAKEN_AS: gettext_lazy("%(spelt)s taken as %(unit)s"),
    TypingRule.SHORT_TON: gettext_lazy("%(spelt)s taken as %(unit)s, 2000 lb"),
    **{
        kind_word(form, kind): words
        for kind, each in _KINDS.items()
        for form, words in zip(("what", "of", "examples"), each, strict=True)
    },
}


def echo(read: Understood | Way) -> str:
    """What a text was taken for, as it stands beside the box: "= 101.7 N·m (lb·ft taken as lbf·ft)"."""
    notes = [sentence(each, TEXTS, UnitSystem.METRIC) for each in read.notes]
    return _("%(shown)s (%(notes)s)") % {"shown": read.shown, "notes": "; ".join(notes)} if notes else read.shown


def ways_offered(unclear: Unclear) -> list[dict[str, str]]:
    """What a text in doubt may mean: a text that means nothing else, and its words."""
    return [{"text": way.text, "words": echo(way)} for way in unclear.ways]


def why_not_read(problem: NotAccepted) -> str:
    """Why a text is not read as a quantity. Its figures are those that were typed, so no units are the reader's."""
    return sentence(problem.reason, TEXTS, UnitSystem.METRIC)


def typing_for_page() -> dict[str, object]:
    """The grammar with what is said, for a page that reads what is typed with no request to the server."""
    return {**typing_grammar(), "texts": {str(rule): str(words) for rule, words in TEXTS.items()}}


__all__ = ["TEXTS", "echo", "typing_for_page", "ways_offered", "why_not_read"]
