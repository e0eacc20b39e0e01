"""Readings turned into a grade: sound, watch or act.

Each rule compares one reading with limits that the plant or the device model sets, and answers with the grade, the name
of the rule that decided, the words for it and, where there is one, the share of what is permitted. The phone shows the
grade while the reading is typed; it reads the same numbers from `grading_rules`, and the server grades again.

Start values are common practice without a source; the device model's own figures come first. On a limit exactly: a wear
share has reached its grade, while a torque, a force, a difference or a number of the plant's own is still inside.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Literal

from installs.calc.fasteners import (
    LOOSE_SHARE,
    SLACK,
    TOLERANCE_PCT,
    TOOL_DEVIATION_PCT,
    torque_band,
)
from plant.calc.wording import figure

# Sensor rollers: common practice, no source.
WATCH_SHARE = 0.5
ACT_SHARE = 0.8
DIFFERENCE_SHARE = 0.3
# Belt offset as a share of the permitted run-off: common practice, no source.
OFFSET_WATCH_SHARE = 0.5
# Questions about a reading: common practice, no source. A diameter is read to about 0.2 mm.
GROWTH_ALLOWANCE_MM = 0.5
SLIPS = {25.4: "inches typed as millimetres", 1 / 25.4: "millimetres typed as inches", 10.0: "a slipped decimal point"}
SLIPS[0.1] = SLIPS[10.0]
# The unit that a sentence names with a reading, where the quantity tells it.
UNITS = {"diameter": "mm", "torque": "N·m", "other": ""}
# Without limits a slip is looked for within this share of the reading before.
LIKE_BEFORE = 0.3
# Worn by no more than this after so many hours: the belt hardly touched it (twice the error of a reading; own rule).
NEW_AS_NEW_MM = 0.4
NEW_AS_NEW_H = 2000.0
# Distance from the device's own trend, in standard deviations of one reading, from which it is asked back.
MOST_SIGMA = 4.0

ONE_SIDED_CAUSES = "a seized pivot, a skewed frame or off-centre load"


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


@dataclass(frozen=True)
class Graded:
    """A grade with its reason.

    `grade` is None where nothing could be graded; `rule` names the rule that decided; `share` is the part of what is
    permitted (wear), of the limit (force) or of the target (torque) [-]; `sure` is False where the tool's own deviation
    leaves the grade undecided.
    """

    grade: Grade | None
    reason: str
    share: float | None = None
    rule: str = ""
    sure: bool = True


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

    @property
    def reason(self) -> str:
        """Both sides, then the difference."""
        return f"Drive side: {self.drive.reason} Off side: {self.off.reason} {self.difference.reason}"


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
    worn = (
        f"{figure(diameter_mm)} mm is {_percent(share)} of the permitted wear "
        f"(new {figure(new_mm)}, limit {figure(limit_mm)} mm)"
    )
    if seized:
        return Graded(Grade.ACT, f"The roller does not turn; {worn}.", share, "roller_seized")
    if flat_spot:
        return Graded(Grade.ACT, f"The roller has a flat spot; {worn}.", share, "roller_flat_spot")
    if share >= 1 - SLACK:
        return Graded(Grade.ACT, f"{worn}: worn to the limit or beyond.", share, "wear_at_limit")
    if share >= act_share - SLACK:
        return Graded(Grade.ACT, f"{worn}: act from {_percent(act_share)}.", share, "wear_act")
    if share >= watch_share - SLACK:
        return Graded(Grade.WATCH, f"{worn}: watch from {_percent(watch_share)}.", share, "wear_watch")
    return Graded(Grade.SOUND, f"{worn}.", share, "wear_sound")


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
    said = f"The sides differ by {_percent(apart)} of the permitted wear"
    if apart > difference_share + SLACK:
        more = "drive" if drive_mm < off_mm else "off"
        why = f"{said}, more than {_percent(difference_share)}: the {more} side wears; look for {ONE_SIDED_CAUSES}."
        return GradedPair(drive, off, Graded(Grade.WATCH, why, apart, "pair_one_sided"))
    return GradedPair(drive, off, Graded(Grade.SOUND, f"{said}.", apart, "pair_even"))


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
        "free": Graded(Grade.SOUND, "The pivot moves freely through its whole range.", None, "pivot_free"),
        "stiff": Graded(Grade.WATCH, "The pivot is stiff.", None, "pivot_stiff"),
        "seized": Graded(Grade.ACT, "The pivot is seized: the device steers the wrong way.", None, "pivot_seized"),
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
    force = f"It breaks away at {figure(breakaway_n)} N"
    if share > 1 + SLACK and found.grade is not None:
        grade = list(Grade)[min(found.grade.rank + 1, Grade.ACT.rank)]
        return Graded(grade, f"{found.reason} {force}, above the limit of {figure(limit_n)} N.", share, "pivot_force")
    return Graded(found.grade, f"{found.reason} {force} (limit {figure(limit_n)} N).", share, found.rule)


def grade_torque(
    as_found_nm: float,
    target_nm: float,
    *,
    tolerance_pct: float = TOLERANCE_PCT,
    tool_deviation_pct: float = TOOL_DEVIATION_PCT,
    loose_share: float = LOOSE_SHARE,
) -> Graded:
    """Torque as found: loose is act, outside its tolerance is watch; the words say whether the tool leaves a doubt.

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
    found = f"{figure(as_found_nm)} N·m is {_percent(share)} of the target of {figure(target_nm)} N·m"
    tool = f"with a tool of {figure(tool_deviation_pct)} % that is"
    if as_found_nm < band.loose_below - slack:
        sure = as_found_nm < band.surely_loose_below - slack
        doubt = "sure" if sure else f"undecided from {band.surely_loose_below:.4g} to {band.maybe_loose_below:.4g} N·m"
        return Graded(Grade.ACT, f"{found}: loose; {tool} {doubt}.", share, "torque_loose", sure)
    if as_found_nm < band.maybe_loose_below - slack:
        # With a coarse tool this reaches into the tolerance; what may be loose is watched there too.
        place = "below" if as_found_nm < band.low - slack else "within"
        doubt = f"it may be loose: {tool} undecided up to {band.maybe_loose_below:.4g} N·m"
        return Graded(Grade.WATCH, f"{found}: {place} its tolerance; {doubt}.", share, "torque_maybe_loose", False)
    if as_found_nm < band.low - slack or as_found_nm > band.high + slack:
        below = as_found_nm < band.low
        sure = as_found_nm < band.surely_below_below - slack if below else as_found_nm > band.surely_above_above + slack
        side, doubt = ("below" if below else "above"), ("sure" if sure else "undecided")
        return Graded(Grade.WATCH, f"{found}: {side} its tolerance; {tool} {doubt}.", share, "torque_outside", sure)
    sure = band.surely_inside_from - slack <= as_found_nm <= band.surely_inside_to + slack
    doubt = "sure" if sure else "undecided"
    return Graded(Grade.SOUND, f"{found}: within its tolerance; {tool} {doubt}.", share, "torque_within", sure)


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
        "in_line": Graded(Grade.SOUND, "Its witness mark is in line.", None, "mark_in_line"),
        "rotated": Graded(
            Grade.ACT, "It has turned past its witness mark, whatever torque it shows.", None, "mark_rotated"
        ),
    }
    if state not in by_state:
        raise ValueError(f"state is {state!r}; give one of {', '.join(by_state)}")
    return by_state[state]


