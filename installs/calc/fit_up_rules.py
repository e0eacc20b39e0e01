"""The rules of the fit-up sheet: why a line stands as it does, what to move, and what is weak about the measuring."""

from __future__ import annotations

from enum import StrEnum


class FitSide(StrEnum):
    """A side of the belt."""

    DRIVE = "drive"
    OFF = "off"

    @property
    def other(self) -> FitSide:
        """The side across the belt."""
        return FitSide.OFF if self is FitSide.DRIVE else FitSide.DRIVE


class Missing(StrEnum):
    """What squareness cannot be told without."""

    WAY = "fit_up.missing.way"
    SPACING = "fit_up.missing.spacing"
    DRIVE = "fit_up.missing.drive"
    OFF = "fit_up.missing.off"


class FitUpRule(StrEnum):
    """What a line of the sheet says, by section; `DO_` is what to move."""

    # Frame, extension, end play.
    FRAME_TOO_LONG = "fit_up.frame_too_long"
    FRAMES_NOT_STATED = "fit_up.frames_not_stated"
    NEEDS_SPACING = "fit_up.needs_spacing"
    NEEDS_FRAME = "fit_up.needs_frame"
    NEEDS_SPACING_AND_FRAME = "fit_up.needs_spacing_and_frame"
    EACH_SIDE = "fit_up.each_side"
    EACH_SIDE_NEGATIVE = "fit_up.each_side_negative"
    EACH_SIDE_ABOVE = "fit_up.each_side_above"
    FRAME_SET_TO = "fit_up.frame_set_to"
    EXTENSION_ABOVE = "fit_up.extension_above"
    NEEDS_EXTENSIONS = "fit_up.needs_extensions"
    PIVOT_OFF = "fit_up.pivot_off"
    PIVOT_ON = "fit_up.pivot_on"
    DO_EXTENSION = "fit_up.do_extension"
    NEEDS_FOR_PLAY = "fit_up.needs_for_play"
    PLAY_LEFT = "fit_up.play_left"
    PLAY_NEGATIVE = "fit_up.play_negative"
    DO_PLAY_SMALL = "fit_up.do_play_small"
    DO_PLAY_LARGE = "fit_up.do_play_large"
    PLAY_AFTER_TIGHTENING = "fit_up.play_after_tightening"

    # Squareness and centring.
    NEEDS_FOR_SQUARE = "fit_up.needs_for_square"
    RUN_OUT_PARALLEL = "fit_up.run_out_parallel"
    RUN_OUT_GIVEN = "fit_up.run_out_given"
    RUN_OUT_IMPLIED = "fit_up.run_out_implied"
    SKEW = "fit_up.skew"
    NO_TRIANGLE_POINT = "fit_up.no_triangle_point"
    NO_TRIANGLE_DIAGONALS = "fit_up.no_triangle_diagonals"
    RUN_OUT_ABOVE = "fit_up.run_out_above"
    DO_SQUARE = "fit_up.do_square"
    NEEDS_BOTH_SIDES = "fit_up.needs_both_sides"
    CENTRE_APART = "fit_up.centre_apart"
    DO_CENTRE = "fit_up.do_centre"

    # Heights.
    LIFT_ABOVE = "fit_up.lift_above"
    LIFT_NOT_STATED = "fit_up.lift_not_stated"
    DROP_NOT_STATED = "fit_up.drop_not_stated"
    NEEDS_MARK = "fit_up.needs_mark"
    HEIGHT_WANTED = "fit_up.height_wanted"
    HEIGHT_LIFTS = "fit_up.height_lifts"
    HEIGHT_STAYS_BELOW = "fit_up.height_stays_below"
    HEIGHT_ABOVE = "fit_up.height_above"
    DO_RAISE = "fit_up.do_raise"
    DO_LOWER = "fit_up.do_lower"
    NEEDS_DROP = "fit_up.needs_drop"
    NEEDS_MARKS_AND_HEIGHTS = "fit_up.needs_marks_and_heights"
    LEVEL_APART = "fit_up.level_apart"

    # Sensors.
    NEEDS_FOR_SUM = "fit_up.needs_for_sum"
    SUM_OF_GAPS = "fit_up.sum_of_gaps"
    SUM_OF_CLEAR = "fit_up.sum_of_clear"
    SUM_NEGATIVE = "fit_up.sum_negative"
    DO_SUM_WIDE = "fit_up.do_sum_wide"
    DO_SUM_NARROW = "fit_up.do_sum_narrow"
    SUMS = "fit_up.sums"
    DO_SUMS = "fit_up.do_sums"
    GAP_CENTRED = "fit_up.gap_centred"
    NEEDS_GAPS = "fit_up.needs_gaps"
    GAP_NEAR = "fit_up.gap_near"
    GAP_FAR = "fit_up.gap_far"
    GAP_NEAR_BY_GAPS = "fit_up.gap_near_by_gaps"
    GAP_FAR_BY_GAPS = "fit_up.gap_far_by_gaps"
    BELT_IN_SENSOR = "fit_up.belt_in_sensor"
    DO_SHIFT = "fit_up.do_shift"

    # Warnings.
    BELT_WIDTH_DIFFERS = "fit_up.belt_width_differs"
    REFERENCE_UNNAMED = "fit_up.reference_unnamed"
    REFERENCE_IS_IDLER = "fit_up.reference_is_idler"
    REFERENCE_UNCHECKED = "fit_up.reference_unchecked"
    REFERENCE_DISTANCE_DIFFERS = "fit_up.reference_distance_differs"
    REFERENCE_NEAR = "fit_up.reference_near"

    # What no tape shows.
    LENGTH_ZERO = "fit_up.length_zero"
    LENGTH_ODD = "fit_up.length_odd"
