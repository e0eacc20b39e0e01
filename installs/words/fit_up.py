"""The fit-up sheet in words: its sections in the order of the work, its verdicts, each line by its name and its rules.

A tape is read to 0.1 mm at most or to 1/16 in, whatever the arithmetic makes of it; an angle has two decimals, as
thousandths of a degree would be noise and one decimal would hide what is looked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.fit_up_lines import FitUpLine, FitUpResult, Verdict, WantedSource
from installs.calc.fit_up_rules import FitSide, FitUpRule, Missing
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, kind_of
from plant.words.reasons import Texts, sentence

NAMED_LINES = 4  # so many lines of the fit-up are named; the rest are counted
# The verdict as a mark and a word.
MARKS = {
    Verdict.WITHIN: ("sound", gettext_lazy("within")),
    Verdict.OUTSIDE: ("watch", gettext_lazy("outside")),
    Verdict.REFUSED: ("act", gettext_lazy("not possible")),
    Verdict.OPEN: ("early", gettext_lazy("not measured")),
    Verdict.NOT_STATED: ("flat", gettext_lazy("not stated")),
}
SOURCES = {
    WantedSource.MODEL: gettext_lazy("from the model"),
    WantedSource.PRACTICE: gettext_lazy("common practice"),
    WantedSource.CHOSEN: gettext_lazy("chosen here"),
    WantedSource.ARITHMETIC: gettext_lazy("from the measures"),
}
# Each line by its key.
LABELS = {
    "frame_length_mm": gettext_lazy("Frame length"),
    "end_play_mm": gettext_lazy("End play in total, wanted"),
    "extension_drive_mm": gettext_lazy("Extension, drive side"),
    "extension_off_mm": gettext_lazy("Extension, off side"),
    "pivot_mm": gettext_lazy("Pivot off the centre line"),
    "play_measured_mm": gettext_lazy("End play from the measures"),
    "end_play_left_mm": gettext_lazy("End play in total, after tightening"),
    "square_mm": gettext_lazy("Out of square, over the spacing"),
    "centre_mm": gettext_lazy("Left against right, frame to bracket"),
    "wanted_lift_mm": gettext_lazy("Belt lift wanted"),
    "bracket_height_drive_mm": gettext_lazy("Bracket height, drive side"),
    "bracket_height_off_mm": gettext_lazy("Bracket height, off side"),
    "level_mm": gettext_lazy("Lift, drive side less off side"),
    "sensor_sum_mm": gettext_lazy("Sum of both sensor gaps"),
    "tape_mm": gettext_lazy("Gaps against clear distance less belt"),
    "gap_drive_mm": gettext_lazy("Sensor gap, drive side"),
    "gap_off_mm": gettext_lazy("Sensor gap, off side"),
}
TEXTS: Texts = {
    FitSide.DRIVE: gettext_lazy("drive"),
    FitSide.OFF: gettext_lazy("off"),
    Missing.WAY: gettext_lazy("the way it was measured"),
    Missing.SPACING: gettext_lazy("the bracket spacing"),
    Missing.DRIVE: gettext_lazy("the distance on the drive side"),
    Missing.OFF: gettext_lazy("the distance on the off side"),
    FitUpRule.FRAME_TOO_LONG: gettext_lazy(
        "%(frame_mm)s frame − %(spacing_mm)s spacing = %(over_mm)s: the frame is longer than the space between the "
        "brackets."
    ),
    FitUpRule.FRAMES_NOT_STATED: gettext_lazy("The model states no range of frame lengths."),
    FitUpRule.NEEDS_SPACING: gettext_lazy("Needs the bracket spacing."),
    FitUpRule.NEEDS_FRAME: gettext_lazy("Needs the frame length."),
    FitUpRule.NEEDS_SPACING_AND_FRAME: gettext_lazy("Needs the bracket spacing and the frame length."),
    FitUpRule.EACH_SIDE: gettext_lazy(
        "(%(spacing_mm)s spacing − %(play_mm)s end play − %(frame_mm)s frame) / 2 = %(each_mm)s each side."
    ),
    FitUpRule.EACH_SIDE_NEGATIVE: gettext_lazy("Negative: the frame is too long for the place."),
    FitUpRule.EACH_SIDE_ABOVE: gettext_lazy(
        "Above the model's largest extension of %(limit_mm)s: too little engagement."
    ),
    FitUpRule.FRAME_SET_TO: gettext_lazy("The frame is set to %(over_all_mm)s over all."),
    FitUpRule.EXTENSION_ABOVE: gettext_lazy(
        "%(extension_mm)s is above the model's largest extension of %(limit_mm)s: too little engagement."
    ),
    FitUpRule.NEEDS_EXTENSIONS: gettext_lazy("Needs both extensions."),
    FitUpRule.PIVOT_OFF: gettext_lazy("|%(drive_mm)s − %(off_mm)s| / 2 = %(shift_mm)s, towards the %(side)s side."),
    FitUpRule.PIVOT_ON: gettext_lazy("|%(drive_mm)s − %(off_mm)s| / 2 = %(shift_mm)s: on the centre line."),
    FitUpRule.DO_EXTENSION: gettext_lazy(
        "Extension: in by %(shift_mm)s on the %(longer)s side, out by the same on the %(shorter)s side."
    ),
    FitUpRule.NEEDS_FOR_PLAY: gettext_lazy("Needs spacing, frame and both extensions."),
    FitUpRule.PLAY_LEFT: gettext_lazy("%(spacing_mm)s − %(frame_mm)s − %(drive_mm)s − %(off_mm)s = %(play_mm)s."),
    FitUpRule.PLAY_NEGATIVE: gettext_lazy(
        "Negative: frame and extensions are longer than the space between the brackets; read the tape again."
    ),
    FitUpRule.DO_PLAY_SMALL: gettext_lazy(
        "End play too small, the pivot may bind: take both extensions in by the same amount."
    ),
    FitUpRule.DO_PLAY_LARGE: gettext_lazy("End play too large: take both extensions out by the same amount."),
    FitUpRule.PLAY_AFTER_TIGHTENING: gettext_lazy("Brackets walk when bolts pull up: measured again after tightening."),
    FitUpRule.NEEDS_FOR_SQUARE: gettext_lazy("Needs %(missing)s."),
    FitUpRule.RUN_OUT_PARALLEL: gettext_lazy("%(off_mm)s − %(drive_mm)s = %(out_mm)s"),
    FitUpRule.RUN_OUT_GIVEN: gettext_lazy("(%(off_mm)s² − %(drive_mm)s²) / (%(times)s × %(length_mm)s) = %(out_mm)s"),
    FitUpRule.RUN_OUT_IMPLIED: gettext_lazy(
        "(%(off_mm)s² − %(drive_mm)s²) / (%(times)s × %(length_mm)s (from the three lengths)) = %(out_mm)s"
    ),
    FitUpRule.SKEW: gettext_lazy("%(run_out)s; over %(spacing_mm)s that is skew %(skew_deg)s, %(per_metre)s."),
    FitUpRule.NO_TRIANGLE_POINT: gettext_lazy(
        "(%(drive_mm)s² + %(off_mm)s²) / 2 is not more than (%(spacing_mm)s / 2)²; from there the brackets cannot lie "
        "%(spacing_mm)s apart: read the tape again."
    ),
    FitUpRule.NO_TRIANGLE_DIAGONALS: gettext_lazy(
        "(%(drive_mm)s² + %(off_mm)s²) / 2 is not more than (%(spacing_mm)s)²; from there the brackets cannot lie "
        "%(spacing_mm)s apart: read the tape again."
    ),
    FitUpRule.RUN_OUT_ABOVE: gettext_lazy(
        "%(run_out)s, more than the spacing of %(spacing_mm)s; from there the brackets cannot lie %(spacing_mm)s "
        "apart: read the tape again."
    ),
    FitUpRule.DO_SQUARE: gettext_lazy(
        "Square: bring the %(side)s-side bracket back by %(out_mm)s, or each by half, one back and one ahead."
    ),
    FitUpRule.NEEDS_BOTH_SIDES: gettext_lazy("Needs both sides."),
    FitUpRule.CENTRE_APART: gettext_lazy("%(drive_mm)s − %(off_mm)s = %(apart_mm)s; half of it is %(half_mm)s."),
    FitUpRule.DO_CENTRE: gettext_lazy(
        "Centring: move the frame %(half_mm)s towards the %(side)s side; both sides are then %(then_mm)s."
    ),
    FitUpRule.LIFT_ABOVE: gettext_lazy("%(lift_mm)s is %(over_mm)s above the model's largest lift of %(most_mm)s."),
    FitUpRule.LIFT_NOT_STATED: gettext_lazy("The model states no belt lift; %(lift_mm)s is common practice."),
    FitUpRule.DROP_NOT_STATED: gettext_lazy("The model does not state the drop from bracket to roller top."),
    FitUpRule.NEEDS_MARK: gettext_lazy("Needs the reference mark: underside of the belt, held flat and level."),
    FitUpRule.HEIGHT_WANTED: gettext_lazy("%(mark_mm)s belt + %(lift_mm)s lift + %(drop_mm)s drop = %(height_mm)s."),
    FitUpRule.HEIGHT_LIFTS: gettext_lazy("Measured %(height_mm)s: the belt is lifted by %(lift_mm)s."),
    FitUpRule.HEIGHT_STAYS_BELOW: gettext_lazy(
        "Measured %(height_mm)s: the roller stays below the belt by %(below_mm)s."
    ),
    FitUpRule.HEIGHT_ABOVE: gettext_lazy("That is above the model's largest lift of %(most_mm)s."),
    FitUpRule.DO_RAISE: gettext_lazy("Raise the %(side)s-side bracket by %(by_mm)s."),
    FitUpRule.DO_LOWER: gettext_lazy("Lower the %(side)s-side bracket by %(by_mm)s."),
    FitUpRule.NEEDS_DROP: gettext_lazy("Needs the model's drop from bracket to roller top."),
    FitUpRule.NEEDS_MARKS_AND_HEIGHTS: gettext_lazy("Needs mark and height on both sides."),
    FitUpRule.LEVEL_APART: gettext_lazy("%(drive_mm)s − %(off_mm)s = %(apart_mm)s."),
    FitUpRule.NEEDS_FOR_SUM: gettext_lazy("Needs clear distance and belt width, or both gaps."),
    FitUpRule.SUM_OF_GAPS: gettext_lazy("%(drive_mm)s + %(off_mm)s = %(sum_mm)s, wherever the belt lies."),
    FitUpRule.SUM_OF_CLEAR: gettext_lazy("%(clear_mm)s clear − %(belt_mm)s belt = %(sum_mm)s, wherever the belt lies."),
    FitUpRule.SUM_NEGATIVE: gettext_lazy(
        "%(clear_mm)s clear − %(belt_mm)s belt = %(sum_mm)s. Negative: the belt is wider than the space between the "
        "sensors; read the tape again."
    ),
    FitUpRule.DO_SUM_WIDE: gettext_lazy("Sensors: the sum is %(by_mm)s too wide: bring each sensor in by %(each_mm)s."),
    FitUpRule.DO_SUM_NARROW: gettext_lazy(
        "Sensors: the sum is %(by_mm)s too narrow: bring each sensor out by %(each_mm)s."
    ),
    FitUpRule.SUMS: gettext_lazy(
        "Gaps %(drive_mm)s + %(off_mm)s = %(gaps_mm)s; clear distance less belt width is %(sum_mm)s."
    ),
    FitUpRule.DO_SUMS: gettext_lazy(
        "Sensors: the two sums differ, so one tape was misread. Measure gaps, belt and clear distance again."
    ),
    FitUpRule.GAP_CENTRED: gettext_lazy("Belt centred: %(sum_mm)s / 2 = %(gap_mm)s each side."),
    FitUpRule.NEEDS_GAPS: gettext_lazy("The sum decides: both gaps are needed."),
    FitUpRule.GAP_NEAR: gettext_lazy(
        "Belt %(off_by_mm)s towards the %(side)s side: %(sum_mm)s / 2 − %(off_by_mm)s = %(gap_mm)s; the sum is "
        "unchanged."
    ),
    FitUpRule.GAP_FAR: gettext_lazy(
        "Belt %(off_by_mm)s towards the %(side)s side: %(sum_mm)s / 2 + %(off_by_mm)s = %(gap_mm)s; the sum is "
        "unchanged."
    ),
    FitUpRule.GAP_NEAR_BY_GAPS: gettext_lazy(
        "Belt %(off_by_mm)s towards the %(side)s side, as the gaps tell: %(sum_mm)s / 2 − %(off_by_mm)s = %(gap_mm)s; "
        "the sum is unchanged."
    ),
    FitUpRule.GAP_FAR_BY_GAPS: gettext_lazy(
        "Belt %(off_by_mm)s towards the %(side)s side, as the gaps tell: %(sum_mm)s / 2 + %(off_by_mm)s = %(gap_mm)s; "
        "the sum is unchanged."
    ),
    FitUpRule.BELT_IN_SENSOR: gettext_lazy(
        "The belt lies %(off_by_mm)s off, more than the centred gap of %(half_mm)s: it would lie inside the sensor."
    ),
    FitUpRule.DO_SHIFT: gettext_lazy(
        "Sensors: in by %(shift_mm)s on the %(inward)s side, out by the same on the %(outward)s side; the sum is "
        "unchanged."
    ),
    FitUpRule.BELT_WIDTH_DIFFERS: gettext_lazy(
        "The belt measures %(belt_mm)s here, the book says %(nominal_mm)s: a worn edge or a misread tape. Measure it "
        "at a splice and at a sound length."
    ),
    FitUpRule.REFERENCE_UNNAMED: gettext_lazy("Squareness: name the point or line that it was measured from."),
    FitUpRule.REFERENCE_IS_IDLER: gettext_lazy(
        "Squareness was measured from “%(reference)s”: an idler's own error is copied, and both are then equally "
        "wrong. Take a shaft or a scribed line."
    ),
    FitUpRule.REFERENCE_UNCHECKED: gettext_lazy(
        "Squareness: the reference was never checked itself; what is wrong there is wrong here."
    ),
    FitUpRule.REFERENCE_DISTANCE_DIFFERS: gettext_lazy(
        "Squareness: the distance along the belt was given as %(given_mm)s, but the three other lengths make it "
        "%(implied_mm)s. Measure again."
    ),
    FitUpRule.REFERENCE_NEAR: gettext_lazy(
        "Squareness: the point lies %(length_mm)s away, nearer than %(spacings)s × the bracket spacing. Off the centre "
        "line by %(off_mm)s it feigns %(feigned_deg)s. Take a point further off."
    ),
    FitUpRule.LENGTH_ZERO: gettext_lazy(
        "%(given_mm)s is too short; give a length above %(given_mm)s, or leave it out."
    ),
    FitUpRule.LENGTH_ODD: gettext_lazy("%(given_mm)s is no length; give one from 0 up, or leave it out."),
}
# How many lines stand so, in the order in which the first sentence counts them.
COUNTED = {
    Verdict.OUTSIDE: gettext_lazy("%(n)s outside"),
    Verdict.REFUSED: gettext_lazy("%(n)s not possible"),
    Verdict.OPEN: gettext_lazy("%(n)s not measured"),
    Verdict.NOT_STATED: gettext_lazy("%(n)s not stated"),
}
# Each section: its key, its head, how it is done, and its rows: the measures that are asked and the line they lead to.
Row = tuple[tuple[str, ...], str]
SECTIONS: tuple[tuple[str, Any, Any, tuple[Row, ...]], ...] = (
    (
        "extension",
        gettext_lazy("1. Brackets, frame and extension"),
        gettext_lazy("Spacing less frame less end play, shared equally. Look at the end play again after tightening."),
        (
            (("bracket_spacing_mm",), ""),
            (("frame_length_mm",), "frame_length_mm"),
            (("end_play_mm",), "end_play_mm"),
            (("extension_drive_mm",), "extension_drive_mm"),
            (("extension_off_mm",), "extension_off_mm"),
            ((), "pivot_mm"),
            ((), "play_measured_mm"),
            (("end_play_left_mm",), "end_play_left_mm"),
        ),
    ),
    (
        "square",
        gettext_lazy("2. Squareness"),
        gettext_lazy("Both brackets from one fixed point or line: a shaft, a scribed line; never the neighbour idler."),
        (
            (("squareness_way",), ""),
            (("square_reference",), ""),
            (("reference_was_checked", "reference_distance_mm"), ""),
            (("square_drive_mm", "square_off_mm"), "square_mm"),
        ),
    ),
    (
        "centre",
        gettext_lazy("3. Centring"),
        gettext_lazy("The same on both sides; the frame moves by half the difference."),
        ((("centre_drive_mm", "centre_off_mm"), "centre_mm"),),
    ),
    (
        "height",
        gettext_lazy("4. Bracket height"),
        gettext_lazy(
            "Reference mark at the belt's edge, on both sides, with the belt held flat and level; "
            "all heights from one datum."
        ),
        (
            (("belt_mark_drive_mm", "belt_mark_off_mm"), ""),
            (("wanted_lift_mm",), "wanted_lift_mm"),
            (("bracket_height_drive_mm",), "bracket_height_drive_mm"),
            (("bracket_height_off_mm",), "bracket_height_off_mm"),
            ((), "level_mm"),
        ),
    ),
    (
        "sensors",
        gettext_lazy("5. Sensors"),
        gettext_lazy(
            "The belt's width as measured here, never the nominal one. "
            "The sum of both gaps stays the same wherever the belt lies."
        ),
        (
            (("belt_width_mm", "sensor_clear_mm"), "sensor_sum_mm"),
            (("belt_lies_to", "belt_off_by_mm"), ""),
            (("gap_drive_mm",), "gap_drive_mm"),
            (("gap_off_mm",), "gap_off_mm"),
            ((), "tape_mm"),
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class ShownFitUpLine:
    """One line with its numbers in the reader's units."""

    key: str
    label: str
    measured: str
    wanted: str
    permitted: str
    source: str
    mark: str
    verdict: str
    words: str
    to_do: str
    is_open: bool
    is_start_value: bool
    has_box: bool


