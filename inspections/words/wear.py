"""Wear of sensor rollers in words: since when, and why there is no rate or no date."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from inspections.calc.wear import Since, WearRule
from inspections.selectors.wear import SideWear
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.words.reasons import Texts, sentences

TEXTS: Texts = {
    WearRule.NO_READING: _("No reading since the part change."),
    WearRule.ONE_READING: _("One reading since the part change: nothing is read out of a single one."),
    WearRule.TOO_CLOSE: _("The readings lie within %(hours)s running hours; at least %(least)s h are needed."),
    WearRule.NO_FLEET: _(
        "%(n)s readings, and no rate of like devices to lean on: from %(enough)s readings on the device tells by"
        " itself."
    ),
    WearRule.ONE_PULLS: _(
        "One reading pulls the line: the median of the slopes between pairs is %(rate_mm)s per 1000 h. Look at the"
        " readings for a slip."
    ),
    WearRule.FLEET_TAKEN_IN: _(
        "%(n)s readings: the rate of %(rollers)s rollers of like devices (%(rate_mm)s per 1000 h) is taken in."
    ),
    WearRule.NO_WEAR_SEEN: _("The readings do not show wear beyond their scatter: no date can be computed yet."),
    WearRule.TOO_FAR_AHEAD: _(
        "At this rate the limit lies more than %(hours)s running hours ahead: further than these readings carry."
    ),
    WearRule.NO_LIMIT: _("The model states no limit diameter: no date can be computed."),
    WearRule.LEFT_OUT: _("%(n)s readings are left out: their running hours are not known."),
    WearRule.NO_RECENT_HOURS: _(
        "The running hours of the last weeks are not known: hours cannot be turned into a date."
    ),
    WearRule.FEW_HOURS: _("Too few running hours are known since the rollers were new."),
    Since.INSTALLATION: _("since the installation"),
    Since.VISIT: _("since new rollers at a visit"),
    Since.PART_CHANGE: _("since the part change"),
}


def since_words(side: SideWear) -> str:
    """What the roller is known to be new from."""
    return str(TEXTS[side.since_what])


def lost(per_1000_h: float, system: UnitSystem, *, with_unit: bool = True) -> str:
    """A rate of wear in 1000 h: a hundredth of a millimetre is 0.0004 in."""
    digits = 2 if system is UnitSystem.METRIC else 4
    return format_quantity(per_1000_h, QuantityKind.LENGTH_MM, system, digits=digits, with_unit=with_unit)


def rate_words(side: SideWear, system: UnitSystem) -> str:
    """The rate of a side with its limits: 0.62 mm (0.41 to 0.83); a dash where there is none."""
    rate, low, high = side.trend.per_1000_h, side.trend.low, side.trend.high
    if rate is None:
        return "–"
    if low is None or high is None:
        return lost(rate, system)
    known = {
        "rate": lost(rate, system),
        "low": lost(low, system, with_unit=False),
        "high": lost(high, system, with_unit=False),
    }
    return str(_("%(rate)s (%(low)s to %(high)s)") % known)


def wear_words(side: SideWear, system: UnitSystem) -> str:
    """Why there is no rate or no date, or how the rate is to be taken; empty where there is nothing to say."""
    return sentences(side.reasons, TEXTS, system, writers={"rate_mm": lambda rate: lost(rate, system)})
