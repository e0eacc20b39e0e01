"""Why time is in neither window of a comparison, in words."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence
from reports.calc.study_windows import WindowRule

TEXTS: Texts = {
    WindowRule.WORK: "%(kind)s: %(description)s",
    WindowRule.OUT_OF_SERVICE: _("device %(number)s out of service: %(reason)s"),
    WindowRule.OVERLAPPING_FITTED: _("device %(number)s, whose zone overlaps, was fitted"),
    WindowRule.OVERLAPPING_REMOVED: _("device %(number)s, whose zone overlaps, was removed"),
    WindowRule.LAST_SOUND: _("a part was last found sound"),
    WindowRule.BEFORE_A_CHANGE: _("before a change: %(change)s"),
    WindowRule.AFTER_A_CHANGE: _("after a change: %(change)s"),
    WindowRule.SETTLING_IN: _(
        "settling-in: %(days)d days or %(running_h_number)s running hours, whichever comes first"
    ),
    WindowRule.BEFORE_THE_SET_WINDOW: _("before the window that was set"),
    WindowRule.AFTER_THE_SET_WINDOW: _("after the set window"),
    WindowRule.AFTER_THE_REMOVAL: _("after the removal"),
}


def left_out_words(reason: Reason) -> str:
    """after a change: belt replaced: new belt"""
    return sentence(reason, TEXTS, UnitSystem.METRIC)
