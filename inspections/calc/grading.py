"""Readings turned into a grade: sound, watch or act.

Each rule compares one reading with limits that the plant or the device model sets, and answers with the grade, the rule
that decided with what it read and, where there is one, the share of what is permitted. The phone shows the grade while
the reading is typed; it reads the same numbers from `grading_rules`, and the server grades again. The words of each
rule stand in `inspections/words/grading.py`.

Start values are common practice without a source; the device model's own figures come first. On a limit exactly: a wear
share has reached its grade, while a torque, a force, a difference or a number of the plant's own is still inside.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from installs.calc.fasteners import LOOSE_SHARE, SLACK, TOLERANCE_PCT, TOOL_DEVIATION_PCT, torque_band
from plant.calc.reasons import Reason, Values, four_digits, in_kind, pct_of

# Sensor rollers: common practice, no source.
WATCH_SHARE = 0.5
ACT_SHARE = 0.8
DIFFERENCE_SHARE = 0.3
# Belt offset as a share of the permitted run-off: common practice, no source.
OFFSET_WATCH_SHARE = 0.5
# Worn by no more than this after so many hours: the belt hardly touched it (twice the error of a reading; own rule).
NEW_AS_NEW_MM = 0.4
NEW_AS_NEW_H = 2000.0


class GradeRule(StrEnum):
    """The rules by which one reading is graded."""

    ROLLER_SEIZED = "grading.roller_seized"
    ROLLER_FLAT_SPOT = "grading.roller_flat_spot"
    WEAR_AT_LIMIT = "grading.wear_at_limit"
    WEAR_ACT = "grading.wear_act"
    WEAR_WATCH = "grading.wear_watch"
    WEAR_SOUND = "grading.wear_sound"
    PAIR_ONE_SIDED = "grading.pair_one_sided"
    PAIR_EVEN = "grading.pair_even"
    PIVOT_FREE = "grading.pivot_free"
    PIVOT_STIFF = "grading.pivot_stiff"
    PIVOT_SEIZED = "grading.pivot_seized"
    PIVOT_FORCE = "grading.pivot_force"
    PIVOT_FORCE_WITHIN = "grading.pivot_force_within"
    TORQUE_LOOSE = "grading.torque_loose"
    TORQUE_MAYBE_LOOSE = "grading.torque_maybe_loose"
    TORQUE_OUTSIDE = "grading.torque_outside"
    TORQUE_WITHIN = "grading.torque_within"
    MARK_IN_LINE = "grading.mark_in_line"
    MARK_ROTATED = "grading.mark_rotated"
    LIMITS_ACT_LOW = "grading.limits_act_low"
    LIMITS_ACT_HIGH = "grading.limits_act_high"
    LIMITS_WATCH_LOW = "grading.limits_watch_low"
    LIMITS_WATCH_HIGH = "grading.limits_watch_high"
    LIMITS_WITHIN = "grading.limits_within"
    LIMITS_NONE = "grading.limits_none"
    OFFSET_BEYOND = "grading.offset_beyond"
    OFFSET_WATCH = "grading.offset_watch"
    OFFSET_WITHIN = "grading.offset_within"
    CHOICE_SOUND = "grading.choice_sound"
    CHOICE_WATCH = "grading.choice_watch"
    CHOICE_ACT = "grading.choice_act"


class Aside(StrEnum):
    """What a rule names within its sentence: a side of the device, where a torque lies, what the tool can tell."""

    DRIVE_SIDE = "grading.drive_side"
    OFF_SIDE = "grading.off_side"
    BELOW = "grading.below"
    WITHIN = "grading.within"
    ABOVE = "grading.above"
    SURE = "grading.sure"
    UNDECIDED = "grading.undecided"
    UNDECIDED_BETWEEN = "grading.undecided_between"
    TOWARDS_DRIVE = "grading.towards_drive"
    TOWARDS_OFF = "grading.towards_off"
    ON_CENTRE = "grading.on_centre"


SIDES = {"drive": Aside.DRIVE_SIDE, "off": Aside.OFF_SIDE}


class Grade(StrEnum):
    """How a reading stands; orders from sound (best) to act (worst)."""

    SOUND = "sound"
    WATCH = "watch"
    ACT = "act"

    @property
    def rank(self) -> int:
        """0 for sound, 1 for watch, 2 for act."""
        return list(Grade).index(self)

    # Text would order act before sound, so the order is our own, and only among grades.
    def __lt__(self, other: object) -> bool:
        return self.rank < other.rank if isinstance(other, Grade) else NotImplemented

    def __le__(self, other: object) -> bool:
        return self.rank <= other.rank if isinstance(other, Grade) else NotImplemented

    def __gt__(self, other: object) -> bool:
        return self.rank > other.rank if isinstance(other, Grade) else NotImplemented

    def __ge__(self, other: object) -> bool:
        return self.rank >= other.rank if isinstance(other, Grade) else NotImplemented


CHOICE_RULES = {
    Grade.SOUND: GradeRule.CHOICE_SOUND,
    Grade.WATCH: GradeRule.CHOICE_WATCH,
    Grade.ACT: GradeRule.CHOICE_ACT,
}


@dataclass(frozen=True)
class Graded:
    """A grade with its reason.

    `grade` is None where nothing could be graded; `reason` is the rule that decided, with what it read; `share` is the
    part of what is permitted (wear), of the limit (force) or of the target (torque) [-]; `sure` is False where the
    tool's own deviation leaves the grade undecided.
    """

    grade: Grade | None
    reason: Reason
    share: float | None = None
    sure: bool = True

    @property
    def rule(self) -> str:
        """The rule that decided."""
        return self.reason.rule


@dataclass(frozen=True)
class GradedPair:
    """Drive-side and off-side sensor roller, each by itself, and their difference."""

    drive: Graded
    off: Graded
    difference: Graded

    @property
    def grade(self) -> Grade | None:
        """The worst of the three."""
        return worst(part.grade for part in (self.drive, self.off, self.difference))


def worst(grades: Iterable[Grade | None]) -> Grade | None:
    """The worst of several grades; None where there is none.

    Parameters
    ----------
    grades : iterable of Grade or None
        None (not graded) is passed over.

    Returns
    -------
    Grade or None
    """
    return max((grade for grade in grades if grade is not None), default=None)


def grade_sensor_wear(
    diameter_mm: float,
    new_mm: float,
    limit_mm: float,
    *,
    watch_share: float = WATCH_SHARE,
    act_share: float = ACT_SHARE,
    flat_spot: bool = False,
    seized: bool = False,
) -> Graded:
    """Wear of one sensor roller as a share of the wear that is permitted.

    Parameters
    ----------
    diameter_mm : float
        Diameter read, above 0 [mm].
    new_mm, limit_mm : float
        Diameter new and at the limit, 0 < limit < new [mm].
    watch_share, act_share : float, optional
        Shares from which on the grade is watch or act, 0 < watch <= act <= 1 [-].
    flat_spot, seized : bool, optional
        The roller has a flat spot, or does not turn: act at any diameter.

    Returns
    -------
    Graded
        share = (new - diameter) / (new - limit), not below 0 [-].

    Raises
    ------
    ValueError
        If a diameter or share is outside its range.

    Examples
    --------
    >>> grade_sensor_wear(71, 76, 68).grade, grade_sensor_wear(71, 76, 68).share
    (<Grade.WATCH: 'watch'>, 0.625)
    """
    _check_positive("diameter_mm", diameter_mm, "mm")
    _check_roller(new_mm, limit_mm, watch_share, act_share)
    share = max(0.0, (new_mm - diameter_mm) / (new_mm - limit_mm))
    worn = {"diameter_mm": diameter_mm, "share_pct": pct_of(share), "new_mm": new_mm, "limit_mm": limit_mm}
    if seized:
        return Graded(Grade.ACT, Reason(GradeRule.ROLLER_SEIZED, worn), share)
    if flat_spot:
        return Graded(Grade.ACT, Reason(GradeRule.ROLLER_FLAT_SPOT, worn), share)
    if share >= 1 - SLACK:
        return Graded(Grade.ACT, Reason(GradeRule.WEAR_AT_LIMIT, worn), share)
    if share >= act_share - SLACK:
        return Graded(Grade.ACT, Reason(GradeRule.WEAR_ACT, {**worn, "from_pct": pct_of(act_share)}), share)
    if share >= watch_share - SLACK:
        return Graded(Grade.WATCH, Reason(GradeRule.WEAR_WATCH, {**worn, "from_pct": pct_of(watch_share)}), share)
    return Graded(Grade.SOUND, Reason(GradeRule.WEAR_SOUND, worn), share)


def grade_sensor_pair(
    drive_mm: float,
    off_mm: float,
    new_mm: float,
    limit_mm: float,
    *,
    watch_share: float = WATCH_SHARE,
    act_share: float = ACT_SHARE,
    difference_share: float = DIFFERENCE_SHARE,
) -> GradedPair:
    """Wear of both sensor rollers, each by itself, and one-sided wear as a finding of its own.

    Parameters
    ----------
    drive_mm, off_mm : float
        Diameters on the drive side and on the off side, above 0 [mm].
    new_mm, limit_mm : float
        Diameter new and at the limit, 0 < limit < new [mm].
    watch_share, act_share : float, optional
        As in `grade_sensor_wear` [-].
    difference_share : float, optional
        Difference between the sides, as a share of the permitted wear, above which it is a finding, 0 to 1 [-].

    Returns
    -------
    GradedPair
        drive, off, difference (share = difference of the two diameters / (new - limit)), grade (the worst of them).

    Raises
    ------
    ValueError
        If a diameter or share is outside its range.
    """
    if not 0 < difference_share <= 1:
        raise ValueError(f"difference_share is {difference_share}; give a share above 0 up to 1, such as 0.3")
    drive = grade_sensor_wear(drive_mm, new_mm, limit_mm, watch_share=watch_share, act_share=act_share)
    off = grade_sensor_wear(off_mm, new_mm, limit_mm, watch_share=watch_share, act_share=act_share)
    # From the diameters, not from the shares, which end at 0 where a roller reads larger than new.
    apart = abs(drive_mm - off_mm) / (new_mm - limit_mm)
    said: dict[str, float | str] = {"apart_pct": pct_of(apart)}
    if apart > difference_share + SLACK:
        worn = Aside.DRIVE_SIDE if drive_mm < off_mm else Aside.OFF_SIDE
        why = Reason(GradeRule.PAIR_ONE_SIDED, {**said, "most_pct": pct_of(difference_share), "side": worn})
        return GradedPair(drive, off, Graded(Grade.WATCH, why, apart))
    return GradedPair(drive, off, Graded(Grade.SOUND, Reason(GradeRule.PAIR_EVEN, said), apart))


def grade_pivot(
    state: Literal["free", "stiff", "seized"], *, breakaway_n: float | None = None, limit_n: float | None = None
) -> Graded:
    """Freedom of the pivot through its whole range; a breakaway force above its limit makes it one grade worse.

    Parameters
    ----------
    state : {"free", "stiff", "seized"}
        As moved by hand through the whole range.
    breakaway_n : float, optional
        Force at which it begins to move, 0 or more [N].
    limit_n : float, optional
        Force above which it counts as too stiff, above 0 [N].

    Returns
    -------
    Graded
        share = force / limit where both are known [-].

    Raises
    ------
    ValueError
        If the state is unknown or a force is outside its range.
    """
    by_state = {
        "free": Graded(Grade.SOUND, Reason(GradeRule.PIVOT_FREE)),
        "stiff": Graded(Grade.WATCH, Reason(GradeRule.PIVOT_STIFF)),
        "seized": Graded(Grade.ACT, Reason(GradeRule.PIVOT_SEIZED)),
    }
    if state not in by_state:
        raise ValueError(f"state is {state!r}; give one of {', '.join(by_state)}")
    found = by_state[state]
    if breakaway_n is not None and not 0 <= breakaway_n < math.inf:
        raise ValueError(f"breakaway_n is {breakaway_n} N; give a force from 0 N up, or leave it out")
    if limit_n is not None:
        _check_positive("limit_n", limit_n, "N")
    if breakaway_n is None or limit_n is None:
        return found
    share = breakaway_n / limit_n
    moved: Values = {"state": found.reason, "force_n": breakaway_n, "limit_n": limit_n}
    if share > 1 + SLACK and found.grade is not None:
        grade = list(Grade)[min(found.grade.rank + 1, Grade.ACT.rank)]
        return Graded(grade, Reason(GradeRule.PIVOT_FORCE, moved), share)
    return Graded(found.grade, Reason(GradeRule.PIVOT_FORCE_WITHIN, moved), share)


def grade_torque(
    as_found_nm: float,
    target_nm: float,
    *,
    tolerance_pct: float = TOLERANCE_PCT,
    tool_deviation_pct: float = TOOL_DEVIATION_PCT,
    loose_share: float = LOOSE_SHARE,
) -> Graded:
    """Torque as found: loose is act, outside its tolerance is watch; the reason says whether the tool leaves a doubt.

    Parameters
    ----------
    as_found_nm : float
        Torque as found, 0 or more [N·m].
    target_nm, tolerance_pct, tool_deviation_pct, loose_share
        As in `torque_band`.

    Returns
    -------
    Graded
        The grade goes by the reading; share = reading / target [-]; sure is False inside the guard band of the limit
        that decides, or of the one next worse.

    Raises
    ------
    ValueError
        If an input is outside its range.
    """
    if not 0 <= as_found_nm < math.inf:
        raise ValueError(f"as_found_nm is {as_found_nm} N·m; give a torque from 0 N·m up")
    band = torque_band(
        target_nm, tolerance_pct=tolerance_pct, tool_deviation_pct=tool_deviation_pct, loose_share=loose_share
    )
    share, slack = as_found_nm / target_nm, SLACK * target_nm
    found = {
        "found_nm": as_found_nm,
        "share_pct": pct_of(share),
        "target_nm": target_nm,
        "tool_pct": tool_deviation_pct,
    }
    if as_found_nm < band.loose_below - slack:
        sure = as_found_nm < band.surely_loose_below - slack
        edges = {"low_nm": four_digits(band.surely_loose_below), "high_nm": four_digits(band.maybe_loose_below)}
        told = Reason(Aside.SURE) if sure else Reason(Aside.UNDECIDED_BETWEEN, edges)
        return Graded(Grade.ACT, Reason(GradeRule.TORQUE_LOOSE, {**found, "told": told}), share, sure)
    if as_found_nm < band.maybe_loose_below - slack:
        # With a coarse tool this reaches into the tolerance; what may be loose is watched there too.
        place = Aside.BELOW if as_found_nm < band.low - slack else Aside.WITHIN
        doubt: Values = {**found, "place": place, "up_to_nm": four_digits(band.maybe_loose_below)}
        return Graded(Grade.WATCH, Reason(GradeRule.TORQUE_MAYBE_LOOSE, doubt), share, False)
    if as_found_nm < band.low - slack or as_found_nm > band.high + slack:
        below = as_found_nm < band.low
        sure = as_found_nm < band.surely_below_below - slack if below else as_found_nm > band.surely_above_above + slack
        outside = {**found, "place": Aside.BELOW if below else Aside.ABOVE, "told": _told(sure)}
        return Graded(Grade.WATCH, Reason(GradeRule.TORQUE_OUTSIDE, outside), share, sure)
    sure = band.surely_inside_from - slack <= as_found_nm <= band.surely_inside_to + slack
    return Graded(Grade.SOUND, Reason(GradeRule.TORQUE_WITHIN, {**found, "told": _told(sure)}), share, sure)


def grade_witness_mark(state: Literal["in_line", "rotated"]) -> Graded:
    """Whether a fastener has turned past its witness mark: a finding apart from its torque, which friction can feign.

    Parameters
    ----------
    state : {"in_line", "rotated"}
        As seen at the mark across fastener and part.

    Returns
    -------
    Graded
        A fastener that turned by itself is act at any torque: common practice, no source.

    Raises
    ------
    ValueError
        If the state is unknown.
    """
    by_state = {
        "in_line": Graded(Grade.SOUND, Reason(GradeRule.MARK_IN_LINE)),
        "rotated": Graded(Grade.ACT, Reason(GradeRule.MARK_ROTATED)),
    }
    if state not in by_state:
        raise ValueError(f"state is {state!r}; give one of {', '.join(by_state)}")
    return by_state[state]


def grade_limits(
    value: float,
    *,
    watch_low: float | None = None,
    watch_high: float | None = None,
    act_low: float | None = None,
    act_high: float | None = None,
    kind: str = "",
) -> Graded:
    """A numeric reading of the plant's own kind against up to four limits.

    Parameters
    ----------
    value : float
        The reading, in the kind's own unit.
    watch_low, watch_high, act_low, act_high : float, optional
        Below or above these the grade is watch or act; a reading on a limit is still inside it.
        act_low <= watch_low <= watch_high <= act_high where given.
    kind : str, optional
        What is measured, by its stored unit as a column's name ends with it, such as "mm" or "nm"; empty for a plain
        number.

    Returns
    -------
    Graded
        Not graded where no limit is given.

    Raises
    ------
    ValueError
        If the value is not finite or the limits are out of order.
    """
    if not math.isfinite(value):
        raise ValueError(f"value is {value}; give a finite number")
    named = {"act_low": act_low, "watch_low": watch_low, "watch_high": watch_high, "act_high": act_high}
    given = [(name, limit) for name, limit in named.items() if limit is not None]
    for (name, limit), (after, higher) in itertools.pairwise(given):
        if not limit <= higher:
            raise ValueError(f"{name} is {limit:g} and {after} {higher:g}; give {name} not above {after}")
    if not given:
        return Graded(None, Reason(GradeRule.LIMITS_NONE))
    found = {in_kind("found", kind): value}
    for grade, low, high in ((Grade.ACT, act_low, act_high), (Grade.WATCH, watch_low, watch_high)):
        if low is not None and value < low:
            rule = GradeRule.LIMITS_ACT_LOW if grade is Grade.ACT else GradeRule.LIMITS_WATCH_LOW
            return Graded(grade, Reason(rule, {**found, in_kind("limit", kind): low}))
        if high is not None and value > high:
            rule = GradeRule.LIMITS_ACT_HIGH if grade is Grade.ACT else GradeRule.LIMITS_WATCH_HIGH
            return Graded(grade, Reason(rule, {**found, in_kind("limit", kind): high}))
    return Graded(Grade.SOUND, Reason(GradeRule.LIMITS_WITHIN, found))


def grade_offset(offset_mm: float, permitted_mm: float, *, watch_share: float = OFFSET_WATCH_SHARE) -> Graded:
    """How far the belt lies off its centre line, against the permitted run-off.

    Parameters
    ----------
    offset_mm : float
        Positive towards the drive side [mm].
    permitted_mm : float
        Permitted run-off either way, above 0 [mm].
    watch_share : float, optional
        Share of it above which the grade is watch, above 0 up to 1 [-].

    Returns
    -------
    Graded
        share = |offset| / permitted [-]; an offset on a limit is still inside.

    Raises
    ------
    ValueError
        If an input is outside its range.

    Examples
    --------
    >>> grade_offset(-66, 60).grade, grade_offset(-66, 60).reason.values["share_pct"]
    (<Grade.ACT: 'act'>, 110.0)
    """
    if not math.isfinite(offset_mm):
        raise ValueError(f"offset_mm is {offset_mm} mm; give a finite number")
    _check_positive("permitted_mm", permitted_mm, "mm")
    if not 0 < watch_share <= 1:
        raise ValueError(f"watch_share is {watch_share}; give a share above 0 up to 1, such as 0.5")
    share = abs(offset_mm) / permitted_mm
    where = Aside.TOWARDS_DRIVE if offset_mm > 0 else Aside.TOWARDS_OFF if offset_mm < 0 else Aside.ON_CENTRE
    off: Values = {
        "where": Reason(where, {"off_mm": abs(offset_mm)}),
        "share_pct": pct_of(share),
        "permitted_mm": permitted_mm,
    }
    if share > 1 + SLACK:
        return Graded(Grade.ACT, Reason(GradeRule.OFFSET_BEYOND, off), share)
    if share > watch_share + SLACK:
        return Graded(Grade.WATCH, Reason(GradeRule.OFFSET_WATCH, off), share)
    return Graded(Grade.SOUND, Reason(GradeRule.OFFSET_WITHIN, off), share)


def grade_choice(value: str, grades: Mapping[str, Grade | str]) -> Graded:
    """A reading chosen from a list, or yes and no, each choice with its grade.

    Parameters
    ----------
    value : str
        The choice made.
    grades : mapping of str to Grade
        Every choice that is offered, with its grade.

    Returns
    -------
    Graded

    Raises
    ------
    ValueError
        If the value is none of the choices, or a grade is unknown.
    """
    if value not in grades:
        raise ValueError(
            f"value is {value!r}; give one of {', '.join(grades) or 'the choices, of which there is none'}"
        )
    try:
        grade = Grade(grades[value])
    except ValueError:
        raise ValueError(f"grade of {value!r} is {grades[value]!r}; give one of {', '.join(Grade)}") from None
    return Graded(grade, Reason(CHOICE_RULES[grade], {"answer": value}))


def _check_roller(new_mm: float, limit_mm: float, watch_share: float, act_share: float) -> None:
    _check_positive("new_mm", new_mm, "mm")
    _check_positive("limit_mm", limit_mm, "mm")
    if limit_mm >= new_mm:
        raise ValueError(f"limit_mm is {limit_mm:g} mm and new_mm {new_mm:g} mm; give a limit below the new diameter")
    if not 0 < watch_share <= act_share <= 1:
        raise ValueError(
            f"watch_share is {watch_share} and act_share {act_share}; give 0 < watch_share <= act_share <= 1"
        )


def _check_positive(name: str, value: float, unit: str) -> None:
    if not 0 < value < math.inf:
        raise ValueError(f"{name} is {value} {unit}; give a number above 0 {unit}")


def _told(sure: bool) -> Reason:
    return Reason(Aside.SURE if sure else Aside.UNDECIDED)
