"""The result of a survey: fits, fits with conditions, or does not fit, with the rule behind each line.

A place that was walked is judged against the model's sheet and against what a technician needs there: access, lifting,
light, guards. Causes that a device would hide come first: where one was found and not cured, a device does not fit,
unless a person says why it is fitted all the same; that reason stays visible as a condition.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Literal

from installs.calc.belt_offsets import LEAST_STATIONS
from installs.calc.effect_zones import Zone
from installs.calc.placement import (
    Fit,
    Line,
    Place,
    PlacementLimits,
    PlacementRules,
    Wander,
    clearance_lines,
    into_the_wander,
)
from plant.calc.wording import figure

NOT_STATED, NOT_MEASURED, NOT_LOOKED = "not stated", "not measured", "not looked at"
Answer = Literal["yes", "no", ""]
Found = Literal["not_tested", "no_sign", "found", "cured"]


class Result(StrEnum):
    """What a survey comes to."""

    FITS = "fits"
    CONDITIONS = "conditions"
    DOES_NOT_FIT = "does_not_fit"


class Standing(StrEnum):
    """How one line stands, from best to worst."""

    MET = "met"
    CONDITION = "condition"
    NOT_MET = "not_met"

    @property
    def rank(self) -> int:
        """0 for met, 1 for a condition, 2 for not met."""
        return list(Standing).index(self)


@dataclass(frozen=True)
class SurveyLine:
    """One rule: its short name and label, what was measured, what is wanted, how it stands and why, in a sentence."""

    rule: str
    label: str
    measured: str
    wanted: str
    standing: Standing
    words: str


@dataclass(frozen=True)
class FrameLimits:
    """Lengths that a frame comes in, extension each side and end play in total; None where not stated [mm]."""

    length_least_mm: float | None = None
    length_most_mm: float | None = None
    extension_most_mm: float | None = None
    end_play_least_mm: float | None = None
    end_play_most_mm: float | None = None


RESULT_OF = {
    Standing.MET: Result.FITS,
    Standing.CONDITION: Result.CONDITIONS,
    Standing.NOT_MET: Result.DOES_NOT_FIT,
}


@dataclass(frozen=True)
class CauseGuide:
    """One cause that a device hides: its name, where it shows, how to test for it and why it is cured first."""

    cause: str
    name: str
    signature: str
    how: str
    why_first: str


# After the causes that belt conveyor practice names; the wording is the house's own. That the whole belt off at one
# place points to the structure there, and one length off everywhere to the belt, is also in US Army TM 5-3895-374-24-2.
CAUSES = (
    CauseGuide(
        "out_of_square",
        "idler, pulley or structure out of square",
        "The belt runs off at one place, to the same side, empty and loaded.",
        "Survey three to six idlers upstream against one line along the structure, never one frame from the next.",
        "A device would work against it for ever: its sensors wear on one side.",
    ),
    CauseGuide(
        "seized_rolls",
        "seized or missing rolls, build-up",
        "It began one day at one place and is worse when wet; a roll is bright or fat with material.",
        "Look from the walkway along both strands, by eye or with a thermal camera; have it cleaned and look again.",
        "The look costs minutes, and a seized roll that runs hot can start a fire.",
    ),
    CauseGuide(
        "splice",
        "crooked splice, bowed or edge-damaged length",
        "The wander travels and comes back once in each belt revolution.",
        "Time the events against one belt revolution; lock out to mark the belt's edge, then watch the mark.",
        "No device in a fixed place cures a length of belt that is crooked everywhere.",
    ),
    CauseGuide(
        "loading",
        "loading off centre",
        "Only when loaded; the side follows feed, material or wear of the chute.",
        "Compare empty with loaded at the same station, and note the feed, tonnes and source of each look.",
        "The device wears, and the spillage stays at the chute.",
    ),
    CauseGuide(
        "tension",
        "low or uneven tension, take-up, lagging",
        "Behind the drive, near tail or take-up; at the start, and when wet.",
        "Read the position and squareness of the take-up from outside its guard; watch a start from the walkway.",
        "Without tension the device has no grip either.",
    ),
    CauseGuide(
        "weather",
        "wind, sun, frost, wet material",
        "It goes with the weather or the hour of the day.",
        "Lay the incidents beside weather, shift and material.",
        "Covers, drainage or a wind guard take the cause away.",
    ),
    CauseGuide(
        "reversing",
        "side changes with the direction",
        "The side changes when the belt turns round.",
        "Split the incidents by direction; watch both directions.",
        "Only a device made for both directions helps; another one makes it worse in reverse.",
    ),
    CauseGuide(
        "belt",
        "belt wider or stiffer than planned, cupped",
        "It began with a new belt.",
        "Look up the last belt change; measure the width at a sound length and at the splice.",
        "The sensors of a device would be set for another width.",
    ),
    CauseGuide(
        "switch",
        "drift switch out of place or stuck",
        "One switch trips; there is no spillage and no mark on belt or structure.",
        "Have the switch tested by hand by the site's procedure.",
        "It may be no wander at all.",
    ),
)
NAME_OF = {each.cause: each.name for each in CAUSES}


@dataclass(frozen=True)
class Walked:
    """What was seen and measured at a place; None or "" where nobody looked."""

    strand: str
    chainage_m: float
    belt_length_m: float
    is_reversing: bool
    speed_m_s: float
    effect_length_m: float
    wander_from_m: float | None = None
    wander_to_m: float | None = None
    belt_width_mm: float | None = None
    spacing_mm: float | None = None
    clearance_below_mm: float | None = None
    clearance_drive_mm: float | None = None
    clearance_off_mm: float | None = None
    clearance_along_mm: float | None = None
    whole_range: Answer = ""
    obstructions: str = ""
    access: str = ""
    has_lifting_point: Answer = ""
    has_light: Answer = ""
    guard_comes_off: Answer = ""
    guard_goes_back: Answer = ""
    guard_note: str = ""
    conditions: str = ""
    n_stations_empty: int = 0
    n_stations_loaded: int = 0
    causes: Mapping[str, Found] = field(default_factory=dict)
    override_reason: str = ""


@dataclass(frozen=True)
class SurveyResult:
    """Result, every line that was looked at, and the lines that decided."""

    result: Result
    lines: tuple[SurveyLine, ...]

    @property
    def deciding(self) -> tuple[SurveyLine, ...]:
        """Lines of the standing that decided; none where everything is met."""
        worst = worst_standing(self.lines)
        return () if worst is Standing.MET else tuple(line for line in self.lines if line.standing is worst)


def judge_survey(
    walked: Walked,
    limits: PlacementLimits | None,
    frame: FrameLimits | None = None,
    rules: PlacementRules | None = None,
) -> SurveyResult:
    """Whether a device of the model fits a place that was walked, and which rule says so.

    Parameters
    ----------
    walked : Walked
    limits : PlacementLimits or None
        None where no model is in mind yet: the place is judged without a sheet and can only fit with conditions.
    frame : FrameLimits, optional
        Left out: nothing is stated of the frame.
    rules : PlacementRules, optional
        How far into the wander a device is set.

    Returns
    -------
    SurveyResult

    Raises
    ------
    ValueError
        If a cause is unknown.
    """
    unknown = set(walked.causes) - set(NAME_OF)
    if unknown:
        raise ValueError(f"cause is {sorted(unknown)[0]!r}; give one of {', '.join(NAME_OF)}")
    lines = [chainage_line(walked.chainage_m, walked.belt_length_m)]
    lines += sheet_lines(walked, limits, frame or FrameLimits()) if limits else [no_model_line()]
    lines.append(wander_line(walked, rules or PlacementRules()))
    lines += place_lines(walked)
    lines += cause_lines(walked.causes, walked.override_reason)
    lines += offset_lines(walked)
    if walked.conditions.strip():
        lines.append(
            condition("conditions", "Conditions named", walked.conditions.strip(), "none", "As the person wrote them.")
        )
    return SurveyResult(RESULT_OF[worst_standing(lines)], tuple(lines))


def worst_standing(lines: Iterable[SurveyLine]) -> Standing:
    """The standing that decides: the worst of all lines; met where there is none.

    Parameters
    ----------
    lines : iterable of SurveyLine

    Returns
    -------
    Standing
    """
    return max((line.standing for line in lines), key=lambda each: each.rank, default=Standing.MET)


def chainage_line(chainage_m: float, belt_length_m: float) -> SurveyLine:
    """The place lies on the belt.

    Parameters
    ----------
    chainage_m, belt_length_m : float
        [m]

    Returns
    -------
    SurveyLine
    """
    fits = 0 <= chainage_m <= belt_length_m
    words = "The place lies on the belt." if fits else f"The belt ends at {figure(belt_length_m)} m."
    standing = Standing.MET if fits else Standing.NOT_MET
    return SurveyLine(
        "chainage", "Chainage", f"{figure(chainage_m)} m", f"0 to {figure(belt_length_m)} m", standing, words
    )


def no_model_line() -> SurveyLine:
    """The line of a place for which no model is in mind."""
    said = "No model is in mind: clearances, width, speed and direction are judged against no sheet. Choose one."
    return condition("model", "Model", "none", "one model", said)


LABELS = {
    "strand": ("Strand", ""),
    "direction": ("Direction", ""),
    "width": ("Belt width, measured here", "mm"),
    "speed": ("Belt speed", "m/s"),
    "trough": ("Trough angle", "°"),
    "below": ("Clearance below", "mm"),
    "beside": ("Clearance beside", "mm"),
    "along": ("Room along the belt", "mm"),
}
STANDING_OF = {Fit.FITS: Standing.MET, Fit.DOES_NOT_FIT: Standing.NOT_MET}


def sheet_lines(walked: Walked, limits: PlacementLimits, frame: FrameLimits) -> list[SurveyLine]:
    """Lines that the model's sheet decides, each side of the belt by itself.

    Parameters
    ----------
    walked : Walked
    limits : PlacementLimits
    frame : FrameLimits

    Returns
    -------
    list of SurveyLine
        A clearance that was not measured over the whole pivot and tilt range is a condition: a frame may clear the
        structure at rest and foul it at full tilt.
    """
    found = []
    for side, beside_mm in (("drive", walked.clearance_drive_mm), ("off", walked.clearance_off_mm)):
        place = Place(
            strand=walked.strand,
            chainage_m=walked.chainage_m,
            belt_length_m=walked.belt_length_m,
            belt_width_mm=walked.belt_width_mm,
            speed_m_s=walked.speed_m_s,
            is_reversing=walked.is_reversing,
            clearance_below_mm=walked.clearance_below_mm,
            clearance_beside_mm=beside_mm,
            clearance_along_mm=walked.clearance_along_mm,
        )
        for line in clearance_lines(limits, place):
            if line.rule == "beside":
                found.append(ranged(told(line, f"beside_{side}", f", {side} side"), walked.whole_range))
            elif side == "drive" and line.rule in ("below", "along"):
                found.append(ranged(told(line), walked.whole_range))
            elif side == "drive":
                found.append(told(line, measured=measured_words(line.rule, walked)))
    return [*found, spacing_line(frame, walked.spacing_mm)]


def measured_words(rule: str, walked: Walked) -> str:
    """What stands under "measured" of a line that has no number."""
    if rule == "direction":
        return "both ways" if walked.is_reversing else "one way"
    return walked.strand if rule == "strand" else ""


def told(line: Line, rule: str = "", suffix: str = "", measured: str = "") -> SurveyLine:
    """A line of the sheet as the survey shows it."""
    label, unit = LABELS[line.rule]
    found = measured or (NOT_MEASURED if line.measured is None else f"{figure(line.measured)} {unit}")
    stated = range_words(line.least, line.most, unit) if unit else "as the sheet says"
    if line.fit is Fit.NOT_STATED:
        stated = NOT_STATED
    standing = STANDING_OF.get(line.fit, Standing.CONDITION)
    return SurveyLine(rule or line.rule, label + suffix, found, stated, standing, line.words)


def ranged(line: SurveyLine, whole_range: Answer) -> SurveyLine:
    """The same clearance; one that was not measured over the whole pivot and tilt range is a condition at best."""
    if line.standing is not Standing.MET or whole_range == "yes":
        return line
    said = f"{line.words} Not measured over the whole pivot and tilt range: measure it there before the fitting."
    return replace(line, standing=Standing.CONDITION, words=said)


def spacing_line(frame: FrameLimits, spacing_mm: float | None) -> SurveyLine:
    """Clear width between the stringers against the frames that the model comes with.

    The spacing is frame + end play + extension on both sides, so it may lie between the shortest frame with the least
    end play and the longest frame with the most end play and both sides drawn out fully.

    Parameters
    ----------
    frame : FrameLimits
    spacing_mm : float or None
        As measured [mm].

    Returns
    -------
    SurveyLine
        A spacing beyond the longest frame is only a condition where the model does not state its extension.

    Examples
    --------
    >>> spacing_line(FrameLimits(1400, 1500, 60, end_play_most_mm=13), 1640).words
    'Clear width 1640 mm, wanted 1400 to 1633 mm: 7 mm too much.'
    """
    rule, label, low, high = "spacing", "Clear width between the stringers", frame.length_least_mm, frame.length_most_mm
    low = None if low is None else low + (frame.end_play_least_mm or 0.0)
    high = None if high is None else high + (frame.end_play_most_mm or 0.0) + 2 * (frame.extension_most_mm or 0.0)
    wanted = range_words(low, high, "mm")
    if spacing_mm is None:
        return condition(rule, label, NOT_MEASURED, wanted, "Measure it before a frame is ordered.")
    measured = f"{figure(spacing_mm)} mm"
    if low is None and high is None:
        return condition(rule, label, measured, NOT_STATED, "The model's frame lengths are not stated: ask the maker.")
    if low is not None and spacing_mm < low:
        said = f"Clear width {measured}, wanted {wanted}: {low - spacing_mm:.4g} mm short."
        return SurveyLine(rule, label, measured, wanted, Standing.NOT_MET, said)
    if high is not None and spacing_mm > high:
        said = f"Clear width {measured}, wanted {wanted}: {spacing_mm - high:.4g} mm too much."
        if frame.extension_most_mm is None:
            return condition(
                rule, label, measured, wanted, f"{said} The largest extension is not stated: ask the maker."
            )
        return SurveyLine(rule, label, measured, wanted, Standing.NOT_MET, said)
    return SurveyLine(rule, label, measured, wanted, Standing.MET, f"A frame of the model reaches {measured}.")


def range_words(low: float | None, high: float | None, unit: str) -> str:
    """A range as people say it: "900 to 1600 mm", "at least 280 mm", "not stated"."""
    if low is not None and high is not None:
        return f"{figure(low)} to {figure(high)} {unit}"
    if low is not None:
        return f"at least {figure(low)} {unit}"
    return NOT_STATED if high is None else f"at most {figure(high)} {unit}"


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
    rule, label = "wander", "Distance into the wander"
    wanted = f"{figure(rules.into_wander_least_m)} to {figure(rules.into_wander_most_m)} m"
    begins_m, ends_m = walked.wander_from_m, walked.wander_to_m
    if begins_m is None or ends_m is None:
        said = (
            "Where the wander begins and ends was not seen: walk the belt, empty and loaded, from outside the guards."
        )
        return condition(rule, label, NOT_MEASURED, wanted, said)
    wander = Wander(Zone(min(begins_m, ends_m), max(begins_m, ends_m)), 0, 0)
    found = into_the_wander([wander], walked.strand, walked.chainage_m, walked.is_reversing, rules)
    if not found:
        said = "The place lies downstream of the whole wander: a device there reaches nothing of it."
        return SurveyLine(rule, label, "downstream of all of it", wanted, Standing.NOT_MET, said)
    best = min(found, key=lambda each: (each.fit is not Fit.FITS, abs(each.distance_m)))
    measured = f"{best.distance_m:.4g} m"
    if -best.distance_m > walked.effect_length_m:
        said = f"{best.words} That is further than the {figure(walked.effect_length_m)} m that it acts."
        return SurveyLine(rule, label, measured, wanted, Standing.NOT_MET, said)
    return SurveyLine(rule, label, measured, wanted, STANDING_OF.get(best.fit, Standing.CONDITION), best.words)


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
        said = "It is in the way: settle it before the fitting."
        lines.append(condition("obstructions", "Obstructions", walked.obstructions.strip(), "none", said))
    if walked.access.strip():
        lines.append(
            SurveyLine("access", "Access", walked.access.strip(), "known", Standing.MET, "The access is known.")
        )
    else:
        lines.append(not_looked("access", "Access", "known", "Say how people get there."))
    lines.append(
        answer_line(
            "lifting_point", "Lifting point", walked.has_lifting_point, "There is none: plan the lift with the site."
        )
    )
    lines.append(answer_line("light", "Light enough to work", walked.has_light, "There is too little: bring light."))
    return [*lines, guard_line(walked.guard_comes_off, walked.guard_goes_back, walked.guard_note.strip())]


def answer_line(rule: str, label: str, answer: Answer, no_words: str) -> SurveyLine:
    """A yes that is wanted; a no is a condition.

    Parameters
    ----------
    rule, label : str
    answer : {"yes", "no", ""}
    no_words : str
        What a no asks for.

    Returns
    -------
    SurveyLine
    """
    if answer == "yes":
        return SurveyLine(rule, label, "yes", "yes", Standing.MET, f"{label}: yes.")
    if answer == "no":
        return condition(rule, label, "no", "yes", no_words)
    return not_looked(rule, label, "yes", "Look before the fitting.")


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
    rule, label, wanted = "guard", "Guard", "an equal guard fits back"
    named = f" ({which})" if which else ""
    if comes_off == "no":
        return SurveyLine(rule, label, "none comes off", wanted, Standing.MET, "No guard comes off for it.")
    if comes_off == "":
        return not_looked(rule, label, wanted, "Say whether one must come off.")
    if goes_back == "yes":
        said = "It goes back before anybody asks for the belt to run."
        return SurveyLine(rule, label, f"one comes off{named}, an equal one fits back", wanted, Standing.MET, said)
    if goes_back == "no":
        said = "No equal guard fits back with the device in place: the belt would run with less guard than before."
        return SurveyLine(rule, label, f"one comes off{named}, no equal one fits back", wanted, Standing.NOT_MET, said)
    return condition(rule, label, f"one comes off{named}", wanted, "Whether an equal one fits back was not looked at.")


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
    for guide in CAUSES:
        found, rule, label = causes.get(guide.cause, "not_tested"), f"cause_{guide.cause}", f"Cause: {guide.name}"
        if found == "found" and override_reason.strip():
            said = f"Found and not cured; fitted all the same, because: {override_reason.strip()}"
            lines.append(condition(rule, label, "found, to be cured", "none, or cured", said))
        elif found == "found":
            said = f"Cure it first. {guide.why_first}"
            lines.append(SurveyLine(rule, label, "found, to be cured", "none, or cured", Standing.NOT_MET, said))
        elif found == "not_tested":
            lines.append(condition(rule, label, "not tested", "none, or cured", f"Still to be tested. {guide.how}"))
        else:
            seen = "found and cured" if found == "cured" else "no sign of it"
            lines.append(SurveyLine(rule, label, seen, "none, or cured", Standing.MET, f"{guide.name}: {seen}."))
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
    for kind, n in (("empty", walked.n_stations_empty), ("loaded", walked.n_stations_loaded)):
        rule, label = f"offsets_{kind}", f"Belt offset, {kind}"
        wanted, measured = f"{LEAST_STATIONS} stations or more", f"{n} station{'' if n == 1 else 's'}"
        if n >= LEAST_STATIONS:
            lines.append(SurveyLine(rule, label, measured, wanted, Standing.MET, f"Measured at {measured}."))
        else:
            said = "Without it the device's effect on the offset cannot be told later. Measure it before the fitting."
            lines.append(condition(rule, label, measured if n else NOT_MEASURED, wanted, said))
    return lines


def missing_of(lines: Iterable[SurveyLine]) -> list[str]:
    """Labels of what was not looked at, not measured or not tested, in the order of the lines.

    Parameters
    ----------
    lines : iterable of SurveyLine

    Returns
    -------
    list of str
    """
    return [line.label for line in lines if line.measured in (NOT_MEASURED, NOT_LOOKED, "not tested")]


def not_looked(rule: str, label: str, wanted: str, words: str) -> SurveyLine:
    """A line of something that nobody looked at: a condition."""
    return condition(rule, label, NOT_LOOKED, wanted, words)


def condition(rule: str, label: str, measured: str, wanted: str, words: str) -> SurveyLine:
    """A line that stands as a condition."""
    return SurveyLine(rule, label, measured, wanted, Standing.CONDITION, words)


def as_reasons(lines: Sequence[SurveyLine]) -> list[dict[str, str]]:
    """Lines as plain JSON, to be kept as they stood when the survey was closed.

    Parameters
    ----------
    lines : sequence of SurveyLine

    Returns
    -------
    list of dict
        rule, label, measured, wanted, verdict, words.
    """
    return [
        {
            "rule": line.rule,
            "label": line.label,
            "measured": line.measured,
            "wanted": line.wanted,
            "verdict": line.standing.value,
            "words": line.words,
        }
        for line in lines
    ]