def grade_fasteners(
    as_found_nm: Sequence[float],
    target_nm: float,
    *,
    tolerance_pct: float = TOLERANCE_PCT,
    tool_deviation_pct: float = TOOL_DEVIATION_PCT,
    loose_share: float = LOOSE_SHARE,
) -> Graded:
    """Several fasteners of one target: the worst of them, and how many are loose.

    Parameters
    ----------
    as_found_nm : sequence of float
        Torques as found, 0 or more [N·m].
    target_nm, tolerance_pct, tool_deviation_pct, loose_share
        As in `torque_band`.

    Returns
    -------
    Graded
        share = loose fasteners / fasteners read [-]; not graded where none was read.

    Raises
    ------
    ValueError
        If an input is outside its range.
    """
    told = {"tolerance_pct": tolerance_pct, "tool_deviation_pct": tool_deviation_pct, "loose_share": loose_share}
    each = [grade_torque(reading, target_nm, **told) for reading in as_found_nm]
    if not each:
        return Graded(None, "No fastener was read.", None, "fasteners_none", False)
    loose = sum(one.grade is Grade.ACT for one in each)
    outside = sum(one.grade is Grade.WATCH for one in each)
    said = f"{loose} of {len(each)} loose, {outside} more outside tolerance."
    return Graded(worst(one.grade for one in each), said, loose / len(each), "fasteners", all(one.sure for one in each))


