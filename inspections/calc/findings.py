"""What a whole check found: the grades of its readings put together, with one reason for the page and for the book.

The rules for one reading stand in `grading`; here the readings of one check meet: both sides of a device, all fasteners
of its model, every answer of a kind of the plant's own. What the device model does not state is said, and the rest is
graded all the same. The page that grades while a person types follows the same steps and is held to the same reasons
by test. Their words stand in `inspections/words/grading.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from inspections.calc.grading import (
    SIDES,
    Grade,
    Graded,
    GradeRule,
    grade_choice,
    grade_limits,
    grade_offset,
    grade_pivot,
    grade_sensor_pair,
    grade_sensor_wear,
    grade_torque,
    grade_witness_mark,
    worst,
)
from installs.calc.fasteners import TOOL_DEVIATION_PCT, judge_as_left
from plant.calc.reasons import Reason, Values, pct_of

# The witness mark of a fastener is a reading of its own beside the torque.
MARK = "_mark"


class FindingRule(StrEnum):
    """What is said of a whole check, and of a reading that has no grade of its own."""

    TOGETHER = "finding.together"
    NO_ROLLER = "finding.no_roller"
    ROLLER_ROUND = "finding.roller_round"
    ROLLER_BAD = "finding.roller_bad"
    WEAR_NOT_STATED = "finding.wear_not_stated"
    WEAR_USED = "finding.wear_used"
    WEAR_NOT_GRADED = "finding.wear_not_graded"
    SIDE_NOT_READ = "finding.side_not_read"
    SIDE_SHARE = "finding.side_share"
    SIDE_DIAMETER = "finding.side_diameter"
    SIDE_SEEN = "finding.side_seen"
    SIDES_DIFFER = "finding.sides_differ"
    NO_PIVOT = "finding.no_pivot"
    FORCE_NOT_STATED = "finding.force_not_stated"
    PIVOT_NO_LIMIT = "finding.pivot_no_limit"
    NO_FASTENER = "finding.no_fastener"
    TARGET_NOT_STATED = "finding.target_not_stated"
    ALL_WITHIN = "finding.all_within"
    LOOSE = "finding.loose"
    LOOSE_AND_WATCH = "finding.loose_and_watch"
    TO_WATCH = "finding.to_watch"
    LOWEST = "finding.lowest"
    NOT_GRADED = "finding.not_graded"
    NOT_READ = "finding.not_read"
    MARK_TURNED = "finding.mark_turned"
    MARKS_TURNED = "finding.marks_turned"
    LEFT_IN_DOUBT = "finding.left_in_doubt"
    NO_OFFSET = "finding.no_offset"
    FURTHEST_OFF = "finding.furthest_off"
    STATIONS_NOT_READ = "finding.stations_not_read"
    NOTHING_READ = "finding.nothing_read"
    ANSWER_WITHOUT_GRADE = "finding.answer_without_grade"
    WITHIN_ALL_LIMITS = "finding.within_all_limits"
    OF_FIELD = "finding.of_field"
    # Of checks that were closed, not of readings; the last is a sentence that a row kept before rules were.
    WITHDRAWN = "finding.withdrawn"
    SAID = "finding.said"


class FindingSeen(StrEnum):
    """What is seen of a roller, or how the belt ran at a station, as a sentence names it."""

    FLAT_SPOT = "finding.flat_spot"
    SEIZED = "finding.seized"
    EMPTY = "finding.empty"
    LOADED = "finding.loaded"


BAD_STATES = {"flat_spot": FindingSeen.FLAT_SPOT, "seized": FindingSeen.SEIZED}


@dataclass(frozen=True)
class Finding:
    """A whole check: `grade` (None where nothing could be graded), its reason, and the parts by code of the reading.

    `left` says of readings as left whether they are surely within tolerance, by code.
    """

    grade: Grade | None
    reason: Reason
    parts: Mapping[str, Graded] = field(default_factory=dict)
    left: Mapping[str, Reason] = field(default_factory=dict)


@dataclass(frozen=True)
class FastenerTarget:
    """One fastener: code of its reading, its name, target [N·m] (None: not stated) and tolerance [%].

    `tool_deviation_pct` is the permissible deviation of the tool that read it [%].
    """

    code: str
    label: str
    target_nm: float | None
    tolerance_pct: float
    tool_deviation_pct: float = TOOL_DEVIATION_PCT


@dataclass(frozen=True)
class OffsetStation:
    """One station under one load: code of its reading, its chainage [m], and the permitted run-off [mm]."""

    code: str
    at_m: float
    is_loaded: bool
    permitted_mm: float


@dataclass(frozen=True)
class OwnField:
    """One reading of a kind of the plant's own, with its limits (a number) or the grade of each answer.

    `kind` says what a number measures, by its stored unit; empty for a plain number.
    """

    code: str
    label: str
    form: Literal["number", "choice"]
    watch_low: float | None = None
    watch_high: float | None = None
    act_low: float | None = None
    act_high: float | None = None
    kind: str = ""
    grades: Mapping[str, str] = field(default_factory=dict)


def find_sensor_wear(readings: Mapping[str, float | str], *, new_mm: float | None, limit_mm: float | None) -> Finding:
    """Wear of both sensor rollers, with what was seen of them.

    Parameters
    ----------
    readings : mapping
        drive_diameter, off_diameter [mm]; drive_state, off_state ("round", "flat_spot" or "seized"); any may be
        missing.
    new_mm, limit_mm : float or None
        Diameters of the model [mm]; None where the model does not state it.

    Returns
    -------
    Finding
        The worst of both sides and of their difference.

    Raises
    ------
    ValueError
        If a diameter is not above 0.

    Examples
    --------
    >>> find_sensor_wear({"drive_diameter": 73, "off_diameter": 68.3}, new_mm=76, limit_mm=68).grade
    <Grade.ACT: 'act'>
    """
    parts: dict[str, Graded] = {}
    told: dict[str, Reason] = {}
    for side in SIDES:
        told[side], of_side = _roller(side, readings, new_mm, limit_mm)
        parts.update(of_side)
    if not parts:
        return Finding(None, Reason(FindingRule.NO_ROLLER))
    if new_mm is None or limit_mm is None:
        reason = Reason(FindingRule.WEAR_NOT_GRADED, told)
        return Finding(worst(part.grade for part in parts.values()), reason, parts)
    reason = Reason(FindingRule.WEAR_USED, told)
    if {"drive_diameter", "off_diameter"} <= set(readings):
        drive_mm, off_mm = (float(readings[f"{side}_diameter"]) for side in SIDES)
        pair = parts["difference"] = grade_sensor_pair(drive_mm, off_mm, new_mm, limit_mm).difference
        if pair.rule == GradeRule.PAIR_ONE_SIDED:
            apart = Reason(FindingRule.SIDES_DIFFER, {"apart_pct": pct_of(pair.share or 0)})
            reason = together([reason, apart])
    return Finding(worst(part.grade for part in parts.values()), reason, parts)


def _roller(
    side: str, readings: Mapping[str, float | str], new_mm: float | None, limit_mm: float | None
) -> tuple[Reason, dict[str, Graded]]:
    """What is said of one side, and the grades of its readings by code."""
    parts = {}
    diameter, state = readings.get(f"{side}_diameter"), str(readings.get(f"{side}_state") or "")
    seen = BAD_STATES.get(state)
    if seen is not None:
        parts[f"{side}_state"] = Graded(Grade.ACT, Reason(FindingRule.ROLLER_BAD, {"seen": seen}))
    elif state:
        parts[f"{side}_state"] = Graded(Grade.SOUND, Reason(FindingRule.ROLLER_ROUND))
    named = {"side": SIDES[side]}
    if diameter is None:
        said = Reason(FindingRule.SIDE_NOT_READ, named)
    elif new_mm is None or limit_mm is None:
        parts[f"{side}_diameter"] = Graded(None, Reason(FindingRule.WEAR_NOT_STATED))
        said = Reason(FindingRule.SIDE_DIAMETER, {**named, "diameter_mm": float(diameter)})
    else:
        graded = grade_sensor_wear(
            float(diameter),
            new_mm,
            limit_mm,
            flat_spot=seen is FindingSeen.FLAT_SPOT,
            seized=seen is FindingSeen.SEIZED,
        )
        parts[f"{side}_diameter"] = graded
        said = Reason(FindingRule.SIDE_SHARE, {**named, "share_pct": pct_of(graded.share or 0)})
    return (said if seen is None else Reason(FindingRule.SIDE_SEEN, {"said": said, "seen": seen})), parts


def together(reasons: Sequence[Reason]) -> Reason:
    """Several reasons as one, said one after the other.

    Parameters
    ----------
    reasons : sequence of Reason
        At least one.
    """
    return reasons[0] if len(reasons) == 1 else Reason(FindingRule.TOGETHER, {"parts": tuple(reasons)})


def find_pivot(readings: Mapping[str, float | str], *, limit_n: float | None) -> Finding:
    """Freedom of the pivot, with its breakaway force where that was measured.

    Parameters
    ----------
    readings : mapping
        pivot ("free", "stiff" or "seized"); breakaway [N], may be missing.
    limit_n : float or None
        Force above which the model counts it as too stiff [N]; None where the model does not state it.

    Returns
    -------
    Finding

    Raises
    ------
    ValueError
        If the state is unknown or the force negative.
    """
    state, force = readings.get("pivot"), readings.get("breakaway")
    if not state:
        return Finding(None, Reason(FindingRule.NO_PIVOT))
    alone = grade_pivot(str(state))  # type: ignore[arg-type]
    if force is None:
        return Finding(alone.grade, alone.reason, {"pivot": alone})
    if limit_n is None:
        unjudged = Graded(None, Reason(FindingRule.FORCE_NOT_STATED))
        reason = Reason(FindingRule.PIVOT_NO_LIMIT, {"state": alone.reason, "force_n": float(force)})
        return Finding(alone.grade, reason, {"pivot": alone, "breakaway": unjudged})
    both = grade_pivot(str(state), breakaway_n=float(force), limit_n=limit_n)  # type: ignore[arg-type]
    return Finding(both.grade, both.reason, {"pivot": alone, "breakaway": both})


def find_torque(
    found: Mapping[str, float | str], left: Mapping[str, float | str], fasteners: Sequence[FastenerTarget]
) -> Finding:
    """All fasteners of a device: the worst as found, how many are loose or turned, whether each was left in tolerance.

    Parameters
    ----------
    found, left : mapping
        Torque as found and as left by the fastener's code [N·m]; witness mark ("in_line" or "rotated") by the code
        with `MARK` behind it. Any may be missing.
    fasteners : sequence of FastenerTarget
        Every fastener of the model.

    Returns
    -------
    Finding

    Raises
    ------
    ValueError
        If a torque is negative or a mark unknown.

    Examples
    --------
    >>> found = find_torque({"a": 100, "a_mark": "rotated"}, {}, [FastenerTarget("a", "clamp", 100, 10)])
    >>> [str(each.rule) for each in found.reason.values["parts"]]
    ['finding.all_within', 'finding.mark_turned']
    """
    parts: dict[str, Graded] = {}
    marks: dict[str, Graded] = {}
    verdicts: dict[str, Reason] = {}
    doubtful = []
    for each in fasteners:
        reading, target_nm = found.get(each.code), each.target_nm
        told = {"tolerance_pct": each.tolerance_pct, "tool_deviation_pct": each.tool_deviation_pct}
        if reading is not None and target_nm is None:
            parts[each.code] = Graded(None, Reason(FindingRule.TARGET_NOT_STATED))
        elif reading is not None and target_nm is not None:
            parts[each.code] = grade_torque(float(reading), target_nm, **told)
        if mark := found.get(f"{each.code}{MARK}"):
            marks[f"{each.code}{MARK}"] = grade_witness_mark(str(mark))  # type: ignore[arg-type]
        if (set_to := left.get(each.code)) is not None and target_nm is not None:
            judged = judge_as_left(float(set_to), target_nm, **told)
            verdicts[each.code] = judged.reason
            if judged.verdict != "within":
                doubtful.append(each.label)
    if not parts and not marks:
        return Finding(None, Reason(FindingRule.NO_FASTENER), parts, verdicts)
    said = _torques(parts, fasteners)
    rotated = {code for code, mark in marks.items() if mark.grade is Grade.ACT}
    turned = [each.label for each in fasteners if f"{each.code}{MARK}" in rotated]
    if turned:
        rule = FindingRule.MARK_TURNED if len(turned) == 1 else FindingRule.MARKS_TURNED
        said.append(Reason(rule, {"n": len(turned), "fasteners": ", ".join(turned)}))
    if doubtful:
        said.append(Reason(FindingRule.LEFT_IN_DOUBT, {"fasteners": ", ".join(doubtful)}))
    grade = worst(part.grade for part in [*parts.values(), *marks.values()])
    # Every fastener is within, to watch, loose, not graded or not read: something is always said.
    return Finding(grade, together(said), {**parts, **marks}, verdicts)


def _torques(parts: Mapping[str, Graded], fasteners: Sequence[FastenerTarget]) -> list[Reason]:
    """How many are loose or to be watched, which is the lowest, how many have no grade or were not read."""
    graded = {code: part for code, part in parts.items() if part.grade is not None}
    loose = sum(part.grade is Grade.ACT for part in graded.values())
    watch = sum(part.grade is Grade.WATCH for part in graded.values())
    said = []
    if graded and not loose and not watch:
        said.append(Reason(FindingRule.ALL_WITHIN, {"n": len(graded)}))
    elif graded:
        if loose and watch:
            said.append(Reason(FindingRule.LOOSE_AND_WATCH, {"n": loose, "of": len(graded), "watch": watch}))
        else:
            rule = FindingRule.LOOSE if loose else FindingRule.TO_WATCH
            said.append(Reason(rule, {"n": loose or watch, "of": len(graded)}))
        low = min((each for each in fasteners if each.code in graded), key=lambda f: graded[f.code].share or 0)
        share: Values = {"fastener": low.label, "share_pct": pct_of(graded[low.code].share or 0)}
        said.append(Reason(FindingRule.LOWEST, share))
    if len(parts) > len(graded):
        said.append(Reason(FindingRule.NOT_GRADED, {"n": len(parts) - len(graded)}))
    if len(parts) < len(fasteners):
        said.append(Reason(FindingRule.NOT_READ, {"n": len(fasteners) - len(parts)}))
    return said


def find_offsets(readings: Mapping[str, float | str], stations: Sequence[OffsetStation]) -> Finding:
    """Belt offset at all stations, empty and loaded: the furthest off its centre line counts.

    Parameters
    ----------
    readings : mapping of str to float
        Offset by the station's code, drive side positive [mm].
    stations : sequence of OffsetStation
        Every station of the device, once for each load.

    Returns
    -------
    Finding

    Raises
    ------
    ValueError
        If a permitted run-off is not above 0.

    Examples
    --------
    >>> there = [OffsetStation("a", 50, False, 60), OffsetStation("b", 80, True, 60)]
    >>> found = find_offsets({"a": 12, "b": -66}, there)
    >>> found.grade, found.reason.values["at_m"]
    (<Grade.ACT: 'act'>, 80)
    """
    known = [(each, float(readings[each.code])) for each in stations if readings.get(each.code) not in (None, "")]
    parts = {each.code: grade_offset(value, each.permitted_mm) for each, value in known}
    if not parts:
        return Finding(None, Reason(FindingRule.NO_OFFSET))
    furthest = max((each for each, _value in known), key=lambda each: parts[each.code].share or 0)
    where = {
        "at_m": furthest.at_m,
        "load": FindingSeen.LOADED if furthest.is_loaded else FindingSeen.EMPTY,
        "offset": parts[furthest.code].reason,
    }
    said = [Reason(FindingRule.FURTHEST_OFF, where)]
    if len(parts) < len(stations):
        missing = {"n": len(stations) - len(parts), "of": len(stations)}
        said.append(Reason(FindingRule.STATIONS_NOT_READ, missing))
    return Finding(worst(part.grade for part in parts.values()), together(said), parts)


def find_own(readings: Mapping[str, float | str], fields: Sequence[OwnField]) -> Finding:
    """A check of the plant's own kind: every answer against its limits, the worst counts.

    Parameters
    ----------
    readings : mapping
        Number or answer by code.
    fields : sequence of OwnField
        What the kind asks for.

    Returns
    -------
    Finding

    Raises
    ------
    ValueError
        If an answer is not one that is offered, or limits are out of order.
    """
    parts: dict[str, Graded] = {}
    for each in fields:
        value = readings.get(each.code)
        if value is None or value == "":
            continue
        if each.form == "number":
            parts[each.code] = grade_limits(
                float(value),
                watch_low=each.watch_low,
                watch_high=each.watch_high,
                act_low=each.act_low,
                act_high=each.act_high,
                kind=each.kind,
            )
        elif each.grades.get(str(value)):
            parts[each.code] = grade_choice(str(value), {k: grade for k, grade in each.grades.items() if grade})
        else:
            parts[each.code] = Graded(None, Reason(FindingRule.ANSWER_WITHOUT_GRADE))
    if not parts:
        return Finding(None, Reason(FindingRule.NOTHING_READ))
    grade = worst(part.grade for part in parts.values())
    if grade is None:
        return Finding(None, Reason(GradeRule.LIMITS_NONE), parts)
    if grade is Grade.SOUND:
        return Finding(grade, Reason(FindingRule.WITHIN_ALL_LIMITS), parts)
    at_worst = [
        Reason(FindingRule.OF_FIELD, {"field": each.label, "reason": parts[each.code].reason})
        for each in fields
        if each.code in parts and parts[each.code].grade is grade
    ]
    return Finding(grade, together(at_worst), parts)
