"""Belt offsets before and after in words: what they say, and why they say nothing."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.marks import mark
from plant.words.reasons import Texts, sentence
from reports.calc.offsets import OffsetAnswer, OffsetChangeRule, PairedOffsetChange
from reports.selectors.offset_studies import ComparedOccasion, NoOffsetAnswer, NotMeasured

TEXTS: Texts = {
    OffsetChangeRule.NOT_PAIRED: gettext_lazy("No station was measured both before and after."),
    OffsetChangeRule.TOO_FEW_STATIONS: gettext_lazy(
        "Stations measured both before and after: %(n)d. An interval needs %(n_needed)d: measure at more."
    ),
    OffsetChangeRule.EVEN: gettext_lazy("All stations changed by the same amount: no interval by this method."),
    NotMeasured.NOT_MEASURED: gettext_lazy("not measured"),
    NotMeasured.REMOVED_BEFORE: gettext_lazy("not measured; removed before"),
    NotMeasured.NOT_YET: gettext_lazy("not measured yet"),
    NoOffsetAnswer.NO_READING: gettext_lazy(
        "Not measured: no belt offset is in the book for this comparison, before or after."
    ),
    NoOffsetAnswer.NONE_BEFORE: gettext_lazy(
        "Not measured before the installation, so what was measured after has nothing to be paired with."
    ),
    NoOffsetAnswer.NONE_SINCE: gettext_lazy("Measured before the installation only; not measured since."),
    NoOffsetAnswer.NO_PAIR: gettext_lazy(
        "No station was measured both before and after: measure again where it was measured before."
    ),
}
ANSWER_WORDS = {
    OffsetAnswer.NEARER: gettext_lazy("the belt lies nearer to its line"),
    OffsetAnswer.FURTHER: gettext_lazy("the belt lies further off its line"),
    OffsetAnswer.UNCLEAR: gettext_lazy("no clear change of the offset"),
    OffsetAnswer.EVEN: gettext_lazy("the same change at every station, so no interval"),
    OffsetAnswer.TOO_FEW: gettext_lazy("too few stations for an interval"),
    OffsetAnswer.NOT_PAIRED: gettext_lazy("nothing to pair with"),
}
MARK_OF = {
    OffsetAnswer.NEARER: "fewer",
    OffsetAnswer.FURTHER: "more",
    OffsetAnswer.UNCLEAR: "flat",
    OffsetAnswer.TOO_FEW: "early",
    OffsetAnswer.EVEN: "flat",
    OffsetAnswer.NOT_PAIRED: "unjudged",
}


def offset_reason(reason: Reason) -> str:
    """Why a change has no interval."""
    return sentence(reason, TEXTS, UnitSystem.METRIC)


def offset_answer(change: PairedOffsetChange) -> str:
    """the belt lies nearer to its line"""
    return str(ANSWER_WORDS[change.answer])


def offset_mark(change: PairedOffsetChange) -> str:
    return mark(MARK_OF[change.answer], offset_answer(change))


def occasion_words(occasion: ComparedOccasion) -> str:
    """at acceptance; after 3 months"""
    if occasion.months == 0:
        return _("at acceptance")
    return _("after 1 month") if occasion.months == 1 else _("after %(n)s months") % {"n": occasion.months}


def lacking_words(lacking: NotMeasured | NoOffsetAnswer | None) -> str:
    """not measured yet; empty where it was."""
    return str(TEXTS[lacking]) if lacking else ""