def grade_limits(
    value: float,
    *,
    watch_low: float | None = None,
    watch_high: float | None = None,
    act_low: float | None = None,
    act_high: float | None = None,
    unit: str = "",
) -> Graded:
    """A numeric reading of the plant's own kind against up to four limits.

    Parameters
    ----------
    value : float
        The reading, in the kind's own unit.
    watch_low, watch_high, act_low, act_high : float, optional
        Below or above these the grade is watch or act; a reading on a limit is still inside it.
        act_low <= watch_low <= watch_high <= act_high where given.
    unit : str, optional
        The kind's own unit as a sentence writes it, such as "mm"; empty for a plain number.

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
        return Graded(None, "No limits are set for this check.", None, "limits_none")
    for grade, low, high in ((Grade.ACT, act_low, act_high), (Grade.WATCH, watch_low, watch_high)):
        if low is not None and value < low:
            words = f"{_with(_beside(value, low), unit)} is below {_with(figure(low), unit)}: {grade}."
            return Graded(grade, words, None, f"limits_{grade}_low")
        if high is not None and value > high:
            words = f"{_with(_beside(value, high), unit)} is above {_with(figure(high), unit)}: {grade}."
            return Graded(grade, words, None, f"limits_{grade}_high")
    return Graded(Grade.SOUND, f"{_with(figure(value), unit)} is within its limits.", None, "limits_within")


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
    >>> grade_offset(-66, 60).reason
    '66 mm towards the off side is 110 % of the permitted 60 mm.'
    """
    if not math.isfinite(offset_mm):
        raise ValueError(f"offset_mm is {offset_mm} mm; give a finite number")
    _check_positive("permitted_mm", permitted_mm, "mm")
    if not 0 < watch_share <= 1:
        raise ValueError(f"watch_share is {watch_share}; give a share above 0 up to 1, such as 0.5")
    share = abs(offset_mm) / permitted_mm
    side = " towards the drive side" if offset_mm > 0 else " towards the off side" if offset_mm < 0 else ""
    words = f"{figure(abs(offset_mm))} mm{side} is {_percent(share)} of the permitted {figure(permitted_mm)} mm."
    if share > 1 + SLACK:
        return Graded(Grade.ACT, words, share, "offset_beyond")
    if share > watch_share + SLACK:
        return Graded(Grade.WATCH, words, share, "offset_watch")
    return Graded(Grade.SOUND, words, share, "offset_within")


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
    return Graded(grade, f"{value}: {grade}.", None, f"choice_{grade}")


def implausible(
    value: float,
    previous: float | None = None,
    *,
    quantity: Literal["diameter", "torque", "other"] = "other",
    low: float | None = None,
    high: float | None = None,
    growth_allowance: float = GROWTH_ALLOWANCE_MM,
    expected: float | None = None,
    sigma: float | None = None,
    unit: str = "",
) -> str | None:
    """A question about a reading that is hard to believe, asked once; the reading is kept either way.

    Parameters
    ----------
    value : float
        The reading, 0 or more.
    previous : float, optional
        The reading before, since the last part change, above 0, in the same unit.
    quantity : {"diameter", "torque", "other"}, optional
        A diameter cannot grow; a torque of 0 is a fastener that was not read, or is missing.
    low, high : float, optional
        What a reading can be at all.
    growth_allowance : float, optional
        Growth of a diameter that reading error explains, 0 or more [mm].
    expected, sigma : float, optional
        What the device's own trend expects now, and the standard deviation of one reading about it, above 0.
    unit : str, optional
        The unit of the reading as a sentence writes it, such as "mm"; a diameter or a torque tells its own.

    Returns
    -------
    str or None
        None where nothing is odd.

    Raises
    ------
    ValueError
        If the value is negative or not finite.

    Examples
    --------
    >>> implausible(2.9, 73.9, quantity="diameter", low=60, high=78)
    '2.9 mm looks like inches typed as millimetres: did you mean 73.66 mm?'
    """
    if not 0 <= value < math.inf:
        raise ValueError(f"value is {value}; give a finite number from 0 up")
    if quantity == "torque" and value == 0:
        return "The torque is 0: is the fastener missing, or was it not read?"
    unit = unit or UNITS[quantity]
    slip = slip_of(value, previous, low, high)
    if slip is not None:
        return f"{_with(figure(value), unit)} looks like {slip.words}: did you mean {_with(figure(slip.value), unit)}?"
    if quantity == "diameter" and previous is not None and value > previous + growth_allowance + SLACK:
        grown = f"{figure(value)} mm is {figure(value - previous)} mm more than the {figure(previous)} mm read before"
        return f"{grown}: was the part changed?"
    if expected is not None and sigma is not None and abs(value - expected) > MOST_SIGMA * sigma + SLACK:
        side = "below" if value < expected else "above"
        read, away, trend = (_with(figure(each), unit) for each in (value, abs(value - expected), expected))
        far = f"{read} is {away} {side} the {trend} that its own trend expects"
        return f"{far}, more than {figure(MOST_SIGMA)} times its scatter: is it read right?"
    if low is not None and value < low:
        beyond = f"{_with(_beside(value, low), unit)} is below {_with(figure(low), unit)}"
        return f"{beyond}, the least that can be: is it read right?"
    if high is not None and value > high:
        beyond = f"{_with(_beside(value, high), unit)} is above {_with(figure(high), unit)}"
        return f"{beyond}, the most that can be: is it read right?"
    return None


