"""The geometry of a fit-up, each piece of the arithmetic by itself. All lengths in mm, angles in degrees."""

from __future__ import annotations

import math
from enum import StrEnum

# A tape reads to about 1 mm; lengths closer to a limit than this lie on it.
SLACK_MM = 1e-6


class SquareMethod(StrEnum):
    """How squareness was measured."""

    PARALLEL = "parallel"
    CENTRE_POINT = "centre_point"
    DIAGONALS = "diagonals"


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
    way: SquareMethod, drive_mm: float, off_mm: float, spacing_mm: float, *, reference_distance_mm: float | None = None
) -> float:
    """How much further along the belt the off-side bracket lies than the drive-side one.

    Parameters
    ----------
    way : SquareMethod
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
    >>> round(run_out(SquareMethod.CENTRE_POINT, 3138, 3146, 1830, reference_distance_mm=3000), 3)
    8.379
    """
    if way is SquareMethod.PARALLEL:
        return off_mm - drive_mm
    length = reference_distance_mm or implied_distance(way, drive_mm, off_mm, spacing_mm)
    return (off_mm**2 - drive_mm**2) / ((2 if way is SquareMethod.CENTRE_POINT else 4) * length)


def implied_distance(way: SquareMethod, drive_mm: float, off_mm: float, spacing_mm: float) -> float:
    """The distance along the belt that both measures and the spacing tell.

    Parameters
    ----------
    way : SquareMethod
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
    >>> implied_distance(SquareMethod.CENTRE_POINT, 50, 50, 60)
    40.0
    """
    across = spacing_mm**2 / (4 if way is SquareMethod.CENTRE_POINT else 1)
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
