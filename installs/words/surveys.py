"""What a survey says: each line by its name, what was seen and is wanted, why it stands so; the guide to causes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.survey_lines import SurveyLine
from installs.calc.survey_rules import HiddenCause, SurveyRule, SurveySeen
from installs.models import CauseTest
from installs.words import placement
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence


@dataclass(frozen=True)
class CauseGuide:
    """One cause that a device hides: where it shows, how to test for it and why it is cured first."""

    cause: str
    signature: str | Promise
    how: str | Promise
    why_first: str | Promise

    @property
    def name(self) -> str | Promise:
        return CauseTest.Cause(self.cause).label


# The wording is the house's own.
GUIDES = (
    CauseGuide(
        HiddenCause.OUT_OF_SQUARE,
        gettext_lazy("The belt runs off at one place, to the same side, empty and loaded."),
        gettext_lazy(
            "Survey three to six idlers upstream against one line along the structure, never one frame from the next."
        ),
        gettext_lazy("A device would work against it for ever: its sensors wear on one side."),
    ),
    CauseGuide(
        HiddenCause.SEIZED_ROLLS,
        gettext_lazy("It began one day at one place and is worse when wet; a roll is bright or fat with material."),
        gettext_lazy(
            "Look from the walkway along both strands, by eye or with a thermal camera; have it cleaned and look again."
        ),
        gettext_lazy("The look costs minutes, and a seized roll that runs hot can start a fire."),
    ),
    CauseGuide(
        HiddenCause.SPLICE,
        gettext_lazy("The wander travels and comes back once in each belt revolution."),
        gettext_lazy(
            "Time the events against one belt revolution; lock out to mark the belt's edge, then watch the mark."
        ),
        gettext_lazy("No device in a fixed place cures a length of belt that is crooked everywhere."),
    ),
    CauseGuide(
        HiddenCause.LOADING,
        gettext_lazy("Only when loaded; the side follows feed, material or wear of the chute."),
        gettext_lazy(
            "Compare empty with loaded at the same station, and note the feed, tonnes and source of each look."
        ),
        gettext_lazy("The device wears, and the spillage stays at the chute."),
    ),
    CauseGuide(
        HiddenCause.TENSION,
        gettext_lazy("Behind the drive, near tail or take-up; at the start, and when wet."),
        gettext_lazy(
            "Read the position and squareness of the take-up from outside its guard; watch a start from the walkway."
        ),
        gettext_lazy("Without tension the device has no grip either."),
    ),
    CauseGuide(
        HiddenCause.WEATHER,
        gettext_lazy("It goes with the weather or the hour of the day."),
        gettext_lazy("Lay the incidents beside weather, shift and material."),
        gettext_lazy("Covers, drainage or a wind guard take the cause away."),
    ),
    CauseGuide(
        HiddenCause.REVERSING,
        gettext_lazy("The side changes when the belt turns round."),
        gettext_lazy("Split the incidents by direction; watch both directions."),
        gettext_lazy("Only a device made for both directions helps; another one makes it worse in reverse."),
    ),
    CauseGuide(
        HiddenCause.BELT,
        gettext_lazy("It began with a new belt."),
        gettext_lazy("Look up the last belt change; measure the width at a sound length and at the splice."),
        gettext_lazy("The sensors of a device would be set for another width."),
    ),
    CauseGuide(
        HiddenCause.SWITCH,
        gettext_lazy("One switch trips; there is no spillage and no mark on belt or structure."),
        gettext_lazy("Have the switch tested by hand by the site's procedure."),
        gettext_lazy("It may be no wander at all."),
    ),
)
# Each line by its rule; that of a cause by the cause's name.
LABELS = {
    "chainage": gettext_lazy("Chainage"),
    "model": gettext_lazy("Model"),
    "strand": gettext_lazy("Strand"),
    "direction": gettext_lazy("Direction"),
    "width": gettext_lazy("Belt width, measured here"),
    "speed": gettext_lazy("Belt speed"),
    "trough": gettext_lazy("Trough angle"),
    "below": gettext_lazy("Clearance below"),
    "beside_drive": gettext_lazy("Clearance beside, drive side"),
    "beside_off": gettext_lazy("Clearance beside, off side"),
    "along": gettext_lazy("Room along the belt"),
    "spacing": gettext_lazy("Clear width between the stringers"),
    "wander": gettext_lazy("Distance into the wander"),
    "obstructions": gettext_lazy("Obstructions"),
    "access": gettext_lazy("Access"),
    "lifting_point": gettext_lazy("Lifting point"),
    "light": gettext_lazy("Light enough to work"),
    "guard": gettext_lazy("Guard"),
    "offsets_empty": gettext_lazy("Belt offset, empty"),
    "offsets_loaded": gettext_lazy("Belt offset, loaded"),
    "conditions": gettext_lazy("Conditions named"),
}
SEEN: Texts = {
    SurveySeen.NOT_STATED: gettext_lazy("not stated"),
    SurveySeen.NOT_MEASURED: gettext_lazy("not measured"),
    SurveySeen.NOT_LOOKED: gettext_lazy("not looked at"),
    SurveySeen.NOT_TESTED: gettext_lazy("not tested"),
    SurveySeen.NONE: gettext_lazy("none"),
    SurveySeen.YES: gettext_lazy("yes"),
    SurveySeen.NO: gettext_lazy("no"),
    SurveySeen.KNOWN: gettext_lazy("known"),
    SurveySeen.TYPED: "%(text)s",
    SurveySeen.ONE_MODEL: gettext_lazy("one model"),
    SurveySeen.AS_SHEET: gettext_lazy("as the sheet says"),
    SurveySeen.CARRY: gettext_lazy("carry"),
    SurveySeen.RETURN: gettext_lazy("return"),
    SurveySeen.ONE_WAY: gettext_lazy("one way"),
    SurveySeen.BOTH_WAYS: gettext_lazy("both ways"),
    SurveySeen.DOWNSTREAM: gettext_lazy("downstream of all of it"),
    SurveySeen.MM: "%(size_mm)s",
    SurveySeen.M: "%(size_m)s",
    SurveySeen.M_S: "%(size_m_s)s",
    SurveySeen.DEG: "%(size_deg)s",
    SurveySeen.BETWEEN_MM: gettext_lazy("%(low_mm_number)s to %(high_mm)s"),
    SurveySeen.BETWEEN_M: gettext_lazy("%(low_m_number)s to %(high_m)s"),
    SurveySeen.BETWEEN_M_S: gettext_lazy("%(low_m_s_number)s to %(high_m_s)s"),
    SurveySeen.BETWEEN_DEG: gettext_lazy("%(low_deg_number)s to %(high_deg)s"),
    SurveySeen.AT_LEAST_MM: gettext_lazy("at least %(low_mm)s"),
    SurveySeen.AT_LEAST_M_S: gettext_lazy("at least %(low_m_s)s"),
    SurveySeen.AT_MOST_MM: gettext_lazy("at most %(high_mm)s"),
    SurveySeen.AT_MOST_M_S: gettext_lazy("at most %(high_m_s)s"),
    SurveySeen.GUARD_WANTED: gettext_lazy("an equal guard fits back"),
    SurveySeen.GUARD_STAYS: gettext_lazy("none comes off"),
    SurveySeen.GUARD_OFF: gettext_lazy("one comes off"),
    SurveySeen.GUARD_BACK: gettext_lazy("one comes off, an equal one fits back"),
    SurveySeen.GUARD_NOT_BACK: gettext_lazy("one comes off, no equal one fits back"),
    SurveySeen.GUARD_OFF_NAMED: gettext_lazy("one comes off (%(which)s)"),
    SurveySeen.GUARD_BACK_NAMED: gettext_lazy("one comes off (%(which)s), an equal one fits back"),
    SurveySeen.GUARD_NOT_BACK_NAMED: gettext_lazy("one comes off (%(which)s), no equal one fits back"),
    SurveySeen.NONE_OR_CURED: gettext_lazy("none, or cured"),
    SurveySeen.FOUND: gettext_lazy("found, to be cured"),
    SurveySeen.CURED: gettext_lazy("found and cured"),
    SurveySeen.NO_SIGN: gettext_lazy("no sign of it"),
    SurveySeen.STATION: gettext_lazy("%(n)s station"),
    SurveySeen.STATIONS: gettext_lazy("%(n)s stations"),
    SurveySeen.STATIONS_WANTED: gettext_lazy("%(n)s stations or more"),
}
TEXTS: Texts = {
    **SEEN,
    **{HiddenCause(each.cause).name_rule: each.name for each in GUIDES},
    **{HiddenCause(each.cause).how_rule: each.how for each in GUIDES},
    **{HiddenCause(each.cause).why_rule: each.why_first for each in GUIDES},
    SurveyRule.ON_BELT: gettext_lazy("The place lies on the belt."),
    SurveyRule.BELT_ENDS: gettext_lazy("The belt ends at %(end_m)s."),
    SurveyRule.NO_MODEL: gettext_lazy(
        "No model is in mind: clearances, width, speed and direction are judged against no sheet. Choose one."
    ),
    SurveyRule.NOT_WHOLE_RANGE: gettext_lazy(
        "Not measured over the whole pivot and tilt range: measure it there before the fitting."
    ),
    SurveyRule.SPACING_UNKNOWN: gettext_lazy("Measure it before a frame is ordered."),
    SurveyRule.FRAMES_NOT_STATED: gettext_lazy("The model's frame lengths are not stated: ask the maker."),
    SurveyRule.SPACING_SHORT: gettext_lazy("Clear width %(spacing_mm)s, wanted %(wanted)s: %(by_mm)s short."),
    SurveyRule.SPACING_OVER: gettext_lazy("Clear width %(spacing_mm)s, wanted %(wanted)s: %(by_mm)s too much."),
    SurveyRule.EXTENSION_NOT_STATED: gettext_lazy("The largest extension is not stated: ask the maker."),
    SurveyRule.SPACING_REACHED: gettext_lazy("A frame of the model reaches %(spacing_mm)s."),
    SurveyRule.WANDER_NOT_SEEN: gettext_lazy(
        "Where the wander begins and ends was not seen: walk the belt, empty and loaded, from outside the guards."
    ),
    SurveyRule.WANDER_UPSTREAM: gettext_lazy(
        "The place lies downstream of the whole wander: a device there reaches nothing of it."
    ),
    SurveyRule.BEYOND_REACH: gettext_lazy("That is further than the %(effect_m)s that it acts."),
    SurveyRule.OBSTRUCTED: gettext_lazy("It is in the way: settle it before the fitting."),
    SurveyRule.ACCESS_KNOWN: gettext_lazy("The access is known."),
    SurveyRule.ACCESS_UNKNOWN: gettext_lazy("Say how people get there."),
    SurveyRule.LIFTING_YES: gettext_lazy("Lifting point: yes."),
    SurveyRule.LIFTING_NO: gettext_lazy("There is none: plan the lift with the site."),
    SurveyRule.LIGHT_YES: gettext_lazy("Light enough to work: yes."),
    SurveyRule.LIGHT_NO: gettext_lazy("There is too little: bring light."),
    SurveyRule.LOOK_BEFORE: gettext_lazy("Look before the fitting."),
    SurveyRule.GUARD_STAYS: gettext_lazy("No guard comes off for it."),
    SurveyRule.GUARD_UNKNOWN: gettext_lazy("Say whether one must come off."),
    SurveyRule.GUARD_BACK: gettext_lazy("It goes back before anybody asks for the belt to run."),
    SurveyRule.GUARD_NOT_BACK: gettext_lazy(
        "No equal guard fits back with the device in place: the belt would run with less guard than before."
    ),
    SurveyRule.GUARD_BACK_UNKNOWN: gettext_lazy("Whether an equal one fits back was not looked at."),
    SurveyRule.CAUSE_OVERRIDDEN: gettext_lazy("Found and not cured; fitted all the same, because: %(reason)s"),
    SurveyRule.CAUSE_FIRST: gettext_lazy("Cure it first. %(why)s"),
    SurveyRule.CAUSE_UNTESTED: gettext_lazy("Still to be tested. %(how)s"),
    SurveyRule.CAUSE_SEEN: gettext_lazy("%(cause)s: %(seen)s."),
    SurveyRule.OFFSETS_MEASURED: gettext_lazy("Measured at %(stations)s."),
    SurveyRule.OFFSETS_NEEDED: gettext_lazy(
        "Without it the device's effect on the offset cannot be told later. Measure it before the fitting."
    ),
    SurveyRule.AS_WRITTEN: gettext_lazy("As the person wrote them."),
}


@dataclass(frozen=True)
class ShownSurveyLine:
    """One line of a survey in the reader's units."""

    rule: str
    label: str
    measured: str
    wanted: str
    verdict: str
    words: str


def label_words(rule: str) -> str:
    """The name of a line."""
    if rule in LABELS:
        return str(LABELS[rule])
    return _("Cause: %s") % TEXTS[HiddenCause(rule.removeprefix("cause_")).name_rule]


def survey_words(reason: Reason, system: UnitSystem) -> str:
    """What was seen, or why a line stands so; lengths as a tape shows them."""
    if reason.rule in placement.TEXTS:
        return placement.placing_words(reason, system, tape=True)
    return sentence(reason, TEXTS, system, tape=True)


def shown_lines(lines: Iterable[SurveyLine], system: UnitSystem) -> list[ShownSurveyLine]:
    """Lines as people read them."""
    return [
        ShownSurveyLine(
            line.rule,
            label_words(line.rule),
            survey_words(line.measured, system),
            survey_words(line.wanted, system),
            line.standing.value,
            " ".join(survey_words(each, system) for each in line.why),
        )
        for line in lines
    ]
