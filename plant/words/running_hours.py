"""Why a reading of an hour meter cannot be right."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.calc.meter_readings import MeterRule
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence

TEXTS: Texts = {
    MeterRule.BEYOND_METER: _("%(read_h)s is more than the meter can show, %(most_h)s"),
    MeterRule.LEFT_OPEN: _(
        "%(why)s; the readings after it agree with it, so time since the reading before is left open: if the meter was "
        "replaced, record the last reading of the old and the first of the new one"
    ),
    MeterRule.ALONE: _("it agrees with no other reading"),
    MeterRule.AT_ONE_TIME: _("two readings at one time, %(first_h)s and %(second_h)s"),
    MeterRule.BACKWARDS: _(
        "the meter ran backwards, from %(first_h)s to %(second_h)s, and no rollover is declared for it"
    ),
    MeterRule.FASTER_THAN_CLOCK: _("from %(first_h)s to %(second_h)s is %(ran_h)s in %(clock_h)s on the clock"),
    MeterRule.FASTER_WITH_ROLLOVER: _(
        "from %(first_h)s to %(second_h)s with a rollover is %(ran_h)s in %(clock_h)s on the clock"
    ),
}


def meter_words(reason: Reason) -> str:
    """Hours are hours for everybody."""
    return sentence(reason, TEXTS, UnitSystem.METRIC)
