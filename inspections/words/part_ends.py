"""How a roller or a pivot ended, in words."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from inspections.selectors.part_ends import EndRule
from installs.models import PartChange
from plant.words.reasons import Texts

TEXTS: Texts = {
    EndRule.AT_ACT_AND_CHANGED: _("found at act and changed"),
    EndRule.CHANGED_NOT_AT_ACT: _("changed while not at act"),
    EndRule.SEIZED_OR_BEYOND_LIMIT: _("found seized or beyond its limit"),
    **{why: why.label for why in PartChange.Why},
}


def end_words(how: str) -> str:
    """Why a part was changed, as somebody wrote it, or what a check showed."""
    return str(TEXTS[how])
