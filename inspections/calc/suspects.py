"""What may be wrong with a device that does not steer: the usual suspects in the order in which they are asked.

Each suspect is asked of what the book already holds: the last readings, the fit-up, the hold points, the place. It
comes out as pointing to the fault, speaking against it, or open, and an open one says which look would decide it.
The order and the signs are common practice without a source: what is quickly seen and often the cause comes first.
No answer here says that a device or a belt is in order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from inspections.calc.grading import DIFFERENCE_SHARE, NEW_AS_NEW_H, NEW_AS_NEW_MM
from installs.calc.fasteners import SLACK
from installs.calc.fit_up import Line as FitUpLine
from installs.calc.fit_up import Verdict
from installs.calc.placement import Fit
from installs.calc.placement import Line as PlaceLine

LIFT_LINES = ("wanted_lift_mm", "bracket_height_drive_mm", "bracket_height_off_mm", "level_mm")
SENSOR_LINES = ("sensor_sum_mm", "gap_drive_mm", "gap_off_mm")
SQUARE_LINES = ("square_mm", "centre_mm")


class Sign(StrEnum):
    """What is known says of one suspect."""

    POINTS = "points"
    AGAINST = "against"
    OPEN = "open"


@dataclass(frozen=True)
class Answer:
    """An answer or grade that a check gave, the words behind it, and the day."""

    value: str
    on: date
    words: str = ""


@dataclass(frozen=True)
class Evidence:
    """What the book holds of one device; None or empty where nobody has looked.

    Parameters
    ----------
    pivot : Answer or None
        "free", "stiff" or "seized".
    worn_drive_mm, worn_off_mm : float or None
        Wear of each sensor roller since it was new [mm].
    left_drive_mm, left_off_mm : float or None
        Diameter above the limit, below 0 where the limit is passed [mm].
    wear_on : date or None
        Day of those diameters.
    hours_since_new : float or None
        Running hours of the rollers until then [h].
    restraint : Answer or None
        Hold point of the transport restraint: "confirmed" or "passed over".
    strand_wanted : str
        Strand that the model is made for, "" where any.
    strand : str
        Strand that it stands on.
    is_reversing, suits_reversing : bool
        Whether the belt reverses, and whether the model is made for it.
    close_by : iterable of placement.Line
        Pulleys, loading points, scrapers and scales near the place.
    fit_up : mapping of str to fit_up.Line
        Lines of the fit-up sheet by key.
    touched : Answer or None
        The last trial run or look: "touches" or "clear".
    overlapping : tuple of str
        Names of devices in service whose zones overlap this one's on the same strand.
    frame : Answer or None
        How the frame stood in the last trial run: "centred", "drive", "off" or "hunting".
    carry_back : Answer or None
        Test for build-up and carry-back at the place: "found" or "not_found".
    torque : Answer or None
        Grade of the fasteners when last read: "sound", "watch" or "act".
    """

    pivot: Answer | None = None
    worn_drive_mm: float | None = None
    worn_off_mm: float | None = None
    left_drive_mm: float | None = None
    left_off_mm: float | None = None
    wear_on: date | None = None
    hours_since_new: float | None = None
    restraint: Answer | None = None
    strand_wanted: str = ""
    strand: str = ""
    is_reversing: bool = False
    suits_reversing: bool = True
    close_by: tuple[PlaceLine, ...] = ()
    fit_up: Mapping[str, FitUpLine] = field(default_factory=dict)
    touched: Answer | None = None
    overlapping: tuple[str, ...] = ()
    frame: Answer | None = None
    carry_back: Answer | None = None
    torque: Answer | None = None


@dataclass(frozen=True)
class Suspect:
    """One suspect: its name, what is known says of it, that in words, and the look that would decide it."""

    key: str
    name: str
    sign: Sign
    words: str
    look: str


Judged = tuple[Sign, str]
UNKNOWN: Judged = (Sign.OPEN, "Nobody has looked yet.")


def suspects(evidence: Evidence) -> tuple[Suspect, ...]:
    """Every suspect in the order in which it is asked.

    Parameters
    ----------
    evidence : Evidence
        What the book holds.

    Returns
    -------
    tuple of Suspect
        Always all of them, in the same order: common practice, no source.
    """
    return tuple(Suspect(key, name, *ask(evidence), look) for key, name, ask, look in ORDER)


def _dated(words: str, answer: Answer) -> str:
    said = f"{words} on {answer.on.isoformat()}"
    return f"{said}: {answer.words.rstrip('.')}." if answer.words else f"{said}."


def _pivot(known: Evidence) -> Judged:
    uneven = _one_sided(known)
    if known.pivot is None:
        return (Sign.POINTS, f"{uneven} The pivot itself was not tried.") if uneven else UNKNOWN
    said = _dated(f"Found {known.pivot.value}", known.pivot)
    if known.pivot.value != "free":
        return Sign.POINTS, f"{said} {uneven}".strip()
    # A pivot that was free once may have seized since: later wear on one side says so.
    if uneven and known.wear_on is not None and known.wear_on > known.pivot.on:
        return Sign.POINTS, f"{said} Since then: {uneven[0].lower()}{uneven[1:]}"
    return Sign.AGAINST, said


def _one_sided(known: Evidence) -> str:
    """Words on wear of one side only; "" where there is none or it is not known."""
    if known.worn_drive_mm is None or known.worn_off_mm is None:
        return ""
    drive, off = known.worn_drive_mm, known.worn_off_mm
    more, less = max(drive, off), min(drive, off)
    if more <= NEW_AS_NEW_MM or (more - less) / more <= DIFFERENCE_SHARE + SLACK:
        return ""
    side = "drive side" if drive > off else "off side"
    return f"The {side} is worn by {more:.1f} mm, the other by {max(less, 0.0):.1f} mm."


def _restraint(known: Evidence) -> Judged:
    worn = [each for each in (known.worn_drive_mm, known.worn_off_mm) if each is not None]
    untouched = len(worn) == 2 and max(worn) <= NEW_AS_NEW_MM and (known.hours_since_new or 0.0) >= NEW_AS_NEW_H
    if untouched:
        return Sign.POINTS, (
            f"Both sensor rollers are as new after {known.hours_since_new:.0f} running hours: the frame may not move, "
            "or the belt never reaches it."
        )
    if known.restraint is None:
        return UNKNOWN
    if known.restraint.value == "confirmed":
        return Sign.AGAINST, _dated("Its removal was confirmed", known.restraint)
    return Sign.OPEN, _dated("The hold point was passed over", known.restraint)


def _direction(known: Evidence) -> Judged:
    if known.strand_wanted and known.strand and known.strand_wanted != known.strand:
        return Sign.POINTS, f"The model is made for the {known.strand_wanted} strand; it stands on the {known.strand}."
    if known.is_reversing and not known.suits_reversing:
        return Sign.POINTS, "The belt reverses and the model is made for one direction."
    return Sign.OPEN, "The model suits strand and direction; whether it is mounted mirrored shows only at the belt."


def _near(known: Evidence) -> Judged:
    if not known.close_by:
        return UNKNOWN
    near = [each.words for each in known.close_by if each.fit in (Fit.DOES_NOT_FIT, Fit.CONDITION)]
    if near:
        return Sign.POINTS, " ".join(near)
    return Sign.AGAINST, " ".join(each.words[0].upper() + each.words[1:] for each in known.close_by)


def _lines(known: Evidence, keys: Iterable[str]) -> Judged:
    there = [known.fit_up[key] for key in keys if key in known.fit_up]
    wrong = [each for each in there if each.verdict in (Verdict.OUTSIDE, Verdict.REFUSED)]
    if wrong:
        return Sign.POINTS, " ".join(f"{each.label}: {each.words or 'outside'}" for each in wrong)
    if any(each.verdict is Verdict.WITHIN and not each.is_start_value for each in there):
        return Sign.AGAINST, "Within what is wanted when it was fitted."
    return Sign.OPEN, "Not measured when it was fitted."


def _lift(known: Evidence) -> Judged:
    return _lines(known, LIFT_LINES)


def _fouls(known: Evidence) -> Judged:
    if known.touched is None:
        return UNKNOWN
    if known.touched.value == "touches":
        return Sign.POINTS, _dated("It touched something", known.touched)
    return Sign.AGAINST, _dated("Nothing was touched", known.touched)


def _sensors(known: Evidence) -> Judged:
    return _lines(known, SENSOR_LINES)


def _square(known: Evidence) -> Judged:
    if known.torque is not None and known.torque.value == "act":
        return Sign.POINTS, _dated("Fasteners were found loose", known.torque)
    sign, words = _lines(known, SQUARE_LINES)
    if sign is not Sign.POINTS and known.torque is not None and known.torque.value == "watch":
        return Sign.OPEN, _dated("Fasteners had begun to give way", known.torque)
    if sign is Sign.AGAINST and known.torque is not None:
        return sign, f"{words} {_dated('The fasteners held', known.torque)}"
    return sign, words


def _each_other(known: Evidence) -> Judged:
    hunts = known.frame is not None and known.frame.value == "hunting"
    if known.overlapping:
        names = " and ".join(known.overlapping)
        more = f" {_dated('The frame swung to and fro', known.frame)}" if hunts and known.frame else ""
        return Sign.POINTS, f"Its zone overlaps that of {names}.{more}"
    return Sign.AGAINST, "No other device steers the same stretch."


def _arm(known: Evidence) -> Judged:
    if known.frame is not None and known.frame.value in ("drive", "off"):
        return Sign.POINTS, _dated(f"The frame was held towards the {known.frame.value} side", known.frame)
    return UNKNOWN


def _crown(known: Evidence) -> Judged:
    if known.carry_back is None:
        return UNKNOWN
    if known.carry_back.value == "found":
        return Sign.POINTS, _dated("Build-up was found at the place", known.carry_back)
    return Sign.AGAINST, _dated("No build-up was found at the place", known.carry_back)


def _worn_through(known: Evidence) -> Judged:
    left = [each for each in (known.left_drive_mm, known.left_off_mm) if each is not None]
    if not left or known.wear_on is None:
        return UNKNOWN
    on = known.wear_on.isoformat()
    if min(left) <= 0:
        return Sign.POINTS, f"A sensor roller was at or below its limit on {on}."
    return Sign.AGAINST, f"At least {min(left):.1f} mm above the limit on {on}."


ORDER: tuple[tuple[str, str, Callable[[Evidence], Judged], str], ...] = (
    ("pivot", "seized or stiff pivot", _pivot, "Lock out first; swing the frame through its whole range."),
    ("restraint", "transport restraint left in", _restraint, "Look for the strap or pin; is either sensor worn?"),
    ("direction", "mirrored, or wrong for the direction", _direction,
     "Compare with the maker's drawing for this strand and direction of travel."),
    ("near", "too near a pulley, loading point or scraper", _near, "Measure from the pulley's centre."),
    ("lift", "too little or too much lift of the belt", _lift,
     "Measure both bracket heights from one datum; at too little the roll has no grip, at too much the edge lifts."),
    ("fouls", "fouls structure at full tilt", _fouls, "Lock out first; swing to full tilt, look for touch marks."),
    ("sensors", "sensors too tight or too wide", _sensors, "Measure clear distance and belt width here."),
    ("square", "frame shifted or skewed, fasteners loose", _square,
     "Read the torque as found, then square both brackets from one fixed line."),
    ("each-other", "two devices that correct each other", _each_other,
     "Watch several revolutions from the walkway: does the swing last longer than one?"),
    ("arm", "sensor arm bent", _arm, "Lock out first; compare both arms side by side."),
    ("crown", "carry-back built up on the steering roll", _crown, "Lock out first; look for a crown; see the scraper."),
    ("worn", "sensor worn through to its bearing", _worn_through, "Measure both diameters."),
)  # fmt: skip
