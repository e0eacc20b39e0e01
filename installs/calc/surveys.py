"""The result of a survey: fits, fits with conditions, or does not fit, with the rule behind each line.

A place that was walked is judged against the model's sheet and against what a technician needs there: access, lifting,
light, guards. Causes that a device would hide come first: where one was found and not cured, a device does not fit,
unless a person says why it is fitted all the same; that reason stays visible as a condition.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from installs.calc.clearance import PlacementLimits
from installs.calc.placement_rules import PlacementRules
from installs.calc.survey_lines import (
    LineStanding,
    SurveyLine,
    Walked,
    amount,
    between,
    condition,
    met,
    not_met,
    typed,
    worst_standing,
)
from installs.calc.survey_place import cause_lines, offset_lines, place_lines, wander_line
from installs.calc.survey_rules import HiddenCause, SurveyRule, SurveySeen
from installs.calc.survey_sheet import FrameLimits, sheet_lines
from plant.calc.reasons import Reason


class SurveyOutcome(StrEnum):
    """What a survey comes to."""

    FITS = "fits"
    CONDITIONS = "conditions"
    DOES_NOT_FIT = "does_not_fit"


RESULT_OF = {
    LineStanding.MET: SurveyOutcome.FITS,
    LineStanding.CONDITION: SurveyOutcome.CONDITIONS,
    LineStanding.NOT_MET: SurveyOutcome.DOES_NOT_FIT,
}


@dataclass(frozen=True)
class SurveyResult:
    """Result, every line that was looked at, and the lines that decided."""

    result: SurveyOutcome
    lines: tuple[SurveyLine, ...]

    @property
    def deciding(self) -> tuple[SurveyLine, ...]:
        """Lines of the standing that decided; none where everything is met."""
        worst = worst_standing(self.lines)
        return () if worst is LineStanding.MET else tuple(line for line in self.lines if line.standing is worst)


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
    unknown = set(walked.causes) - set(HiddenCause)
    if unknown:
        raise ValueError(f"cause is {sorted(unknown)[0]!r}; give one of {', '.join(HiddenCause)}")
    lines = [chainage_line(walked.chainage_m, walked.belt_length_m)]
    if limits:
        lines += sheet_lines(walked, limits, frame or FrameLimits())
    else:
        lines.append(condition("model", SurveySeen.NONE, SurveySeen.ONE_MODEL, SurveyRule.NO_MODEL))
    lines.append(wander_line(walked, rules or PlacementRules()))
    lines += place_lines(walked)
    lines += cause_lines(walked.causes, walked.override_reason)
    lines += offset_lines(walked)
    if walked.conditions.strip():
        lines.append(condition("conditions", typed(walked.conditions.strip()), SurveySeen.NONE, SurveyRule.AS_WRITTEN))
    return SurveyResult(RESULT_OF[worst_standing(lines)], tuple(lines))


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
    measured, wanted = amount(chainage_m, "m"), between(0.0, belt_length_m, "m")
    if 0 <= chainage_m <= belt_length_m:
        return met("chainage", measured, wanted, SurveyRule.ON_BELT)
    return not_met("chainage", measured, wanted, Reason(SurveyRule.BELT_ENDS, {"end_m": belt_length_m}))
