"""What the model's sheet says of a place that was walked, each side of the belt by itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

from installs.calc.belt_cases import BeltPlace
from installs.calc.clearance import Fit, PlaceLine, PlacementLimits, clearance_lines
from installs.calc.survey_lines import (
    Answer,
    LineStanding,
    SurveyLine,
    Unit,
    Walked,
    amount,
    between,
    condition,
    line,
    met,
    not_met,
)
from installs.calc.survey_rules import SurveyRule, SurveySeen
from plant.calc.reasons import Reason

STANDING_OF = {Fit.FITS: LineStanding.MET, Fit.DOES_NOT_FIT: LineStanding.NOT_MET}
UNITS: dict[str, Unit] = {"width": "mm", "speed": "m_s", "trough": "deg", "below": "mm", "beside": "mm", "along": "mm"}


@dataclass(frozen=True)
class FrameLimits:
    """Lengths that a frame comes in, extension each side and end play in total; None where not stated [mm]."""

    length_least_mm: float | None = None
    length_most_mm: float | None = None
    extension_most_mm: float | None = None
    end_play_least_mm: float | None = None
    end_play_most_mm: float | None = None


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
        place = BeltPlace(
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
        for each in clearance_lines(limits, place):
            if each.rule == "beside":
                found.append(_over_whole_range(_told(each, walked, f"beside_{side}"), walked.whole_range))
            elif side == "drive" and each.rule in ("below", "along"):
                found.append(_over_whole_range(_told(each, walked), walked.whole_range))
            elif side == "drive":
                found.append(_told(each, walked))
    return [*found, spacing_line(frame, walked.spacing_mm)]


def _told(each: PlaceLine, walked: Walked, rule: str = "") -> SurveyLine:
    """A line of the sheet as the survey shows it."""
    unit = UNITS.get(each.rule)
    if each.rule == "strand":
        measured = Reason(SurveySeen.CARRY if walked.strand == "carry" else SurveySeen.RETURN)
    elif unit is None:
        measured = Reason(SurveySeen.BOTH_WAYS if walked.is_reversing else SurveySeen.ONE_WAY)
    else:
        measured = Reason(SurveySeen.NOT_MEASURED) if each.measured is None else amount(each.measured, unit)
    if each.fit is Fit.NOT_STATED:
        wanted = Reason(SurveySeen.NOT_STATED)
    else:
        wanted = Reason(SurveySeen.AS_SHEET) if unit is None else between(each.least, each.most, unit)
    standing = STANDING_OF.get(each.fit, LineStanding.CONDITION)
    return line(rule or each.rule, standing, measured, wanted, each.why)


def _over_whole_range(each: SurveyLine, whole_range: Answer) -> SurveyLine:
    """The same clearance; one that was not measured over the whole pivot and tilt range is a condition at best."""
    if each.standing is not LineStanding.MET or whole_range == "yes":
        return each
    return replace(each, standing=LineStanding.CONDITION, why=(*each.why, Reason(SurveyRule.NOT_WHOLE_RANGE)))


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
    >>> (why,) = spacing_line(FrameLimits(1400, 1500, 60, end_play_most_mm=13), 1640).why
    >>> str(why.rule), why.values["by_mm"]
    ('survey.spacing_over', 7)
    """
    rule, low, high = "spacing", frame.length_least_mm, frame.length_most_mm
    low = None if low is None else low + (frame.end_play_least_mm or 0.0)
    high = None if high is None else high + (frame.end_play_most_mm or 0.0) + 2 * (frame.extension_most_mm or 0.0)
    wanted = between(low, high, "mm")
    if spacing_mm is None:
        return condition(rule, SurveySeen.NOT_MEASURED, wanted, SurveyRule.SPACING_UNKNOWN)
    measured = amount(spacing_mm, "mm")
    if low is None and high is None:
        return condition(rule, measured, wanted, SurveyRule.FRAMES_NOT_STATED)
    known: dict[str, float | Reason] = {"spacing_mm": spacing_mm, "wanted": wanted}
    if low is not None and spacing_mm < low:
        short = Reason(SurveyRule.SPACING_SHORT, {**known, "by_mm": low - spacing_mm})
        return not_met(rule, measured, wanted, short)
    if high is not None and spacing_mm > high:
        over = Reason(SurveyRule.SPACING_OVER, {**known, "by_mm": spacing_mm - high})
        if frame.extension_most_mm is None:
            return condition(rule, measured, wanted, over, SurveyRule.EXTENSION_NOT_STATED)
        return not_met(rule, measured, wanted, over)
    return met(rule, measured, wanted, Reason(SurveyRule.SPACING_REACHED, {"spacing_mm": spacing_mm}))
