"""What may be wrong with a device that does not steer: the usual suspects in the order in which they are asked.

Each suspect is asked of what the book already holds: the last readings, the fit-up, the hold points, the place. It
comes out as pointing to the fault, speaking against it, or open, and an open one says which look would decide it.
The order and the signs are common practice without a source: what is quickly seen and often the cause comes first.
No answer here says that a device or a belt is in order. Their words stand in `inspections/words/suspects.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from inspections.calc.grading import DIFFERENCE_SHARE, NEW_AS_NEW_H, NEW_AS_NEW_MM, SIDES
from installs.calc.clearance import Fit, PlaceLine
from installs.calc.fasteners import SLACK
from installs.calc.fit_up_lines import FitUpLine, Verdict
from plant.calc.reasons import Reason, Values

LIFT_LINES = ("wanted_lift_mm", "bracket_height_drive_mm", "bracket_height_off_mm", "level_mm")
SENSOR_LINES = ("sensor_sum_mm", "gap_drive_mm", "gap_off_mm")
SQUARE_LINES = ("square_mm", "centre_mm")


class Sign(StrEnum):
    """What is known says of one suspect."""

    POINTS = "points"
    AGAINST = "against"
    OPEN = "open"


class SuspectRule(StrEnum):
    """What the book says of a suspect."""

    NOBODY_LOOKED = "suspect.nobody_looked"
    DATED = "suspect.dated"
    DATED_NOTE = "suspect.dated_note"
    DATED_BECAUSE = "suspect.dated_because"
    ONE_SIDED = "suspect.one_sided"
    ONE_SIDED_SINCE = "suspect.one_sided_since"
    PIVOT_NOT_TRIED = "suspect.pivot_not_tried"
    AS_NEW = "suspect.as_new"
    WRONG_STRAND = "suspect.wrong_strand"
    ONE_DIRECTION = "suspect.one_direction"
    SUITS = "suspect.suits"
    WITHIN_WANTED = "suspect.within_wanted"
    NOT_MEASURED = "suspect.not_measured"
    OVERLAPS = "suspect.overlaps"
    DEVICE = "suspect.device"
    AND = "suspect.and"
    ALONE = "suspect.alone"
    WORN_THROUGH = "suspect.worn_through"
    ABOVE_LIMIT = "suspect.above_limit"


class DeviceEvent(StrEnum):
    """What happened, or was found, on a day."""

    PIVOT_FREE = "suspect.found_free"
    PIVOT_STIFF = "suspect.found_stiff"
    PIVOT_SEIZED = "suspect.found_seized"
    RESTRAINT_CONFIRMED = "suspect.restraint_confirmed"
    RESTRAINT_PASSED_OVER = "suspect.restraint_passed_over"
    TOUCHED = "suspect.touched"
    NOT_TOUCHED = "suspect.not_touched"
    LOOSE = "suspect.loose"
    GIVING_WAY = "suspect.giving_way"
    HELD = "suspect.held"
    HUNTING = "suspect.hunting"
    HELD_TO_DRIVE = "suspect.held_to_drive"
    HELD_TO_OFF = "suspect.held_to_off"
    BUILD_UP = "suspect.build_up"
    NO_BUILD_UP = "suspect.no_build_up"


@dataclass(frozen=True)
class GivenAnswer:
    """An answer or grade that a check gave, the day, and why: a note that somebody typed, or the reason of a grade."""

    value: str
    on: date
    note: str = ""
    because: Reason | None = None


@dataclass(frozen=True)
class Evidence:
    """What the book holds of one device; None or empty where nobody has looked.

    Parameters
    ----------
    pivot : GivenAnswer or None
        "free", "stiff" or "seized".
    worn_drive_mm, worn_off_mm : float or None
        Wear of each sensor roller since it was new [mm].
    left_drive_mm, left_off_mm : float or None
        Diameter above the limit, below 0 where the limit is passed [mm].
    wear_on : date or None
        Day of those diameters.
    hours_since_new : float or None
        Running hours of the rollers until then [h].
    restraint : GivenAnswer or None
        Hold point of the transport restraint: "confirmed" or "passed over".
    strand_wanted : str
        Strand that the model is made for, "" where any.
    strand : str
        Strand that it stands on.
    is_reversing, suits_reversing : bool
        Whether the belt reverses, and whether the model is made for it.
    close_by : iterable of PlaceLine
        Pulleys, loading points, scrapers and scales near the place.
    fit_up : mapping of str to fit_up_lines.Line
        Lines of the fit-up sheet by key.
    touched : GivenAnswer or None
        The last trial run or look: "touches" or "clear".
    overlapping : tuple of str
        Numbers of devices in service whose zones overlap this one's on the same strand.
    frame : GivenAnswer or None
        How the frame stood in the last trial run: "centred", "drive", "off" or "hunting".
    carry_back : GivenAnswer or None
        Test for build-up and carry-back at the place: "found" or "not_found".
    torque : GivenAnswer or None
        Grade of the fasteners when last read: "sound", "watch" or "act".
    """

    pivot: GivenAnswer | None = None
    worn_drive_mm: float | None = None
    worn_off_mm: float | None = None
    left_drive_mm: float | None = None
    left_off_mm: float | None = None
    wear_on: date | None = None
    hours_since_new: float | None = None
    restraint: GivenAnswer | None = None
    strand_wanted: str = ""
    strand: str = ""
    is_reversing: bool = False
    suits_reversing: bool = True
    close_by: tuple[PlaceLine, ...] = ()
    fit_up: Mapping[str, FitUpLine] = field(default_factory=dict)
    touched: GivenAnswer | None = None
    overlapping: tuple[str, ...] = ()
    frame: GivenAnswer | None = None
    carry_back: GivenAnswer | None = None
    torque: GivenAnswer | None = None


# What is said of a suspect: rules of its own, and lines of the fit-up sheet and of the place.
Said = Reason | FitUpLine | PlaceLine


@dataclass(frozen=True)
class Suspect:
    """One suspect: what the known says of it, and why. Its name and the look that would decide it go by its key."""

    key: str
    sign: Sign
    said: tuple[Said, ...]


Judged = tuple[Sign, tuple[Said, ...]]
UNKNOWN: Judged = (Sign.OPEN, (Reason(SuspectRule.NOBODY_LOOKED),))


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
    return tuple(Suspect(key, *ask(evidence)) for key, ask in ORDER)


def _dated(event: DeviceEvent, answer: GivenAnswer) -> Reason:
    dated: Values = {"event": event, "on": answer.on}
    if answer.because is not None:
        return Reason(SuspectRule.DATED_BECAUSE, {**dated, "because": answer.because})
    if note := answer.note.rstrip("."):
        return Reason(SuspectRule.DATED_NOTE, {**dated, "note": note})
    return Reason(SuspectRule.DATED, dated)


PIVOTS = {"free": DeviceEvent.PIVOT_FREE, "stiff": DeviceEvent.PIVOT_STIFF, "seized": DeviceEvent.PIVOT_SEIZED}


def _pivot(known: Evidence) -> Judged:
    uneven = _one_sided(known)
    if known.pivot is None:
        return (Sign.POINTS, (uneven, Reason(SuspectRule.PIVOT_NOT_TRIED))) if uneven else UNKNOWN
    said = _dated(PIVOTS[known.pivot.value], known.pivot)
    if known.pivot.value != "free":
        return Sign.POINTS, (said, uneven) if uneven else (said,)
    # A pivot that was free once may have seized since: later wear on one side says so.
    if uneven and known.wear_on is not None and known.wear_on > known.pivot.on:
        return Sign.POINTS, (said, Reason(SuspectRule.ONE_SIDED_SINCE, uneven.values))
    return Sign.AGAINST, (said,)


def _one_sided(known: Evidence) -> Reason | None:
    """Wear of one side only; None where there is none or it is not known."""
    if known.worn_drive_mm is None or known.worn_off_mm is None:
        return None
    drive, off = known.worn_drive_mm, known.worn_off_mm
    more, less = max(drive, off), min(drive, off)
    if more <= NEW_AS_NEW_MM or (more - less) / more <= DIFFERENCE_SHARE + SLACK:
        return None
    side = SIDES["drive" if drive > off else "off"]
    worn: Values = {"side": side, "more_mm": round(more, 1), "less_mm": round(max(less, 0.0), 1)}
    return Reason(SuspectRule.ONE_SIDED, worn)


def _restraint(known: Evidence) -> Judged:
    worn = [each for each in (known.worn_drive_mm, known.worn_off_mm) if each is not None]
    hours = known.hours_since_new or 0.0
    if len(worn) == 2 and max(worn) <= NEW_AS_NEW_MM and hours >= NEW_AS_NEW_H:
        return Sign.POINTS, (Reason(SuspectRule.AS_NEW, {"hours": round(hours)}),)
    if known.restraint is None:
        return UNKNOWN
    if known.restraint.value == "confirmed":
        return Sign.AGAINST, (_dated(DeviceEvent.RESTRAINT_CONFIRMED, known.restraint),)
    return Sign.OPEN, (_dated(DeviceEvent.RESTRAINT_PASSED_OVER, known.restraint),)


def _direction(known: Evidence) -> Judged:
    if known.strand_wanted and known.strand and known.strand_wanted != known.strand:
        strands = {"wanted": known.strand_wanted, "strand": known.strand}
        return Sign.POINTS, (Reason(SuspectRule.WRONG_STRAND, strands),)
    if known.is_reversing and not known.suits_reversing:
        return Sign.POINTS, (Reason(SuspectRule.ONE_DIRECTION),)
    return Sign.OPEN, (Reason(SuspectRule.SUITS),)


def _near(known: Evidence) -> Judged:
    if not known.close_by:
        return UNKNOWN
    near = tuple(each for each in known.close_by if each.fit in (Fit.DOES_NOT_FIT, Fit.CONDITION))
    return (Sign.POINTS, near) if near else (Sign.AGAINST, tuple(known.close_by))


def _lines(known: Evidence, keys: Iterable[str]) -> Judged:
    there = [known.fit_up[key] for key in keys if key in known.fit_up]
    wrong = tuple(each for each in there if each.verdict in (Verdict.OUTSIDE, Verdict.REFUSED))
    if wrong:
        return Sign.POINTS, wrong
    if any(each.verdict is Verdict.WITHIN and not each.is_start_value for each in there):
        return Sign.AGAINST, (Reason(SuspectRule.WITHIN_WANTED),)
    return Sign.OPEN, (Reason(SuspectRule.NOT_MEASURED),)


def _lift(known: Evidence) -> Judged:
    return _lines(known, LIFT_LINES)


def _fouls(known: Evidence) -> Judged:
    if known.touched is None:
        return UNKNOWN
    if known.touched.value == "touches":
        return Sign.POINTS, (_dated(DeviceEvent.TOUCHED, known.touched),)
    return Sign.AGAINST, (_dated(DeviceEvent.NOT_TOUCHED, known.touched),)


def _sensors(known: Evidence) -> Judged:
    return _lines(known, SENSOR_LINES)


def _square(known: Evidence) -> Judged:
    if known.torque is not None and known.torque.value == "act":
        return Sign.POINTS, (_dated(DeviceEvent.LOOSE, known.torque),)
    sign, said = _lines(known, SQUARE_LINES)
    if sign is not Sign.POINTS and known.torque is not None and known.torque.value == "watch":
        return Sign.OPEN, (_dated(DeviceEvent.GIVING_WAY, known.torque),)
    if sign is Sign.AGAINST and known.torque is not None:
        return sign, (*said, _dated(DeviceEvent.HELD, known.torque))
    return sign, said


def _each_other(known: Evidence) -> Judged:
    if not known.overlapping:
        return Sign.AGAINST, (Reason(SuspectRule.ALONE),)
    first, *others = (Reason(SuspectRule.DEVICE, {"device": number}) for number in known.overlapping)
    for each in others:
        first = Reason(SuspectRule.AND, {"one": first, "other": each})
    said = Reason(SuspectRule.OVERLAPS, {"devices": first})
    if known.frame is not None and known.frame.value == "hunting":
        return Sign.POINTS, (said, _dated(DeviceEvent.HUNTING, known.frame))
    return Sign.POINTS, (said,)


def _arm(known: Evidence) -> Judged:
    if known.frame is not None and known.frame.value in ("drive", "off"):
        event = DeviceEvent.HELD_TO_DRIVE if known.frame.value == "drive" else DeviceEvent.HELD_TO_OFF
        return Sign.POINTS, (_dated(event, known.frame),)
    return UNKNOWN


def _crown(known: Evidence) -> Judged:
    if known.carry_back is None:
        return UNKNOWN
    if known.carry_back.value == "found":
        return Sign.POINTS, (_dated(DeviceEvent.BUILD_UP, known.carry_back),)
    return Sign.AGAINST, (_dated(DeviceEvent.NO_BUILD_UP, known.carry_back),)


def _worn_through(known: Evidence) -> Judged:
    left = [each for each in (known.left_drive_mm, known.left_off_mm) if each is not None]
    if not left or known.wear_on is None:
        return UNKNOWN
    on = known.wear_on
    if min(left) <= 0:
        return Sign.POINTS, (Reason(SuspectRule.WORN_THROUGH, {"on": on}),)
    return Sign.AGAINST, (Reason(SuspectRule.ABOVE_LIMIT, {"left_mm": round(min(left), 1), "on": on}),)


ORDER: tuple[tuple[str, Callable[[Evidence], Judged]], ...] = (
    ("pivot", _pivot),
    ("restraint", _restraint),
    ("direction", _direction),
    ("near", _near),
    ("lift", _lift),
    ("fouls", _fouls),
    ("sensors", _sensors),
    ("square", _square),
    ("each-other", _each_other),
    ("arm", _arm),
    ("crown", _crown),
    ("worn", _worn_through),
)