def fit_up_words(reason: Reason, system: UnitSystem) -> str:
    """One rule of the sheet, in the reader's units."""
    return sentence(
        Reason(reason.rule, {name: _as_read(name, each, system) for name, each in reason.values.items()}),
        TEXTS,
        system,
    )


def _as_read(name: str, value: Any, system: UnitSystem) -> Any:
    """A value as the tape or the arithmetic gives it."""
    if isinstance(value, tuple):
        return ", ".join(fit_up_words(each, system) for each in value)
    if isinstance(value, Reason):
        return fit_up_words(value, system)
    if name == "per_metre":
        return slope_words(value, system)
    kind = kind_of(name)
    if kind is QuantityKind.LENGTH_MM and not isinstance(value, str):
        return format_quantity(value, kind, system)
    return f"{value:.2f}°" if kind is QuantityKind.DEGREES else value


def slope_words(mm_per_m: float, system: UnitSystem) -> str:
    """How far one side lies ahead over a length: 4.2 mm per metre, 0.05 in per foot."""
    if system is UnitSystem.US:
        return _("%(rise)s in per foot") % {"rise": f"{0.012 * mm_per_m:.2f}"}
    return _("%(rise)s mm per metre") % {"rise": f"{mm_per_m:.1f}"}


def why_words(line: FitUpLine, system: UnitSystem) -> str:
    """The arithmetic of a line; empty where there is none."""
    return " ".join(fit_up_words(each, system) for each in line.why)


