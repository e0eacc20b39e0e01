"""Fit-up of a tracking device: what was measured, what is wanted, how far apart they may lie, and what to move.

1. **Extension.** The frame sits between two brackets. Spacing less frame less end play, shared equally, is the
   extension of each side. Unequal extension puts the pivot off the centre line by half the difference.
2. **Squareness.** Three ways: the same line along both stringers; one point on the centre line; diagonals between two
   parallel bracket pairs. Skew is positive where the off-side bracket lies further from the reference.
3. **Centring.** Frame to bracket on both sides; the frame moves by half the difference.
4. **Height.** Belt underside, lift and the drop from bracket to roller top give the height of each bracket.
5. **Sensors.** Clear distance less belt width is the sum of both gaps wherever the belt lies. A rule that looks at each
   gap alone would call a well-set device wrong, so the sum decides and each gap is judged for where the belt lies.

The model's own figure comes first; where it gives none, the start value is common practice without a source and the
line says so. What the arithmetic needs and nobody stated is "not stated". A number that cannot be is refused with the
arithmetic that says so. On a limit is inside it. All lengths in mm, angles in degrees.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from enum import StrEnum

from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.calc.wording import figure

# A tape reads to about 1 mm; lengths closer to a limit than this lie on it.
SLACK_MM = 1e-6

# Common practice, no source: start values where the model states nothing [mm].
END_PLAY_MM = 13.0
END_PLAY_LEAST_MM = 6.0
END_PLAY_MOST_MM = 19.0
EXTENSION_TOLERANCE_MM = 3.0
SQUARE_WITHIN_MM = 3.0
CENTRE_WITHIN_MM = 3.0
LIFT_MM = 13.0
HEIGHT_TOLERANCE_MM = 3.0
SENSOR_GAP_MM = 19.0
SENSOR_GAP_TOLERANCE_MM = 6.0
# Sums of tape readings that should agree: common practice, no source.
TAPE_AGREES_WITHIN_MM = 3.0
BELT_WIDTH_AGREES_WITHIN = 0.02
# A fixed point nearer than this many bracket spacings makes a small error of the point look like skew.
LEAST_REFERENCE_SPACINGS = 1.5
# A point off the centre line by this much is easily overlooked [mm].
POINT_OFF_MM = 5.0

_NEIGHBOUR = re.compile(r"\b(idlers?|rollers?|neighbou?r\w*)\b", re.IGNORECASE)


class Verdict(StrEnum):
    """How a line of the sheet stands."""

    WITHIN = "within"
    OUTSIDE = "outside"
    REFUSED = "refused"
    OPEN = "open"
    NOT_STATED = "not_stated"


class Source(StrEnum):
    """Where the wanted value comes from."""

    MODEL = "model"
    PRACTICE = "practice"
    CHOSEN = "chosen"
    ARITHMETIC = "arithmetic"
    NONE = "none"


class Way(StrEnum):
    """How squareness was measured."""

    PARALLEL = "parallel"
    CENTRE_POINT = "centre_point"
    DIAGONALS = "diagonals"


SOURCE_WORDS = {
    Source.MODEL: "from the model",
    Source.PRACTICE: "common practice",
    Source.CHOSEN: "chosen here",
    Source.ARITHMETIC: "from the measures",
    Source.NONE: "",
}


@dataclass(frozen=True)
class ModelFigures:
    """What the device model states [mm]; None where it states nothing."""

    frame_length_least_mm: float | None = None
    frame_length_most_mm: float | None = None
    extension_most_mm: float | None = None
    end_play_least_mm: float | None = None
    end_play_most_mm: float | None = None
    roller_drop_mm: float | None = None
    belt_lift_least_mm: float | None = None
    belt_lift_most_mm: float | None = None
    sensor_gap_mm: float | None = None
    sensor_gap_tolerance_mm: float | None = None
    sensor_gap_sum_mm: float | None = None

    def __post_init__(self) -> None:
        _check_lengths(self)


@dataclass(frozen=True)
class Measures:
    """What the tape said [mm]; None where nothing was measured. Sides are drive side and off side."""

    bracket_spacing_mm: float | None = None
    frame_length_mm: float | None = None
    end_play_mm: float | None = None
    extension_drive_mm: float | None = None
    extension_off_mm: float | None = None
    end_play_left_mm: float | None = None
    squareness_way: str = ""
    square_reference: str = ""
    reference_was_checked: bool = False
    reference_distance_mm: float | None = None
    square_drive_mm: float | None = None
    square_off_mm: float | None = None
    centre_drive_mm: float | None = None
    centre_off_mm: float | None = None
    belt_mark_drive_mm: float | None = None
    belt_mark_off_mm: float | None = None
    wanted_lift_mm: float | None = None
    bracket_height_drive_mm: float | None = None
    bracket_height_off_mm: float | None = None
    belt_width_mm: float | None = None
    sensor_clear_mm: float | None = None
    belt_lies_to: str = ""
    belt_off_by_mm: float | None = None
    gap_drive_mm: float | None = None
    gap_off_mm: float | None = None

    def __post_init__(self) -> None:
        _check_lengths(self)
        for name in ("bracket_spacing_mm", "frame_length_mm", "belt_width_mm", "sensor_clear_mm"):
            if getattr(self, name) == 0:
                raise ValueError(f"{name} is 0 mm; give a length above 0 mm, or leave it out")
        if self.squareness_way and self.squareness_way not in set(Way):
            raise ValueError(
                f"squareness_way is {self.squareness_way!r}; give one of {', '.join(Way)}, or leave it out"
            )
        if self.belt_lies_to not in ("", "drive", "off"):
            raise ValueError(f"belt_lies_to is {self.belt_lies_to!r}; give drive or off, or leave it out")

    @property
    def mirrored(self) -> Measures:
        """The same place seen from the other side."""
        swapped: dict[str, float | str | bool | None] = {}
        for each in fields(self):
            name = each.name
            other = name.replace("_drive_mm", "_OFF_mm").replace("_off_mm", "_drive_mm").replace("_OFF_mm", "_off_mm")
            swapped[other] = getattr(self, name)
        swapped["belt_lies_to"] = {"drive": "off", "off": "drive"}.get(self.belt_lies_to, self.belt_lies_to)
        return Measures(**swapped)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Line:
    """One line of the sheet.

    `measured`, `wanted`, `low` and `high` in mm; None where not known.
    `words` hold the arithmetic, `to_do` what to move; both empty where there is nothing to say.
    `is_start_value`: what stands as measured was chosen by nobody, it is what the work begins from.
    """

    key: str
    section: str
    label: str
    measured: float | None
    wanted: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    source: Source = Source.NONE
    words: str = ""
    to_do: str = ""
    is_start_value: bool = False


@dataclass(frozen=True)
class FitUpResult:
    """The sheet worked out: its lines in order, and warnings about how it was measured."""

    lines: tuple[Line, ...]
    warnings: tuple[str, ...]

    def line(self, key: str) -> Line:
        """The line of one key; KeyError where there is none."""
        for each in self.lines:
            if each.key == key:
                return each
        raise KeyError(key)

    @property
    def refused(self) -> tuple[Line, ...]:
        """Lines with numbers that cannot be."""
        return tuple(each for each in self.lines if each.verdict is Verdict.REFUSED)

    @property
    def to_do(self) -> tuple[str, ...]:
        """What to move, in the order of the sheet, each once."""
        return tuple(dict.fromkeys(each.to_do for each in self.lines if each.to_do))

    def count(self, verdict: Verdict) -> int:
        """How many lines stand so."""
        return sum(each.verdict is verdict for each in self.lines)

    @property
    def is_done(self) -> bool:
        """Every line is measured and within."""
        return all(each.verdict is Verdict.WITHIN for each in self.lines)

    @property
    def summary(self) -> str:
        """One sentence on how the fit-up stands."""
        if all(each.measured is None or each.is_start_value for each in self.lines):
            return "No line is measured yet."
        said = [f"{self.count(Verdict.WITHIN)} of {len(self.lines)} lines within tolerance"]
        for verdict, words in (
            (Verdict.OUTSIDE, "outside"),
            (Verdict.REFUSED, "not possible"),
            (Verdict.OPEN, "not measured"),
            (Verdict.NOT_STATED, "not stated"),
        ):
            if self.count(verdict):
                said.append(f"{self.count(verdict)} {words}")
        return ", ".join(said) + "."


# --- the arithmetic, each piece by itself ---------------------------------------------------------------------------


def extension_each_side(spacing_mm: float, end_play_mm: float, frame_mm: float) -> float:
    """Extension of each side: (spacing - end play in total - frame) / 2.

    Parameters
    ----------
    spacing_mm, end_play_mm, frame_mm : float
        Between the brackets, in total, and of the frame [mm].

    Returns
    -------
    float
        Extension [mm]; negative where the frame is too long for the place.

    Examples
    --------
    >>> extension_each_side(1640, 13, 1505)
    61.0
    """
    return (spacing_mm - end_play_mm - frame_mm) / 2


def frame_set_to(frame_mm: float, each_side_mm: float) -> float:
    """Length over all to which a frame is drawn out: the frame with its extension on both sides.

    Parameters
    ----------
    frame_mm, each_side_mm : float
        Frame and extension of each side [mm].

    Returns
    -------
    float
        frame + 2 * each side [mm]: the spacing less the end play.

    Examples
    --------
    >>> frame_set_to(1505, 61)
    1627
    """
    return frame_mm + 2 * each_side_mm


def half_difference(drive_mm: float, off_mm: float) -> float:
    """What to move so that two sides become equal: half their difference, positive towards the drive side.

    Parameters
    ----------
    drive_mm, off_mm : float
        Measured on the drive side and on the off side [mm].

    Returns
    -------
    float
        (drive - off) / 2 [mm].

    Examples
    --------
    >>> half_difference(40, 36)
    2.0
    """
    return (drive_mm - off_mm) / 2


def run_out(
    way: Way, drive_mm: float, off_mm: float, spacing_mm: float, *, reference_distance_mm: float | None = None
) -> float:
    """How much further along the belt the off-side bracket lies than the drive-side one.

    Parameters
    ----------
    way : Way
        PARALLEL: the distances run along both stringers from one square line. CENTRE_POINT: both run from one point on
        the belt's centre line. DIAGONALS: between two parallel bracket pairs, each named by the bracket of this device
        at its end.
    drive_mm, off_mm : float
        Distance to the drive-side and to the off-side bracket, above 0 [mm].
    spacing_mm : float
        Between the brackets, above 0 [mm].
    reference_distance_mm : float, optional
        L, along the belt from the point, or between the pairs, above 0 [mm]. Left out with CENTRE_POINT or DIAGONALS it
        follows from the three other lengths.

    Returns
    -------
    float
        s sin(skew) [mm], positive where the off-side bracket lies further. PARALLEL: off - drive. CENTRE_POINT:
        (off^2 - drive^2) / (2 L). DIAGONALS: (off^2 - drive^2) / (4 L).

    Raises
    ------
    ValueError
        If the lengths make no triangle.

    References
    ----------
    Law of cosines; the fit-up sheet of common practice takes off - drive for all three.

    Examples
    --------
    >>> round(run_out(Way.CENTRE_POINT, 3138, 3146, 1830, reference_distance_mm=3000), 3)
    8.379
    """
    if way is Way.PARALLEL:
        return off_mm - drive_mm
    length = reference_distance_mm or implied_distance(way, drive_mm, off_mm, spacing_mm)
    return (off_mm**2 - drive_mm**2) / ((2 if way is Way.CENTRE_POINT else 4) * length)


def implied_distance(way: Way, drive_mm: float, off_mm: float, spacing_mm: float) -> float:
    """The distance along the belt that both measures and the spacing tell.

    Parameters
    ----------
    way : Way
        CENTRE_POINT or DIAGONALS.
    drive_mm, off_mm, spacing_mm : float
        As in `run_out`, above 0 [mm].

    Returns
    -------
    float
        sqrt((drive^2 + off^2) / 2 - s^2 / 4) from a point, with s^2 in place of s^2 / 4 for diagonals [mm].

    Raises
    ------
    ValueError
        If the measures are too short for the spacing.

    Examples
    --------
    >>> implied_distance(Way.CENTRE_POINT, 50, 50, 60)
    40.0
    """
    across = spacing_mm**2 / (4 if way is Way.CENTRE_POINT else 1)
    square = (drive_mm**2 + off_mm**2) / 2 - across
    if square <= 0:
        raise ValueError(
            f"square_drive_mm is {drive_mm:g} mm and square_off_mm {off_mm:g} mm; from there the brackets cannot lie "
            f"{spacing_mm:g} mm apart: read the tape again"
        )
    return math.sqrt(square)


def skew_deg(run_out_mm: float, spacing_mm: float) -> float:
    """Skew of the device from the run-out over the bracket spacing: asin(run-out / s).

    Parameters
    ----------
    run_out_mm : float
        As `run_out` gives it [mm].
    spacing_mm : float
        From bracket to bracket, above 0 [mm].

    Returns
    -------
    float
        Skew [deg], positive where the off-side bracket lies further.

    Raises
    ------
    ValueError
        If the run-out is larger than the spacing.

    Examples
    --------
    >>> round(skew_deg(3, 1830), 2)
    0.09
    """
    if not 0 < spacing_mm < math.inf or not abs(run_out_mm) <= spacing_mm:
        raise ValueError(
            f"run_out_mm is {run_out_mm:g} mm over a spacing of {spacing_mm:g} mm; one bracket cannot lie further "
            "ahead than they lie apart: read the tape again"
        )
    return math.degrees(math.asin(run_out_mm / spacing_mm))


def bracket_height(belt_underside_mm: float, lift_mm: float, drop_mm: float) -> float:
    """Height of a bracket for a wanted lift: belt underside + lift + drop from bracket to roller top.

    Parameters
    ----------
    belt_underside_mm : float
        Reference mark: underside of the belt held flat and level, above the datum [mm].
    lift_mm : float
        By how much the roller lifts the belt [mm].
    drop_mm : float
        From the bracket down to the top of the roller [mm].

    Returns
    -------
    float
        Height above the same datum [mm].

    Examples
    --------
    >>> bracket_height(850, 12.7, 120)
    982.7
    """
    return belt_underside_mm + lift_mm + drop_mm


def gaps_for(sum_mm: float, off_centre_mm: float) -> tuple[float, float]:
    """Sensor gaps for a belt that lies off centre: near and far side; their sum does not change.

    Parameters
    ----------
    sum_mm : float
        Sum of both gaps: clear distance between the sensors less belt width, 0 or more [mm].
    off_centre_mm : float
        By how much the belt lies towards the near side, 0 or more [mm].

    Returns
    -------
    tuple of float
        near, far [mm].

    Raises
    ------
    ValueError
        If the belt would lie inside the sensor.

    Examples
    --------
    >>> gaps_for(38, 19)
    (0.0, 38.0)
    """
    if off_centre_mm > sum_mm / 2 + SLACK_MM:
        raise ValueError(
            f"off_centre_mm is {off_centre_mm:g} mm; the belt would lie inside the sensor: offset greater than the "
            f"centred gap of {sum_mm / 2:g} mm"
        )
    return max(0.0, sum_mm / 2 - off_centre_mm), sum_mm / 2 + off_centre_mm


def adjusted(drive_mm: float, off_mm: float, in_on_drive_mm: float) -> tuple[float, float]:
    """Both sides after an adjustment: in on one side, out on the other by the same amount.

    Parameters
    ----------
    drive_mm, off_mm : float
        Before, 0 or more [mm].
    in_on_drive_mm : float
        In on the drive side; negative: in on the off side [mm].

    Returns
    -------
    tuple of float
        drive, off afterwards [mm]; their sum is unchanged.

    Raises
    ------
    ValueError
        If a side has less than it would lose.

    Examples
    --------
    >>> adjusted(19, 19, 9)
    (10, 28)
    """
    after = drive_mm - in_on_drive_mm, off_mm + in_on_drive_mm
    if min(after) < -SLACK_MM:
        least = drive_mm if in_on_drive_mm > 0 else off_mm
        raise ValueError(
            f"in_on_drive_mm is {in_on_drive_mm:g} mm; that side has only {least:g} mm: give at most {least:g} mm"
        )
    return after


# --- the sheet ------------------------------------------------------------------------------------------------------


def judge_fit_up(
    measures: Measures,
    model: ModelFigures,
    *,
    system: UnitSystem = UnitSystem.METRIC,
    nominal_belt_width_mm: float | None = None,
) -> FitUpResult:
    """Every line of the fit-up sheet: measured, wanted, tolerance, verdict, and the arithmetic in words.

    Parameters
    ----------
    measures : Measures
        What was measured so far.
    model : ModelFigures
        What the device model states.
    system : UnitSystem, optional
        Units of the words; numbers stay in mm and degrees and verdicts do not depend on it.
    nominal_belt_width_mm : float, optional
        The belt's width in the book, for a warning where the tape disagrees [mm].

    Returns
    -------
    FitUpResult
        Lines in the order of the work; warnings.

    References
    ----------
    Elementary geometry. Start values where the model states none: common practice, no source.

    Examples
    --------
    >>> result = judge_fit_up(Measures(bracket_spacing_mm=1640, frame_length_mm=1505), ModelFigures())
    >>> line = result.line("extension_drive_mm")
    >>> line.wanted, line.words.split(". ")[0]
    (61.0, '(1640 mm spacing − 13 mm end play − 1505 mm frame) / 2 = 61 mm each side')
    """
    sheet = _Sheet(measures, model, UnitSystem(system), nominal_belt_width_mm)
    lines = (*sheet.extension(), *sheet.squareness(), *sheet.centring(), *sheet.height(), *sheet.sensors())
    return FitUpResult(lines, tuple(sheet.warnings()))


@dataclass(frozen=True)
class _Sheet:
    """One sheet being judged; each method gives the lines of one section."""

    m: Measures
    model: ModelFigures
    system: UnitSystem
    nominal_belt_width_mm: float | None

    def mm(self, value: float | None) -> str:
        return format_quantity(value, QuantityKind.LENGTH_MM, self.system)

    def towards(self, move_mm: float) -> str:
        return f"{self.mm(abs(move_mm))} towards the {'drive' if move_mm > 0 else 'off'} side"

    # -- extension

    def end_play(self) -> tuple[float, float, float, Source]:
        """Wanted, least and most end play in total, and where they come from."""
        least, most = self.model.end_play_least_mm, self.model.end_play_most_mm
        stated = least is not None or most is not None
        if not stated:
            least, most = END_PLAY_LEAST_MM, END_PLAY_MOST_MM
        low = least if least is not None else min(END_PLAY_LEAST_MM, most if most is not None else END_PLAY_LEAST_MM)
        high = most if most is not None else max(END_PLAY_MOST_MM, low)
        if self.m.end_play_mm is not None:
            return self.m.end_play_mm, low, high, Source.CHOSEN
        wanted = END_PLAY_MM if low <= END_PLAY_MM <= high else (low + high) / 2
        return wanted, low, high, Source.MODEL if stated else Source.PRACTICE

    def extension(self) -> Iterator[Line]:
        yield self.frame_line()
        play, low, high, source = self.end_play()
        yield self.line(
            "end_play_mm", "extension", "End play in total, wanted", play, None, low, high, self.play_source,
            is_start_value=self.m.end_play_mm is None,
        )  # fmt: skip
        wanted, words, refusal = self.wanted_extension(play)
        tolerance = EXTENSION_TOLERANCE_MM
        for side in ("drive", "off"):
            key = f"extension_{side}_mm"
            measured = getattr(self.m, key)
            limit = self.model.extension_most_mm
            if measured is not None and limit is not None and measured > limit + SLACK_MM:
                beyond = f"{self.mm(measured)} is above the model's largest extension of {self.mm(limit)}"
                beyond += ": too little engagement."
                yield Line(
                    key, "extension", f"Extension, {side} side", measured, wanted, None, None,
                    Verdict.REFUSED, Source.ARITHMETIC, beyond,
                )  # fmt: skip
                continue
            if wanted is None:
                yield Line(
                    key, "extension", f"Extension, {side} side", measured, None, None, None,
                    Verdict.OPEN, Source.NONE, words,
                )  # fmt: skip
                continue
            if refusal:
                yield Line(
                    key, "extension", f"Extension, {side} side", measured, wanted, None, None,
                    Verdict.REFUSED, Source.ARITHMETIC, refusal,
                )  # fmt: skip
                continue
            yield self.line(
                key, "extension", f"Extension, {side} side", measured, wanted, wanted - tolerance, wanted + tolerance,
                Source.ARITHMETIC, words,
            )  # fmt: skip
        yield self.pivot_line()
        yield self.play_from_measures(low, high)
        yield self.line(
            "end_play_left_mm", "extension", "End play in total, after tightening", self.m.end_play_left_mm, play,
            low, high, source, "Brackets walk when bolts pull up: measured again after tightening.",
        )  # fmt: skip

    @property
    def play_source(self) -> Source:
        stated = self.model.end_play_least_mm is not None or self.model.end_play_most_mm is not None
        return Source.MODEL if stated else Source.PRACTICE

    def frame_line(self) -> Line:
        frame, spacing = self.m.frame_length_mm, self.m.bracket_spacing_mm
        low, high = self.model.frame_length_least_mm, self.model.frame_length_most_mm
        label = "Frame length"
        if frame is not None and spacing is not None and frame > spacing + SLACK_MM:
            words = (
                f"{self.mm(frame)} frame − {self.mm(spacing)} spacing = {self.mm(frame - spacing)}: the frame is "
                "longer than the space between the brackets."
            )
            return Line(
                "frame_length_mm", "extension", label, frame, None, low, high, Verdict.REFUSED, Source.MODEL, words
            )
        if low is None and high is None:
            return Line(
                "frame_length_mm", "extension", label, frame, None, None, None,
                Verdict.NOT_STATED, Source.NONE, "The model states no range of frame lengths.",
            )  # fmt: skip
        return self.line("frame_length_mm", "extension", label, frame, None, low, high, Source.MODEL)

    def wanted_extension(self, play: float) -> tuple[float | None, str, str]:
        """Wanted extension, its arithmetic, and why it cannot be (or nothing)."""
        spacing, frame = self.m.bracket_spacing_mm, self.m.frame_length_mm
        if spacing is None or frame is None:
            missing = [name for name, each in (("bracket spacing", spacing), ("frame length", frame)) if each is None]
            return None, f"Needs the {' and the '.join(missing)}.", ""
        wanted = extension_each_side(spacing, play, frame)
        words = (
            f"({self.mm(spacing)} spacing − {self.mm(play)} end play − {self.mm(frame)} frame) / 2 = "
            f"{self.mm(wanted)} each side."
        )
        if wanted < -SLACK_MM:
            return wanted, words, f"{words} Negative: the frame is too long for the place."
        limit = self.model.extension_most_mm
        if limit is not None and wanted > limit + SLACK_MM:
            return (
                wanted,
                words,
                f"{words} Above the model's largest extension of {self.mm(limit)}: too little engagement.",
            )
        return wanted, f"{words} The frame is set to {self.mm(frame_set_to(frame, wanted))} over all.", ""

    def pivot_line(self) -> Line:
        drive, off = self.m.extension_drive_mm, self.m.extension_off_mm
        # Half of what the two extensions may differ by.
        within = EXTENSION_TOLERANCE_MM / 2
        if drive is None or off is None:
            return self.line(
                "pivot_mm", "extension", "Pivot off the centre line", None, 0.0, -within, within,
                Source.PRACTICE, "Needs both extensions.",
            )  # fmt: skip
        # The longer extension pushes the frame, and with it the pivot, to the other side.
        shift = half_difference(off, drive)
        words = f"|{self.mm(drive)} − {self.mm(off)}| / 2 = {self.mm(abs(shift))}"
        words += f", towards the {'drive' if shift > 0 else 'off'} side." if shift else ": on the centre line."
        to_do = ""
        if abs(shift) > within + SLACK_MM:
            longer, shorter = ("off", "drive") if shift > 0 else ("drive", "off")
            to_do = (
                f"Extension: in by {self.mm(abs(shift))} on the {longer} side, out by the same on the {shorter} side."
            )
        return self.line(
            "pivot_mm", "extension", "Pivot off the centre line", shift, 0.0, -within, within,
            Source.PRACTICE, words, to_do,
        )  # fmt: skip

    def play_from_measures(self, low: float, high: float) -> Line:
        spacing, frame = self.m.bracket_spacing_mm, self.m.frame_length_mm
        drive, off = self.m.extension_drive_mm, self.m.extension_off_mm
        label, key = "End play from the measures", "play_measured_mm"
        if spacing is None or frame is None or drive is None or off is None:
            return self.line(
                key, "extension", label, None, None, low, high, self.play_source,
                "Needs spacing, frame and both extensions.",
            )  # fmt: skip
        play = spacing - frame - drive - off
        words = f"{self.mm(spacing)} − {self.mm(frame)} − {self.mm(drive)} − {self.mm(off)} = {self.mm(play)}."
        if play < -SLACK_MM:
            words += (
                " Negative: frame and extensions are longer than the space between the brackets; read the tape again."
            )
            return Line(key, "extension", label, play, None, low, high, Verdict.REFUSED, self.play_source, words)
        to_do = ""
        if play < low - SLACK_MM:
            to_do = "End play too small, the pivot may bind: take both extensions in by the same amount."
        elif play > high + SLACK_MM:
            to_do = "End play too large: take both extensions out by the same amount."
        return self.line(key, "extension", label, play, None, low, high, self.play_source, words, to_do)

    # -- squareness

    def squareness(self) -> Iterator[Line]:
        m, label = self.m, "Out of square, over the spacing"
        limit = SQUARE_WITHIN_MM
        spacing = m.bracket_spacing_mm
        missing = [
            words
            for words, given in (
                ("the way it was measured", m.squareness_way),
                ("the bracket spacing", spacing),
                ("the distance on the drive side", m.square_drive_mm),
                ("the distance on the off side", m.square_off_mm),
            )
            if given in (None, "")
        ]
        if missing or spacing is None or m.square_drive_mm is None or m.square_off_mm is None:
            words = f"Needs {', '.join(missing)}."
            yield self.line("square_mm", "square", label, None, 0.0, -limit, limit, Source.PRACTICE, words)
            return
        way = Way(m.squareness_way)
        try:
            out = run_out(
                way, m.square_drive_mm, m.square_off_mm, spacing, reference_distance_mm=m.reference_distance_mm or None
            )
            angle = skew_deg(out, spacing)
        except (ValueError, ZeroDivisionError):
            words = self.no_triangle_words(way)
            yield Line("square_mm", "square", label, None, 0.0, -limit, limit, Verdict.REFUSED, Source.PRACTICE, words)
            return
        # Thousandths of a degree would be noise, one decimal would hide what is looked for.
        tells = f"skew {abs(angle):.2f}°, {1000 * abs(out) / spacing:.1f} mm per metre"
        words = f"{self.square_words(way, out)}; over {self.mm(spacing)} that is {tells}."
        to_do = ""
        if abs(out) > limit + SLACK_MM:
            further = "off" if out > 0 else "drive"
            to_do = (
                f"Square: bring the {further}-side bracket back by {self.mm(abs(out))}, or each by half, "
                "one back and one ahead."
            )
        yield self.line("square_mm", "square", label, out, 0.0, -limit, limit, Source.PRACTICE, words, to_do)

    def square_words(self, way: Way, out: float) -> str:
        drive, off = self.m.square_drive_mm, self.m.square_off_mm
        given = self.m.reference_distance_mm
        if way is Way.PARALLEL:
            return f"{self.mm(off)} − {self.mm(drive)} = {self.mm(out)}"
        length = given or implied_distance(way, drive or 0, off or 0, self.m.bracket_spacing_mm or 0)
        times = 2 if way is Way.CENTRE_POINT else 4
        known = "" if given else " (from the three lengths)"
        return f"({self.mm(off)}² − {self.mm(drive)}²) / ({times} × {self.mm(length)}{known}) = {self.mm(out)}"

    def no_triangle_words(self, way: Way) -> str:
        """Why the measures of squareness and the spacing cannot be of one place."""
        spacing, length = self.m.bracket_spacing_mm or 0.0, self.m.reference_distance_mm
        drive, off = self.mm(self.m.square_drive_mm), self.mm(self.m.square_off_mm)
        again = f"from there the brackets cannot lie {self.mm(spacing)} apart: read the tape again."
        if way is not Way.PARALLEL and not length:
            across = f"({self.mm(spacing)} / 2)²" if way is Way.CENTRE_POINT else f"({self.mm(spacing)})²"
            return f"({drive}² + {off}²) / 2 is not more than {across}; {again}"
        out = run_out(
            way, self.m.square_drive_mm or 0, self.m.square_off_mm or 0, spacing, reference_distance_mm=length or None
        )
        return f"{self.square_words(way, out)}, more than the spacing of {self.mm(spacing)}; {again}"

    # -- centring

    def centring(self) -> Iterator[Line]:
        drive, off, within = self.m.centre_drive_mm, self.m.centre_off_mm, CENTRE_WITHIN_MM
        label = "Left against right, frame to bracket"
        if drive is None or off is None:
            yield self.line(
                "centre_mm", "centre", label, None, 0.0, -within, within, Source.PRACTICE, "Needs both sides."
            )
            return
        apart, move = drive - off, half_difference(drive, off)
        words = f"{self.mm(drive)} − {self.mm(off)} = {self.mm(apart)}; half of it is {self.mm(abs(move))}."
        to_do = ""
        if abs(apart) > within + SLACK_MM:
            to_do = f"Centring: move the frame {self.towards(move)}; both sides are then {self.mm((drive + off) / 2)}."
        yield self.line("centre_mm", "centre", label, apart, 0.0, -within, within, Source.PRACTICE, words, to_do)

    # -- height

    def height(self) -> Iterator[Line]:
        lift, low, high, source = self.lift()
        yield self.lift_line(low, high)
        lifts = []
        for side in ("drive", "off"):
            mark, height = getattr(self.m, f"belt_mark_{side}_mm"), getattr(self.m, f"bracket_height_{side}_mm")
            drop, key, label = self.model.roller_drop_mm, f"bracket_height_{side}_mm", f"Bracket height, {side} side"
            if drop is None:
                yield Line(
                    key, "height", label, height, None, None, None, Verdict.NOT_STATED, Source.NONE,
                    "The model does not state the drop from bracket to roller top.",
                )  # fmt: skip
                continue
            if mark is None:
                words = "Needs the reference mark: underside of the belt, held flat and level."
                yield Line(key, "height", label, height, None, None, None, Verdict.OPEN, Source.NONE, words)
                continue
            wanted = bracket_height(mark, lift, drop)
            words = f"{self.mm(mark)} belt + {self.mm(lift)} lift + {self.mm(drop)} drop = {self.mm(wanted)}."
            line = self.height_line(key, label, mark, height, wanted, words, source)
            yield line
            if height is not None:
                lifts.append(height - drop - mark)
        yield self.level_line(lifts)

    def lift(self) -> tuple[float, float, float, Source]:
        """Wanted, least and most lift, and where the wanted one comes from."""
        least, most = self.model.belt_lift_least_mm, self.model.belt_lift_most_mm
        low = least if least is not None else 0.0
        high = most if most is not None else math.inf
        if self.m.wanted_lift_mm is not None:
            return self.m.wanted_lift_mm, low, high, Source.CHOSEN
        if least is None and most is None:
            return LIFT_MM, low, high, Source.PRACTICE
        return min(max(LIFT_MM, low), high), low, high, Source.MODEL

    def lift_line(self, low: float, high: float) -> Line:
        lift, most = self.m.wanted_lift_mm, self.model.belt_lift_most_mm
        label = "Belt lift wanted"
        stated = self.model.belt_lift_least_mm is not None or most is not None
        if lift is not None and most is not None and lift > most + SLACK_MM:
            words = f"{self.mm(lift)} is {self.mm(lift - most)} above the model's largest lift of {self.mm(most)}."
            return Line("wanted_lift_mm", "height", label, lift, None, low, most, Verdict.REFUSED, Source.MODEL, words)
        wanted, _low, _high, source = self.lift()
        if not stated:
            words = f"The model states no belt lift; {self.mm(LIFT_MM)} is common practice."
            return Line(
                "wanted_lift_mm", "height", label, lift, LIFT_MM, None, None, Verdict.NOT_STATED, Source.PRACTICE, words
            )
        return self.line(
            "wanted_lift_mm", "height", label, wanted, None, low, most, source, is_start_value=lift is None
        )

    def height_line(
        self, key: str, label: str, mark: float, height: float | None, wanted: float, words: str, source: Source
    ) -> Line:
        drop, most = self.model.roller_drop_mm or 0.0, self.model.belt_lift_most_mm
        to_do = ""
        low, high = wanted - HEIGHT_TOLERANCE_MM, wanted + HEIGHT_TOLERANCE_MM
        if height is not None:
            lift = height - drop - mark
            words += f" Measured {self.mm(height)}: the belt is lifted by {self.mm(lift)}."
            if lift < -SLACK_MM:
                words = words.replace("the belt is lifted by", "the roller stays below the belt by").replace(
                    self.mm(lift) + ".", self.mm(-lift) + "."
                )
            if most is not None and lift > most + SLACK_MM:
                words += f" That is above the model's largest lift of {self.mm(most)}."
                return Line(key, "height", label, height, wanted, low, high, Verdict.REFUSED, source, words)
            if not low - SLACK_MM <= height <= high + SLACK_MM:
                way = "Raise" if height < wanted else "Lower"
                side = "drive" if "drive" in key else "off"
                to_do = f"{way} the {side}-side bracket by {self.mm(abs(height - wanted))}."
        return self.line(key, "height", label, height, wanted, low, high, source, words, to_do)

    def level_line(self, lifts: list[float]) -> Line:
        label, within = "Lift, drive side less off side", HEIGHT_TOLERANCE_MM
        if self.model.roller_drop_mm is None and not lifts:
            return Line(
                "level_mm", "height", label, None, 0.0, -within, within, Verdict.NOT_STATED, Source.NONE,
                "Needs the model's drop from bracket to roller top.",
            )  # fmt: skip
        if len(lifts) < 2:
            words = "Needs mark and height on both sides."
            return self.line("level_mm", "height", label, None, 0.0, -within, within, Source.PRACTICE, words)
        apart = lifts[0] - lifts[1]
        words = f"{self.mm(lifts[0])} − {self.mm(lifts[1])} = {self.mm(apart)}."
        return self.line("level_mm", "height", label, apart, 0.0, -within, within, Source.PRACTICE, words)

    # -- sensors

    def sensors(self) -> Iterator[Line]:
        wanted_sum, tolerance, source = self.wanted_sum()
        clear, belt, m = self.m.sensor_clear_mm, self.m.belt_width_mm, self.m
        gaps = None if m.gap_drive_mm is None or m.gap_off_mm is None else m.gap_drive_mm + m.gap_off_mm
        low, high = max(0.0, wanted_sum - tolerance), wanted_sum + tolerance
        label = "Sum of both sensor gaps"
        if clear is not None and belt is not None:
            total: float | None = clear - belt
            words = f"{self.mm(clear)} clear − {self.mm(belt)} belt = {self.mm(total)}"
            if clear < belt - SLACK_MM:
                words += ". Negative: the belt is wider than the space between the sensors; read the tape again."
                yield Line(
                    "sensor_sum_mm", "sensors", label, total, wanted_sum, low, high, Verdict.REFUSED, source, words
                )
                total = None
            else:
                words += ", wherever the belt lies."
        else:
            total = gaps
            words = "Needs clear distance and belt width, or both gaps."
            if gaps is not None:
                words = (
                    f"{self.mm(m.gap_drive_mm)} + {self.mm(m.gap_off_mm)} = {self.mm(gaps)}, wherever the belt lies."
                )
        if total is not None or clear is None or belt is None:
            to_do = self.sum_to_do(total, wanted_sum, tolerance)
            yield self.line("sensor_sum_mm", "sensors", label, total, wanted_sum, low, high, source, words, to_do)
        if clear is not None and belt is not None and gaps is not None and total is not None:
            yield self.tape_line(total, gaps)
        yield from self.gap_lines(total, gaps, wanted_sum, tolerance, source)

    def wanted_sum(self) -> tuple[float, float, Source]:
        """Wanted sum of both gaps, tolerance either way, and where they come from."""
        model = self.model
        stated = model.sensor_gap_sum_mm is not None or model.sensor_gap_mm is not None
        each = model.sensor_gap_mm if model.sensor_gap_mm is not None else SENSOR_GAP_MM
        total = model.sensor_gap_sum_mm if model.sensor_gap_sum_mm is not None else 2 * each
        tolerance = model.sensor_gap_tolerance_mm
        return (
            total,
            SENSOR_GAP_TOLERANCE_MM if tolerance is None else tolerance,
            Source.MODEL if stated else Source.PRACTICE,
        )

    def sum_to_do(self, total: float | None, wanted: float, tolerance: float) -> str:
        if total is None or abs(total - wanted) <= tolerance + SLACK_MM:
            return ""
        way = "in" if total > wanted else "out"
        wide = "wide" if total > wanted else "narrow"
        return (
            f"Sensors: the sum is {self.mm(abs(total - wanted))} too {wide}: bring each sensor {way} by "
            f"{self.mm(abs(total - wanted) / 2)}."
        )

    def tape_line(self, total: float, gaps: float) -> Line:
        apart, within = gaps - total, TAPE_AGREES_WITHIN_MM
        words = (
            f"Gaps {self.mm(self.m.gap_drive_mm)} + {self.mm(self.m.gap_off_mm)} = {self.mm(gaps)}; clear distance "
            f"less belt width is {self.mm(total)}."
        )
        to_do = ""
        if abs(apart) > within + SLACK_MM:
            to_do = (
                "Sensors: the two sums differ, so one tape was misread. Measure gaps, belt and clear distance again."
            )
        label = "Gaps against clear distance less belt"
        return self.line("tape_mm", "sensors", label, apart, 0.0, -within, within, Source.PRACTICE, words, to_do)

    def gap_lines(
        self, total: float | None, gaps: float | None, wanted_sum: float, tolerance: float, source: Source
    ) -> Iterator[Line]:
        m = self.m
        where, refusal = self.belt_position(total, wanted_sum)
        shift_to_do = ""
        if where is not None and gaps is not None and not refusal:
            shift_to_do = self.shift_to_do(where)
        for side in ("drive", "off"):
            key, label = f"gap_{side}_mm", f"Sensor gap, {side} side"
            measured = getattr(m, key)
            if refusal:
                yield Line(key, "sensors", label, measured, None, None, None, Verdict.REFUSED, source, refusal)
                continue
            if where is None and gaps is None:
                # Where the belt lies is known from neither: the centred gap is what to aim at.
                words = f"Belt centred: {self.mm(wanted_sum)} / 2 = {self.mm(wanted_sum / 2)} each side."
                yield Line(
                    key, "sensors", label, measured, wanted_sum / 2, None, None,
                    Verdict.OPEN, source, words + " The sum decides: both gaps are needed.",
                )  # fmt: skip
                continue
            known = where
            if known is None:
                known = half_difference(m.gap_off_mm or 0, m.gap_drive_mm or 0)
            base = wanted_sum
            if abs(known) > base / 2:
                # So far off that the wanted sum leaves no gap there: the sum as it is, which has a line of its own.
                base = max(each for each in (total, gaps, 2 * abs(known)) if each is not None)
            wanted = base / 2 - known if side == "drive" else base / 2 + known
            words = self.gap_words(side, known, base, wanted, is_told=where is not None)
            yield self.line(
                key, "sensors", label, measured, wanted, max(0.0, wanted - tolerance), wanted + tolerance, source,
                words, shift_to_do,
            )  # fmt: skip

    def belt_position(self, total: float | None, wanted_sum: float) -> tuple[float | None, str]:
        """How far the belt was said to lie towards the drive side, and why that cannot be."""
        m = self.m
        if m.belt_off_by_mm == 0:
            return 0.0, ""
        if m.belt_lies_to not in ("drive", "off") or m.belt_off_by_mm is None:
            return None, ""
        half = (wanted_sum if total is None else total) / 2
        if m.belt_off_by_mm > half + SLACK_MM:
            return None, (
                f"The belt lies {self.mm(m.belt_off_by_mm)} off, more than the centred gap of {self.mm(half)}: it "
                "would lie inside the sensor."
            )
        return m.belt_off_by_mm if m.belt_lies_to == "drive" else -m.belt_off_by_mm, ""

    def gap_words(self, side: str, known: float, wanted_sum: float, wanted: float, *, is_told: bool) -> str:
        if abs(known) <= SLACK_MM:
            return f"Belt centred: {self.mm(wanted_sum)} / 2 = {self.mm(wanted)} each side."
        near = (known > 0) == (side == "drive")
        sign = "−" if near else "+"
        told = "" if is_told else ", as the gaps tell"
        return (
            f"Belt {self.towards(known)}{told}: {self.mm(wanted_sum)} / 2 {sign} {self.mm(abs(known))} = "
            f"{self.mm(wanted)}; the sum is unchanged."
        )

    def shift_to_do(self, where: float) -> str:
        """In on one side, out on the other, so that the gaps suit where the belt lies."""
        found = half_difference(self.m.gap_off_mm or 0, self.m.gap_drive_mm or 0)
        shift = where - found
        if abs(shift) <= TAPE_AGREES_WITHIN_MM + SLACK_MM:
            return ""
        inward, outward = ("drive", "off") if shift > 0 else ("off", "drive")
        return (
            f"Sensors: in by {self.mm(abs(shift))} on the {inward} side, out by the same on the {outward} side; "
            "the sum is unchanged."
        )

    # -- warnings

    def warnings(self) -> Iterator[str]:
        yield from self.reference_warnings()
        belt, nominal = self.m.belt_width_mm, self.nominal_belt_width_mm
        if belt is not None and nominal and abs(belt - nominal) > BELT_WIDTH_AGREES_WITHIN * nominal + SLACK_MM:
            yield (
                f"The belt measures {self.mm(belt)} here, the book says {self.mm(nominal)}: a worn edge or a "
                "misread tape. Measure it at a splice and at a sound length."
            )

    def reference_warnings(self) -> Iterator[str]:
        m = self.m
        if m.square_drive_mm is None and m.square_off_mm is None:
            return
        if not m.square_reference.strip():
            yield "Squareness: name the point or line that it was measured from."
        elif _NEIGHBOUR.search(m.square_reference):
            yield (
                f"Squareness was measured from “{m.square_reference.strip()}”: an idler's own error is copied, and "
                "both are then equally wrong. Take a shaft or a scribed line."
            )
        if not m.reference_was_checked:
            yield "Squareness: the reference was never checked itself; what is wrong there is wrong here."
        if m.squareness_way not in (Way.CENTRE_POINT, Way.DIAGONALS) or not m.bracket_spacing_mm:
            return
        length = m.reference_distance_mm
        if m.square_drive_mm is None or m.square_off_mm is None:
            return
        try:
            implied = implied_distance(Way(m.squareness_way), m.square_drive_mm, m.square_off_mm, m.bracket_spacing_mm)
        except ValueError:
            return
        if length and abs(length - implied) > max(10 * TAPE_AGREES_WITHIN_MM, 0.01 * implied):
            yield (
                f"Squareness: the distance along the belt was given as {self.mm(length)}, but the three other lengths "
                f"make it {self.mm(implied)}. Measure again."
            )
        length = length or implied
        if m.squareness_way == Way.CENTRE_POINT and length < LEAST_REFERENCE_SPACINGS * m.bracket_spacing_mm - SLACK_MM:
            feigned = math.degrees(math.atan(POINT_OFF_MM / length))
            yield (
                f"Squareness: the point lies {self.mm(length)} away, nearer than {figure(LEAST_REFERENCE_SPACINGS)} × "
                f"the bracket spacing. Off the centre line by {self.mm(POINT_OFF_MM)} it feigns {feigned:.2f}°. Take "
                "a point further off."
            )

    # -- one line

    def line(
        self,
        key: str,
        section: str,
        label: str,
        measured: float | None,
        wanted: float | None,
        low: float | None,
        high: float | None,
        source: Source,
        words: str = "",
        to_do: str = "",
        *,
        is_start_value: bool = False,
    ) -> Line:
        if measured is None:
            verdict = Verdict.OPEN
        elif (low is not None and measured < low - SLACK_MM) or (high is not None and measured > high + SLACK_MM):
            verdict = Verdict.OUTSIDE
        else:
            verdict = Verdict.WITHIN
        return Line(key, section, label, measured, wanted, low, high, verdict, source, words, to_do, is_start_value)


def _check_lengths(given: Measures | ModelFigures) -> None:
    for each in fields(given):
        value = getattr(given, each.name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        if not 0 <= value < math.inf:
            raise ValueError(f"{each.name} is {value} mm; give a finite length from 0 mm up, or leave it out")
