"""What stretches without a device tell of a comparison, in words: what is not allowed for, and what lies beside it."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, Writers, sentence
from reports.calc.bad_spells import SpellRule
from reports.calc.empirical_bayes import IndexRule
from reports.calc.reference_model import ReferenceRule
from reports.selectors.reference_groups import Beside, BesidePlace

TEXTS: Texts = {
    ReferenceRule.NO_STRETCH: _(
        "No stretch without a device could serve as reference and %(n_needed)d are needed: the count is taken as it "
        "is, not drawn towards what such stretches usually bring."
    ),
    ReferenceRule.ONE_STRETCH: _(
        "Only one stretch without a device could serve as reference and %(n_needed)d are needed: the count is taken "
        "as it is, not drawn towards what such stretches usually bring."
    ),
    ReferenceRule.TOO_FEW_STRETCHES: _(
        "Only %(n)d stretches without a device could serve as reference and %(n_needed)d are needed: the count is "
        "taken as it is, not drawn towards what such stretches usually bring."
    ),
    ReferenceRule.NO_INCIDENT: _("No incident is known on any stretch without a device."),
    ReferenceRule.UNEVEN: _(
        "counts of the stretches vary %(dispersion)s times as much as chance; errors are widened by that"
    ),
    ReferenceRule.NO_TREND: _(
        "Untreated stretches had too few incidents in these windows to tell a trend: none is taken out."
    ),
    ReferenceRule.TRAIT_UNKNOWN: _("A trait of this belt is not in the book."),
    IndexRule.NO_ERROR: _("No incident after: Hauer's standard error does not exist, the interval does."),
    SpellRule.TOO_FEW: _("%(n)d incidents are too few to see whether they come in spells."),
    SpellRule.NO_HOURS: _(
        "%(n)d incidents on days without known running hours do not show whether they come in spells."
    ),
}
WRITERS: Writers = {"dispersion": "{:.2f}".format}

BESIDE_WORDS = {
    BesidePlace.BELOW: _("below the zone, towards the tail"),
    BesidePlace.ABOVE: _("above the zone, towards the head"),
    BesidePlace.DOWNSTREAM_TO_TAIL: _("downstream of the zone, towards the tail"),
    BesidePlace.UPSTREAM_TO_HEAD: _("upstream of the zone, towards the head"),
    BesidePlace.UPSTREAM_TO_TAIL: _("upstream of the zone, towards the tail"),
    BesidePlace.DOWNSTREAM_TO_HEAD: _("downstream of the zone, towards the head"),
    BesidePlace.REST: _("rest of the belt, both strands"),
}


def reference_words(reason: Reason) -> str:
    """One reason of an answer. There is no unit in it that a person chooses."""
    return sentence(reason, TEXTS, UnitSystem.METRIC, writers=WRITERS)


def beside_words(beside: Beside) -> str:
    """upstream of the zone, towards the tail"""
    return str(BESIDE_WORDS[beside.place])
