"""What a technician needs at a place that was walked, where the wander lies, and which causes a device would hide."""

from __future__ import annotations

from collections.abc import Mapping

from installs.calc.belt_offsets import LEAST_STATIONS
from installs.calc.clearance import Fit
from installs.calc.effect_zones import Zone
from installs.calc.placement_rules import PlacementRules
from installs.calc.survey_lines import (
    Answer,
    Found,
    LineStanding,
    SurveyLine,
    Walked,
    amount,
    between,
    condition,
    line,
    met,
    not_met,
    typed,
)
from installs.calc.survey_rules import HiddenCause, SurveyRule, SurveySeen
from installs.calc.wander import Wander, into_the_wander
from plant.calc.reasons import Reason

# A guard that comes off: as it is said where nobody named it, and where somebody did.
GUARDS = {
    "": (SurveySeen.GUARD_OFF, SurveySeen.GUARD_OFF_NAMED),
    "yes": (SurveySeen.GUARD_BACK, SurveySeen.GUARD_BACK_NAMED),
    "no": (SurveySeen.GUARD_NOT_BACK, SurveySeen.GUARD_NOT_BACK_NAMED),
}


def wander_line(walked: Walked, rules: PlacementRules) -> SurveyLine:
    """The place lies a few metres into the wander, so that the device meets a belt that is off and has length to act.

    Parameters
    ----------
    walked : Walked
    rules : PlacementRules

    Returns
    -------
    SurveyLine
        Not met only where the device could reach nothing of the stretch; a condition outside the usual distance.
    """
    rule, wanted = "wander", between(rules.into_wander_least_m, rules.into_wander_most_m, "m")
    begins_m, ends_m = walked.wander_from_m, walked.wander_to_m
    if begins_m is None or ends_m is None:
        return condition(rule, SurveySeen.NOT_MEASURED, wanted, SurveyRule.WANDER_NOT_SEEN)
    wander = Wander(Zone(min(begins_m, ends_m), max(begins_m, ends_m)), 0, 0)
    found = into_the_wander([wander], walked.strand, walked.chainage_m, walked.is_reversing, rules)
    if not found:
        return not_met(rule, SurveySeen.DOWNSTREAM, wanted, SurveyRule.WANDER_UPSTREAM)
    best = min(found, key=lambda each: (each.fit is not Fit.FITS, abs(each.distance_m)))
    measured = amount(best.distance_m, "m")
    if -best.distance_m > walked.effect_length_m:
        beyond = Reason(SurveyRule.BEYOND_REACH, {"effect_m": walked.effect_length_m})
        return not_met(rule, measured, wanted, *best.why, beyond)
    return line(rule, LineStanding.MET if best.fit is Fit.FITS else LineStanding.CONDITION, measured, wanted, *best.why)


def place_lines(walked: Walked) -> list[SurveyLine]:
    """Lines of what a technician needs at the place: no obstruction, access, lifting point, light, guards.

    Parameters
    ----------
    walked : Walked

    Returns
    -------
    list of SurveyLine
    """
    lines = []
    if walked.obstructions.strip():
        lines.append(
            condition("obstructions", typed(walked.obstructions.strip()), SurveySeen.NONE, SurveyRule.OBSTRUCTED)
        )
    if walked.access.strip():
        lines.append(met("access", typed(walked.access.strip()), SurveySeen.KNOWN, SurveyRule.ACCESS_KNOWN))
    else:
        lines.append(condition("access", SurveySeen.NOT_LOOKED, SurveySeen.KNOWN, SurveyRule.ACCESS_UNKNOWN))
    return [
        *lines,
        answer_line("lifting_point", walked.has_lifting_point, SurveyRule.LIFTING_YES, SurveyRule.LIFTING_NO),
        answer_line("light", walked.has_light, SurveyRule.LIGHT_YES, SurveyRule.LIGHT_NO),
        guard_line(walked.guard_comes_off, walked.guard_goes_back, walked.guard_note.strip()),
    ]


