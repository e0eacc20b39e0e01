"""The fit-up sheet in words: its sections in the order of the work, its verdicts, lines by their names."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.fit_up import Line, Verdict

NAMED_LINES = 4  # so many lines of the fit-up are named; the rest are counted
# The verdict as a mark and a word.
MARKS = {
    Verdict.WITHIN: ("sound", gettext_lazy("within")),
    Verdict.OUTSIDE: ("watch", gettext_lazy("outside")),
    Verdict.REFUSED: ("act", gettext_lazy("not possible")),
    Verdict.OPEN: ("early", gettext_lazy("not measured")),
    Verdict.NOT_STATED: ("flat", gettext_lazy("not stated")),
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


def named(lines: Sequence[Line]) -> str:
    labels = [line.label for line in lines[:NAMED_LINES]]
    more = len(lines) - len(labels)
    return ", ".join(labels) + (" " + _("and %s more") % more if more else "")
