"""The lines of a survey: what was seen at a place, and one line for each rule that is asked of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Literal

from installs.calc.survey_rules import SurveyRule, SurveySeen
from plant.calc.reasons import Reason, reason_kept

Answer = Literal["yes", "no", ""]
Found = Literal["not_tested", "no_sign", "found", "cured"]
Unit = Literal["mm", "m", "m_s", "deg"]
# What nobody measured, looked at or tested.
UNSEEN = (SurveySeen.NOT_MEASURED, SurveySeen.NOT_LOOKED, SurveySeen.NOT_TESTED)


class LineStanding(StrEnum):
    """How one line stands, from best to worst."""

    MET = "met"
    CONDITION = "condition"
    NOT_MET = "not_met"

    @property
    def rank(self) -> int:
        """0 for met, 1 for a condition, 2 for not met."""
        return list(LineStanding).index(self)


@dataclass(frozen=True)
class SurveyLine:
    """One rule: its short name, what was measured, what is wanted, how it stands and why."""

    rule: str
    measured: Reason
    wanted: Reason
    standing: LineStanding
    why: tuple[Reason, ...]

    @property
    def is_unseen(self) -> bool:
        """Nobody measured, looked at or tested it."""
        return self.measured.rule in UNSEEN

    def kept(self) -> dict[str, Any]:
        """The line as a row keeps it: plain JSON."""
        return {
            "rule": self.rule,
            "verdict": self.standing.value,
            "measured": self.measured.kept(),
            "wanted": self.wanted.kept(),
            "why": [each.kept() for each in self.why],
        }


def line_kept(data: Mapping[str, Any]) -> SurveyLine:
    """The line that a row keeps.

    Parameters
    ----------
    data : mapping
        As `SurveyLine.kept` gave it, also after a round trip through JSON.

    Returns
    -------
    SurveyLine

    Examples
    --------
    >>> line = met("access", SurveySeen.YES, SurveySeen.KNOWN, SurveyRule.ACCESS_KNOWN)
    >>> line_kept(line.kept()) == line
    True
    """
    return SurveyLine(
        data["rule"],
        reason_kept(data["measured"]),
        reason_kept(data["wanted"]),
        LineStanding(data["verdict"]),
        tuple(reason_kept(each) for each in data["why"]),
    )


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


def worst_standing(lines: Iterable[SurveyLine]) -> LineStanding:
    """The standing that decides: the worst of all lines; met where there is none.

    Parameters
    ----------
    lines : iterable of SurveyLine

    Returns
    -------
    LineStanding
    """
    return max((line.standing for line in lines), key=lambda each: each.rank, default=LineStanding.MET)


def missing_of(lines: Iterable[SurveyLine]) -> tuple[SurveyLine, ...]:
    """Lines of what was not looked at, not measured or not tested, in their order.

    Parameters
    ----------
    lines : iterable of SurveyLine

    Returns
    -------
    tuple of SurveyLine
    """
    return tuple(line for line in lines if line.is_unseen)


def line(
    rule: str,
    standing: LineStanding,
    measured: Reason | SurveySeen,
    wanted: Reason | SurveySeen,
    *why: Reason | SurveyRule,
) -> SurveyLine:
    """A line; a rule that needs no values may be given alone.

    Parameters
    ----------
    rule : str
        Short name of what is asked.
    standing : LineStanding
    measured, wanted : Reason or Seen
    *why : Reason or SurveyRule

    Returns
    -------
    SurveyLine
    """
    return SurveyLine(rule, _reason(measured), _reason(wanted), standing, tuple(_reason(each) for each in why))


def met(rule: str, measured: Reason | SurveySeen, wanted: Reason | SurveySeen, *why: Reason | SurveyRule) -> SurveyLine:
    """A line that is met.

    Parameters
    ----------
    rule : str
        Short name of what is asked.
    measured, wanted : Reason or Seen
    *why : Reason or SurveyRule

    Returns
    -------
    SurveyLine
    """
    return line(rule, LineStanding.MET, measured, wanted, *why)


def condition(
    rule: str, measured: Reason | SurveySeen, wanted: Reason | SurveySeen, *why: Reason | SurveyRule
) -> SurveyLine:
    """A line that stands as a condition.

    Parameters
    ----------
    rule : str
        Short name of what is asked.
    measured, wanted : Reason or Seen
    *why : Reason or SurveyRule

    Returns
    -------
    SurveyLine
    """
    return line(rule, LineStanding.CONDITION, measured, wanted, *why)


def not_met(
    rule: str, measured: Reason | SurveySeen, wanted: Reason | SurveySeen, *why: Reason | SurveyRule
) -> SurveyLine:
    """A line that is not met.

    Parameters
    ----------
    rule : str
        Short name of what is asked.
    measured, wanted : Reason or Seen
    *why : Reason or SurveyRule

    Returns
    -------
    SurveyLine
    """
    return line(rule, LineStanding.NOT_MET, measured, wanted, *why)


def amount(value: float, unit: Unit) -> Reason:
    """What was measured, in the unit that it is kept in.

    Parameters
    ----------
    value : float
        [unit]
    unit : {"mm", "m", "m_s", "deg"}

    Returns
    -------
    Reason
    """
    return Reason(SurveySeen(f"survey.seen.{unit}"), {f"size_{unit}": value})


def between(low: float | None, high: float | None, unit: Unit) -> Reason:
    """A range that is wanted; not stated where neither end is.

    Parameters
    ----------
    low, high : float or None
        [unit]
    unit : {"mm", "m", "m_s", "deg"}

    Returns
    -------
    Reason

    Examples
    --------
    >>> str(between(280, None, "mm").rule)
    'survey.seen.at_least_mm'
    """
    if low is None and high is None:
        return Reason(SurveySeen.NOT_STATED)
    known = {f"low_{unit}": low, f"high_{unit}": high}
    kind = "between" if low is not None and high is not None else "at_most" if low is None else "at_least"
    return Reason(
        SurveySeen(f"survey.seen.{kind}_{unit}"), {name: value for name, value in known.items() if value is not None}
    )


def typed(text: str) -> Reason:
    """What a person wrote.

    Parameters
    ----------
    text : str

    Returns
    -------
    Reason
    """
    return Reason(SurveySeen.TYPED, {"text": text})


def _reason(given: Reason | SurveySeen | SurveyRule) -> Reason:
    return given if isinstance(given, Reason) else Reason(given)
