"""The usual suspects in words: their names, what the book says of each, and the look that would decide it."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inspections.calc.suspects import DeviceEvent, Said, Suspect, SuspectRule
from inspections.words.grading import TEXTS as GRADING
from installs.calc.clearance import PlaceLine
from installs.calc.fit_up_lines import FitUpLine
from installs.words.fit_up import line_words
from installs.words.placement import placing_words
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence

# By key: what it is called, and the look that would decide it.
SUSPECTS: Mapping[str, tuple[str | Promise, str | Promise]] = {
    "pivot": (_("seized or stiff pivot"), _("Lock out first; swing the frame through its whole range.")),
    "restraint": (_("transport restraint left in"), _("Look for the strap or pin; is either sensor worn?")),
    "direction": (
        _("mirrored, or wrong for the direction"),
        _("Compare with the maker's drawing for this strand and direction of travel."),
    ),
    "near": (_("too near a pulley, loading point or scraper"), _("Measure from the pulley's centre.")),
    "lift": (
        _("too little or too much lift of the belt"),
        _(
            "Measure both bracket heights from one datum; at too little the roll has no grip, at too much the edge"
            " lifts."
        ),
    ),
    "fouls": (
        _("fouls structure at full tilt"),
        _("Lock out first; swing to full tilt, look for touch marks."),
    ),
    "sensors": (_("sensors too tight or too wide"), _("Measure clear distance and belt width here.")),
    "square": (
        _("frame shifted or skewed, fasteners loose"),
        _("Read the torque as found, then square both brackets from one fixed line."),
    ),
    "each-other": (
        _("two devices that correct each other"),
        _("Watch several revolutions from the walkway: does the swing last longer than one?"),
    ),
    "arm": (_("sensor arm bent"), _("Lock out first; compare both arms side by side.")),
    "crown": (
        _("carry-back built up on the steering roll"),
        _("Lock out first; look for a crown; see the scraper."),
    ),
    "worn": (_("sensor worn through to its bearing"), _("Measure both diameters.")),
}

TEXTS: Texts = {
    **GRADING,
    SuspectRule.NOBODY_LOOKED: _("Nobody has looked yet."),
    SuspectRule.DATED: _("%(event)s on %(on)s."),
    SuspectRule.DATED_NOTE: _("%(event)s on %(on)s: %(note)s."),
    SuspectRule.DATED_BECAUSE: _("%(event)s on %(on)s: %(because)s"),
    SuspectRule.ONE_SIDED: _("The %(side)s is worn by %(more_mm)s, the other by %(less_mm)s."),
    SuspectRule.ONE_SIDED_SINCE: _("Since then: the %(side)s is worn by %(more_mm)s, the other by %(less_mm)s."),
    SuspectRule.PIVOT_NOT_TRIED: _("The pivot itself was not tried."),
    SuspectRule.AS_NEW: _(
        "Both sensor rollers are as new after %(hours)s running hours: the frame may not move, or the belt never"
        " reaches it."
    ),
    SuspectRule.WRONG_STRAND: _("The model is made for the %(wanted)s strand; it stands on the %(strand)s."),
    SuspectRule.ONE_DIRECTION: _("The belt reverses and the model is made for one direction."),
    SuspectRule.SUITS: _(
        "The model suits strand and direction; whether it is mounted mirrored shows only at the belt."
    ),
    SuspectRule.WITHIN_WANTED: _("Within what is wanted when it was fitted."),
    SuspectRule.NOT_MEASURED: _("Not measured when it was fitted."),
    SuspectRule.OVERLAPS: _("Its zone overlaps that of %(devices)s."),
    SuspectRule.DEVICE: _("device %(device)s"),
    SuspectRule.AND: _("%(one)s and %(other)s"),
    SuspectRule.ALONE: _("No other device steers the same stretch."),
    SuspectRule.WORN_THROUGH: _("A sensor roller was at or below its limit on %(on)s."),
    SuspectRule.ABOVE_LIMIT: _("At least %(left_mm)s above the limit on %(on)s."),
    DeviceEvent.PIVOT_FREE: _("Found free"),
    DeviceEvent.PIVOT_STIFF: _("Found stiff"),
    DeviceEvent.PIVOT_SEIZED: _("Found seized"),
    DeviceEvent.RESTRAINT_CONFIRMED: _("Its removal was confirmed"),
    DeviceEvent.RESTRAINT_PASSED_OVER: _("The hold point was passed over"),
    DeviceEvent.TOUCHED: _("It touched something"),
    DeviceEvent.NOT_TOUCHED: _("Nothing was touched"),
    DeviceEvent.LOOSE: _("Fasteners were found loose"),
    DeviceEvent.GIVING_WAY: _("Fasteners had begun to give way"),
    DeviceEvent.HELD: _("The fasteners held"),
    DeviceEvent.HUNTING: _("The frame swung to and fro"),
    DeviceEvent.HELD_TO_DRIVE: _("The frame was held towards the drive side"),
    DeviceEvent.HELD_TO_OFF: _("The frame was held towards the off side"),
    DeviceEvent.BUILD_UP: _("Build-up was found at the place"),
    DeviceEvent.NO_BUILD_UP: _("No build-up was found at the place"),
}


def name_words(suspect: Suspect) -> str:
    return str(SUSPECTS[suspect.key][0])


def look_words(suspect: Suspect) -> str:
    """The look that would decide it."""
    return str(SUSPECTS[suspect.key][1])


def said_words(suspect: Suspect, system: UnitSystem) -> str:
    """What the book says of a suspect."""
    return " ".join(_said(each, system) for each in suspect.said)


def _said(each: Said, system: UnitSystem) -> str:
    if isinstance(each, FitUpLine):
        return line_words(each, system)
    if isinstance(each, PlaceLine):
        words = placing_words(each.why, system)
        return words[0].upper() + words[1:]
    return sentence(each, TEXTS, system)
