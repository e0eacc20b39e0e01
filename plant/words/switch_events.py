"""Why it cannot be told whether contacts of a drift switch travel with the belt."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.calc.incidents import Fold, FoldRule
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentences

TEXTS: Texts = {
    FoldRule.ONE_CONTACT: _("%(contacts)s contact; at least %(fewest)s are needed"),
    FoldRule.FEW_CONTACTS: _("%(contacts)s contacts; at least %(fewest)s are needed"),
    FoldRule.COARSE_TIMES: _(
        "times are written to %(stamp)s s; for a revolution of %(revolution)s s give them to %(finest)s s or finer"
    ),
}


def fold_words(fold: Fold) -> str:
    """Seconds are seconds for everybody."""
    return sentences(fold.reasons, TEXTS, UnitSystem.METRIC, writers={"finest": "{:.1f}".format})