@dataclass(frozen=True)
class Slip:
    """What a reading would be without a usual slip, and that slip in words."""

    value: float
    words: str


def slip_of(value: float, previous: float | None, low: float | None, high: float | None) -> Slip | None:
    """The first factor that makes an impossible reading possible.

    Parameters
    ----------
    value, previous, low, high : float or None
        As for `implausible`; without bounds a value like the one before is possible.

    Returns
    -------
    Slip or None
        None where the reading is possible as it is, where nothing is known, or where no factor helps.

    Examples
    --------
    >>> slip_of(7.5, 74.0, None, None)
    Slip(value=75.0, words='a slipped decimal point')
    """
    if low is None or high is None:
        if previous is None or previous <= 0:
            return None
        low, high = previous * (1 - LIKE_BEFORE), previous * (1 + LIKE_BEFORE)
    if low <= value <= high:
        return None
    return next((Slip(value * factor, words) for factor, words in SLIPS.items() if low <= value * factor <= high), None)


def grading_rules() -> dict[str, Any]:
    """Names and numbers of all rules as plain JSON, for the page that grades while a reading is typed.

    Returns
    -------
    dict
        Grades from best to worst; for each kind its start values and the grade of each named rule.
    """
    return {
        "grades": [str(grade) for grade in Grade],
        "slack": SLACK,
        "sensor_wear": {
            "watch_share": WATCH_SHARE,
            "act_share": ACT_SHARE,
            "share": "max(0, (new_mm - diameter_mm) / (new_mm - limit_mm))",
            "rules": {
                "roller_seized": "act",
                "roller_flat_spot": "act",
                "wear_at_limit": "act",
                "wear_act": "act",
                "wear_watch": "watch",
                "wear_sound": "sound",
            },
        },
        "sensor_pair": {
            "difference_share": DIFFERENCE_SHARE,
            "share": "abs(drive_mm - off_mm) / (new_mm - limit_mm)",
            "rules": {"pair_one_sided": "watch", "pair_even": "sound"},
        },
        "pivot": {
            "share": "breakaway_n / limit_n",
            "above_limit": "one grade worse",
            "rules": {"pivot_free": "sound", "pivot_stiff": "watch", "pivot_seized": "act", "pivot_force": None},
        },
        "torque": {
            "tolerance_pct": TOLERANCE_PCT,
            "tool_deviation_pct": TOOL_DEVIATION_PCT,
            "loose_share": LOOSE_SHARE,
            "share": "as_found_nm / target_nm",
            "rules": {
                "torque_loose": "act",
                "torque_maybe_loose": "watch",
                "torque_outside": "watch",
                "torque_within": "sound",
            },
        },
        "witness_mark": {"rules": {"mark_in_line": "sound", "mark_rotated": "act"}},
        "limits": {
            "rules": {
                "limits_act_low": "act",
                "limits_act_high": "act",
                "limits_watch_low": "watch",
                "limits_watch_high": "watch",
                "limits_within": "sound",
                "limits_none": None,
            },
        },
        "offset": {
            "watch_share": OFFSET_WATCH_SHARE,
            "share": "abs(offset_mm) / permitted_mm",
            "rules": {"offset_beyond": "act", "offset_watch": "watch", "offset_within": "sound"},
        },
        "choice": {"rules": {f"choice_{grade}": str(grade) for grade in Grade}},
        "implausible": {
            "growth_allowance_mm": GROWTH_ALLOWANCE_MM,
            "like_before": LIKE_BEFORE,
            "most_sigma": MOST_SIGMA,
            "slips": [{"factor": factor, "words": words} for factor, words in SLIPS.items()],
            "units": UNITS,
        },
    }


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


def _beside(value: float, limit: float) -> str:
    """A reading that lies beyond a limit, with as many digits more as it takes to see that."""
    return figure(value) if figure(value) != figure(limit) else f"{value:.6f}".rstrip("0").rstrip(".")


def _with(said: str, unit: str) -> str:
    """A number with its unit; a plain number has none."""
    return f"{said} {unit}".rstrip()


def _percent(share: float) -> str:
    return f"{100 * share:.1f}".removesuffix(".0") + " %"