def answer_line(rule: str, answer: Answer, yes: SurveyRule, no: SurveyRule) -> SurveyLine:
    """A yes that is wanted; a no is a condition.

    Parameters
    ----------
    rule : str
        Short name of what is asked.
    answer : {"yes", "no", ""}
    yes, no : SurveyRule
        What each answer says.

    Returns
    -------
    SurveyLine
    """
    if answer == "yes":
        return met(rule, SurveySeen.YES, SurveySeen.YES, yes)
    if answer == "no":
        return condition(rule, SurveySeen.NO, SurveySeen.YES, no)
    return condition(rule, SurveySeen.NOT_LOOKED, SurveySeen.YES, SurveyRule.LOOK_BEFORE)


def guard_line(comes_off: Answer, goes_back: Answer, which: str = "") -> SurveyLine:
    """A guard that must come off has to go back as an equal one, with the device in place.

    Parameters
    ----------
    comes_off, goes_back : {"yes", "no", ""}
    which : str, optional
        Which guard.

    Returns
    -------
    SurveyLine
        Not met where no equal guard fits back.
    """
    rule, wanted = "guard", SurveySeen.GUARD_WANTED
    if comes_off == "no":
        return met(rule, SurveySeen.GUARD_STAYS, wanted, SurveyRule.GUARD_STAYS)
    if comes_off == "":
        return condition(rule, SurveySeen.NOT_LOOKED, wanted, SurveyRule.GUARD_UNKNOWN)
    unnamed, named = GUARDS[goes_back]
    seen = Reason(named, {"which": which}) if which else Reason(unnamed)
    if goes_back == "yes":
        return met(rule, seen, wanted, SurveyRule.GUARD_BACK)
    if goes_back == "no":
        return not_met(rule, seen, wanted, SurveyRule.GUARD_NOT_BACK)
    return condition(rule, seen, wanted, SurveyRule.GUARD_BACK_UNKNOWN)


def cause_lines(causes: Mapping[str, Found], override_reason: str = "") -> list[SurveyLine]:
    """One line for each cause that a device would hide.

    Parameters
    ----------
    causes : mapping of str to str
        What was found by cause; a cause that is missing was not tested.
    override_reason : str, optional
        Why a device is fitted although a cause is not cured.

    Returns
    -------
    list of SurveyLine
        Found and not cured is not met, or a condition with the reason.
    """
    lines = []
    for cause in HiddenCause:
        found, rule, wanted = causes.get(cause, "not_tested"), f"cause_{cause}", SurveySeen.NONE_OR_CURED
        if found == "found" and override_reason.strip():
            why = Reason(SurveyRule.CAUSE_OVERRIDDEN, {"reason": override_reason.strip()})
            lines.append(condition(rule, SurveySeen.FOUND, wanted, why))
        elif found == "found":
            why = Reason(SurveyRule.CAUSE_FIRST, {"why": cause.why_rule})
            lines.append(not_met(rule, SurveySeen.FOUND, wanted, why))
        elif found == "not_tested":
            why = Reason(SurveyRule.CAUSE_UNTESTED, {"how": cause.how_rule})
            lines.append(condition(rule, SurveySeen.NOT_TESTED, wanted, why))
        else:
            seen = SurveySeen.CURED if found == "cured" else SurveySeen.NO_SIGN
            why = Reason(SurveyRule.CAUSE_SEEN, {"cause": cause.name_rule, "seen": seen})
            lines.append(met(rule, seen, wanted, why))
    return lines


def offset_lines(walked: Walked) -> list[SurveyLine]:
    """Whether the belt's offset was measured at enough stations, empty and loaded.

    Parameters
    ----------
    walked : Walked

    Returns
    -------
    list of SurveyLine
    """
    lines = []
    wanted = Reason(SurveySeen.STATIONS_WANTED, {"n": LEAST_STATIONS})
    for kind, n in (("empty", walked.n_stations_empty), ("loaded", walked.n_stations_loaded)):
        rule, seen = f"offsets_{kind}", Reason(SurveySeen.STATION if n == 1 else SurveySeen.STATIONS, {"n": n})
        if n >= LEAST_STATIONS:
            lines.append(met(rule, seen, wanted, Reason(SurveyRule.OFFSETS_MEASURED, {"stations": seen})))
        else:
            lines.append(condition(rule, seen if n else SurveySeen.NOT_MEASURED, wanted, SurveyRule.OFFSETS_NEEDED))
    return lines
