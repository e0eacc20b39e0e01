"""What happened on a belt, in words."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence
from reports.selectors.belts import Happened

TEXTS: Texts = {
    Happened.FITTED: _("device %(number)s fitted"),
    Happened.REMOVED: _("device %(number)s removed"),
    Happened.OUT_OF_SERVICE: _("device %(number)s out of service"),
    Happened.KIND_OF_WORK: "%(kind)s",
    Happened.WORK: "%(kind)s: %(description)s",
}


def happened_words(what: Reason) -> str:
    """device 20 fitted"""
    return sentence(what, TEXTS, UnitSystem.METRIC)