def to_do_words(line: FitUpLine, system: UnitSystem) -> str:
    """What to move; empty where nothing is to be."""
    return "" if line.to_do is None else fit_up_words(line.to_do, system)


def label_words(line: FitUpLine) -> str:
    return str(LABELS[line.key])


def line_words(line: FitUpLine, system: UnitSystem) -> str:
    """A line by its name with its arithmetic."""
    return f"{label_words(line)}: {why_words(line, system) or MARKS[line.verdict][1]}"


def permitted_words(line: FitUpLine, system: UnitSystem) -> str:
    """The permitted range: ± where it lies evenly about what is wanted, else from and to."""

    def said(value: float) -> str:
        return format_quantity(value, QuantityKind.LENGTH_MM, system)

    low, high, wanted = line.low, line.high, line.wanted
    if low is not None and high is not None:
        if wanted is not None and abs((high - wanted) - (wanted - low)) < 1e-9:
            return f"± {said(high - wanted)}"
        return _("%(low)s to %(high)s") % {"low": said(low), "high": said(high)}
    if high is not None:
        return _("up to %s") % said(high)
    return _("from %s") % said(low) if low is not None else ""


def shown_line(line: FitUpLine, system: UnitSystem, *, has_box: bool) -> ShownFitUpLine:
    """A line as people read it; `has_box`: its measure is typed into a box of its own."""

    def said(value: float | None) -> str:
        return "" if value is None else format_quantity(value, QuantityKind.LENGTH_MM, system)

    mark, verdict = MARKS[line.verdict]
    return ShownFitUpLine(
        key=line.key,
        label=label_words(line),
        measured=said(line.measured),
        wanted=said(line.wanted),
        permitted=permitted_words(line, system),
        source=str(SOURCES[line.source]) if line.source in (WantedSource.MODEL, WantedSource.PRACTICE) else "",
        mark=mark,
        verdict=str(verdict),
        words=why_words(line, system),
        to_do=to_do_words(line, system),
        is_open=line.verdict in (Verdict.OPEN, Verdict.NOT_STATED),
        is_start_value=line.is_start_value,
        has_box=has_box,
    )


def summary_words(result: FitUpResult) -> str:
    """How the fit-up stands, in one sentence."""
    if not result.is_begun:
        return _("No line is measured yet.")
    said = [
        _("%(n)s of %(all)s lines within tolerance") % {"n": result.count(Verdict.WITHIN), "all": len(result.lines)}
    ]
    said += [str(words) % {"n": result.count(verdict)} for verdict, words in COUNTED.items() if result.count(verdict)]
    return ", ".join(said) + "."


def named(lines: Sequence[FitUpLine]) -> str:
    labels = [label_words(line) for line in lines[:NAMED_LINES]]
    more = len(lines) - len(labels)
    return ", ".join(labels) + (" " + _("and %s more") % more if more else "")
