"""What a whole check found: the grades of its readings put together, with one sentence for the page and for the book.

The rules for one reading stand in `grading`; here the readings of one check meet: both sides of a device, all fasteners
of its model, every answer of a kind of the plant's own. What the device model does not state is said, and the rest is
graded all the same. The page that grades while a person types follows the same steps and is held to the same words by
test.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from inspections.calc.grading import (
    ONE_SIDED_CAUSES,
    Grade,
    Graded,
    _percent,
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
from plant.calc.wording import figure

SIDES = ("drive", "off")
# The witness mark of a fastener is a reading of its own beside the torque.
MARK = "_mark"


@dataclass(frozen=True)
class Finding:
    """A whole check: `grade` (None where nothing could be graded), its reason, and the parts by code of the reading.

    `left` holds the words on readings as left, by code.
    """

    grade: Grade | None
    reason: str
    parts: Mapping[str, Graded] = field(default_factory=dict)
    left: Mapping[str, str] = field(default_factory=dict)


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
    """One station under one load: code of its reading, its name, and the permitted run-off [mm]."""

    code: str
    label: str
    permitted_mm: float


@dataclass(frozen=True)
class OwnField:
    """One reading of a kind of the plant's own, with its limits and unit (a number) or the grade of each answer."""

    code: str
    label: str
    form: Literal["number", "choice"]
    watch_low: float | None = None
    watch_high: float | None = None
    act_low: float | None = None
    act_high: float | None = None
    unit: str = ""
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
    words = []
    stated = new_mm is not None and limit_mm is not None
    for side in SIDES:
        diameter, state = readings.get(f"{side}_diameter"), readings.get(f"{side}_state", "")
        seen = {"flat_spot": "flat spot", "seized": "does not turn"}.get(str(state), "")
        if state:
            sentence = (
                f"The roller has a flat spot or does not turn: {seen}." if seen else "The roller is round and turns."
            )
            parts[f"{side}_state"] = Graded(Grade.ACT if seen else Grade.SOUND, sentence, None, f"roller_{state}")
        aside = f" ({seen})" if seen else ""
        if diameter is None:
            words.append(f"{side} side not read{aside}")
        elif new_mm is None or limit_mm is None:
            parts[f"{side}_diameter"] = Graded(
                None, "The model does not state what wear is permitted.", rule="not_stated"
            )
            words.append(f"{side} side {figure(float(diameter))} mm{aside}")
        else:
            graded = grade_sensor_wear(
                float(diameter), new_mm, limit_mm, flat_spot=state == "flat_spot", seized=state == "seized"
            )
            parts[f"{side}_diameter"] = graded
            words.append(f"{side} side {_percent(graded.share or 0)}{aside}")
    if not parts:
        return Finding(None, "No roller was read.")
    lead = "Permitted wear used" if stated else "New or limit diameter not stated by the model, wear not graded"
    reason = f"{lead}: {', '.join(words)}."
    if stated and new_mm is not None and limit_mm is not None and {"drive_diameter", "off_diameter"} <= set(readings):
        pair = grade_sensor_pair(
            float(readings["drive_diameter"]), float(readings["off_diameter"]), new_mm, limit_mm
        ).difference
        parts["difference"] = pair
        if pair.rule == "pair_one_sided":
            reason += f" The sides differ by {_percent(pair.share or 0)}: look for {ONE_SIDED_CAUSES}."
    return Finding(worst(part.grade for part in parts.values()), reason, parts)


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
        return Finding(None, "The pivot was not moved.")
    alone = grade_pivot(str(state))  # type: ignore[arg-type]
    if force is None:
        return Finding(alone.grade, alone.reason, {"pivot": alone})
    if limit_n is None:
        unjudged = Graded(None, "The model states no breakaway limit.", rule="not_stated")
        reason = f"{alone.reason} It breaks away at {figure(float(force))} N; the model states no limit."
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
    >>> find_torque({"a": 100, "a_mark": "rotated"}, {}, [FastenerTarget("a", "clamp", 100, 10)]).reason
    '1 within tolerance. 1 turned past its witness mark: clamp.'
    """
    parts: dict[str, Graded] = {}
    marks: dict[str, Graded] = {}
    verdicts: dict[str, str] = {}
    doubtful = []
    for each in fasteners:
        reading = found.get(each.code)
        if reading is not None and each.target_nm is None:
            parts[each.code] = Graded(None, "The model states no target torque.", rule="not_stated")
        elif reading is not None and each.target_nm is not None:
            parts[each.code] = grade_torque(
                float(reading),
                each.target_nm,
                tolerance_pct=each.tolerance_pct,
                tool_deviation_pct=each.tool_deviation_pct,
            )
        if mark := found.get(f"{each.code}{MARK}"):
            marks[f"{each.code}{MARK}"] = grade_witness_mark(str(mark))  # type: ignore[arg-type]
        if (set_to := left.get(each.code)) is not None and each.target_nm is not None:
            judged = judge_as_left(
                float(set_to),
                each.target_nm,
                tolerance_pct=each.tolerance_pct,
                tool_deviation_pct=each.tool_deviation_pct,
            )
            verdicts[each.code] = judged.reason
            if judged.verdict != "within":
                doubtful.append(each.label)
    if not parts and not marks:
        return Finding(None, "No fastener was read.", parts, verdicts)
    graded = [part for part in parts.values() if part.grade is not None]
    loose = sum(part.grade is Grade.ACT for part in graded)
    watch = sum(part.grade is Grade.WATCH for part in graded)
    words = []
    if graded and not loose and not watch:
        words.append(f"{len(graded)} within tolerance.")
    elif graded:
        more = f", {watch} more to watch" if loose and watch else ""
        words.append(f"{loose} of {len(graded)} loose{more}." if loose else f"{watch} of {len(graded)} to watch.")
        low = min(
            (each for each in fasteners if parts.get(each.code) in graded), key=lambda f: parts[f.code].share or 0
        )
        words.append(f"Lowest: {low.label} at {_percent(parts[low.code].share or 0)} of its target.")
    if len(parts) > len(graded):
        words.append(f"{len(parts) - len(graded)} not graded: the model states no target torque.")
    if len(parts) < len(fasteners):
        words.append(f"{len(fasteners) - len(parts)} not read.")
    rotated = {code for code, mark in marks.items() if mark.grade is Grade.ACT}
    turned = [each.label for each in fasteners if f"{each.code}{MARK}" in rotated]
    if turned:
        whose = "its witness mark" if len(turned) == 1 else "their witness marks"
        words.append(f"{len(turned)} turned past {whose}: {', '.join(turned)}.")
    if doubtful:
        words.append(f"As left not surely within tolerance: {', '.join(doubtful)}.")
    grade = worst(part.grade for part in [*graded, *marks.values()])
    return Finding(grade, " ".join(words), {**parts, **marks}, verdicts)


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
    >>> there = [OffsetStation("a", "50 m, empty", 60), OffsetStation("b", "80 m, loaded", 60)]
    >>> find_offsets({"a": 12, "b": -66}, there).reason
    'Furthest off at 80 m, loaded: 66 mm towards the off side is 110 % of the permitted 60 mm.'
    """
    known = [(each, float(readings[each.code])) for each in stations if readings.get(each.code) not in (None, "")]
    parts = {each.code: grade_offset(value, each.permitted_mm) for each, value in known}
    if not parts:
        return Finding(None, "No offset was read.")
    furthest = max((each for each, _value in known), key=lambda each: parts[each.code].share or 0)
    words = [f"Furthest off at {furthest.label}: {parts[furthest.code].reason}"]
    if len(parts) < len(stations):
        words.append(f"{len(stations) - len(parts)} of {len(stations)} not read.")
    return Finding(worst(part.grade for part in parts.values()), " ".join(words), parts)


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
                unit=each.unit,
            )
        elif each.grades.get(str(value)):
            parts[each.code] = grade_choice(str(value), {k: grade for k, grade in each.grades.items() if grade})
        else:
            parts[each.code] = Graded(None, "This answer has no grade.", rule="choice_none")
    if not parts:
        return Finding(None, "Nothing was read.")
    grade = worst(part.grade for part in parts.values())
    if grade is None:
        return Finding(None, "No limits are set for this check.", parts)
    if grade is Grade.SOUND:
        return Finding(grade, "Within all limits.", parts)
    named = [f"{each.label}: {parts[each.code].reason}" for each in fields if each.code in parts]
    at_worst = [
        words
        for each, words in zip([f for f in fields if f.code in parts], named, strict=True)
        if parts[each.code].grade is grade
    ]
    return Finding(grade, " ".join(at_worst), parts)
