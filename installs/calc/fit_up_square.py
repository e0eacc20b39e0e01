"""Squareness and centring of a fit-up, and what is weak about the reference. Lengths in mm, angles in degrees."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from installs.calc.fit_up_geometry import SLACK_MM, SquareMethod, half_difference, implied_distance, run_out, skew_deg
from installs.calc.fit_up_lines import FitUpLine, Sheet, Verdict, WantedSource, judged
from installs.calc.fit_up_measures import Measures
from installs.calc.fit_up_rules import FitSide, FitUpRule, Missing
from plant.calc.reasons import Reason

# Common practice, no source [mm].
SQUARE_WITHIN_MM = 3.0
CENTRE_WITHIN_MM = 3.0
# Sums of tape readings that should agree: common practice, no source.
TAPE_AGREES_WITHIN_MM = 3.0
# A fixed point nearer than this many bracket spacings makes a small error of the point look like skew.
LEAST_REFERENCE_SPACINGS = 1.5
# A point off the centre line by this much is easily overlooked [mm].
POINT_OFF_MM = 5.0

_NEIGHBOUR = re.compile(r"\b(idlers?|rollers?|neighbou?r\w*)\b", re.IGNORECASE)


@dataclass(frozen=True)
class _Taped:
    """Squareness as it was measured, with nothing missing; the distance along the belt 0 where it was not given."""

    way: SquareMethod
    drive_mm: float
    off_mm: float
    spacing_mm: float
    distance_mm: float

    @property
    def out(self) -> float:
        """How much further along the belt the off-side bracket lies [mm]."""
        return run_out(
            self.way,
            self.drive_mm,
            self.off_mm,
            self.spacing_mm,
            reference_distance_mm=self.distance_mm or None,
        )

    @property
    def implied_mm(self) -> float:
        """The distance along the belt that the other lengths make [mm]."""
        return implied_distance(self.way, self.drive_mm, self.off_mm, self.spacing_mm)


@dataclass(frozen=True)
class SquareLines(Sheet):
    """Lines of the second and third section."""

    def lines(self) -> Iterator[FitUpLine]:
        """Squareness, centring."""
        yield self.square_line()
        yield self.centre_line()

    def square_line(self) -> FitUpLine:
        """How far one bracket lies ahead of the other."""
        key, section, limit = "square_mm", "square", SQUARE_WITHIN_MM
        taped = _taped(self.m)
        if taped is None:
            why = Reason(FitUpRule.NEEDS_FOR_SQUARE, {"missing": _missing(self.m)})
            return judged(key, section, None, 0.0, -limit, limit, WantedSource.PRACTICE, why)
        try:
            out = taped.out
            angle = skew_deg(out, taped.spacing_mm)
        except (ValueError, ZeroDivisionError):
            why = _no_triangle(taped)
            return FitUpLine(key, section, None, 0.0, -limit, limit, Verdict.REFUSED, WantedSource.PRACTICE, (why,))
        known = {
            "spacing_mm": taped.spacing_mm,
            "skew_deg": abs(angle),
            "per_metre": 1000 * abs(out) / taped.spacing_mm,
        }
        why = Reason(FitUpRule.SKEW, {"run_out": _run_out(taped, out), **known})
        to_do = None
        if abs(out) > limit + SLACK_MM:
            further = FitSide.OFF if out > 0 else FitSide.DRIVE
            to_do = Reason(FitUpRule.DO_SQUARE, {"side": further, "out_mm": abs(out)})
        return judged(key, section, out, 0.0, -limit, limit, WantedSource.PRACTICE, why, to_do=to_do)

    def centre_line(self) -> FitUpLine:
        """Frame to bracket on both sides."""
        key, section, within = "centre_mm", "centre", CENTRE_WITHIN_MM
        drive, off = self.m.centre_drive_mm, self.m.centre_off_mm
        if drive is None or off is None:
            why = Reason(FitUpRule.NEEDS_BOTH_SIDES)
            return judged(key, section, None, 0.0, -within, within, WantedSource.PRACTICE, why)
        apart, half = drive - off, abs(half_difference(drive, off))
        why = Reason(FitUpRule.CENTRE_APART, {"drive_mm": drive, "off_mm": off, "apart_mm": apart, "half_mm": half})
        to_do = None
        if abs(apart) > within + SLACK_MM:
            side = FitSide.DRIVE if apart > 0 else FitSide.OFF
            to_do = Reason(FitUpRule.DO_CENTRE, {"half_mm": half, "side": side, "then_mm": (drive + off) / 2})
        return judged(key, section, apart, 0.0, -within, within, WantedSource.PRACTICE, why, to_do=to_do)

    def warnings(self) -> Iterator[Reason]:
        """What is weak about the reference that squareness was measured from."""
        m = self.m
        if m.square_drive_mm is None and m.square_off_mm is None:
            return
        if not m.square_reference.strip():
            yield Reason(FitUpRule.REFERENCE_UNNAMED)
        elif _NEIGHBOUR.search(m.square_reference):
            yield Reason(FitUpRule.REFERENCE_IS_IDLER, {"reference": m.square_reference.strip()})
        if not m.reference_was_checked:
            yield Reason(FitUpRule.REFERENCE_UNCHECKED)
        taped = _taped(m)
        if taped is not None and taped.way is not SquareMethod.PARALLEL:
            yield from _distance_warnings(taped)


def _taped(m: Measures) -> _Taped | None:
    """Squareness as it was measured; None where something is missing."""
    drive, off, spacing = m.square_drive_mm, m.square_off_mm, m.bracket_spacing_mm
    if not m.squareness_way or drive is None or off is None or spacing is None:
        return None
    return _Taped(SquareMethod(m.squareness_way), drive, off, spacing, m.reference_distance_mm or 0.0)


def _missing(m: Measures) -> tuple[Reason, ...]:
    asked = (
        (Missing.WAY, m.squareness_way),
        (Missing.SPACING, m.bracket_spacing_mm),
        (Missing.DRIVE, m.square_drive_mm),
        (Missing.OFF, m.square_off_mm),
    )
    return tuple(Reason(name) for name, given in asked if given in (None, ""))


def _run_out(taped: _Taped, out: float) -> Reason:
    """The arithmetic of the run-out."""
    known = {"drive_mm": taped.drive_mm, "off_mm": taped.off_mm, "out_mm": out}
    if taped.way is SquareMethod.PARALLEL:
        return Reason(FitUpRule.RUN_OUT_PARALLEL, known)
    rule = FitUpRule.RUN_OUT_GIVEN if taped.distance_mm else FitUpRule.RUN_OUT_IMPLIED
    length, times = taped.distance_mm or taped.implied_mm, 2 if taped.way is SquareMethod.CENTRE_POINT else 4
    return Reason(rule, {**known, "times": times, "length_mm": length})


def _no_triangle(taped: _Taped) -> Reason:
    """Why the measures of squareness and the spacing cannot be of one place."""
    known = {"drive_mm": taped.drive_mm, "off_mm": taped.off_mm, "spacing_mm": taped.spacing_mm}
    if taped.way is SquareMethod.PARALLEL or taped.distance_mm:
        how = _run_out(taped, taped.out)
        return Reason(FitUpRule.RUN_OUT_ABOVE, {"run_out": how, "spacing_mm": taped.spacing_mm})
    is_point = taped.way is SquareMethod.CENTRE_POINT
    return Reason(FitUpRule.NO_TRIANGLE_POINT if is_point else FitUpRule.NO_TRIANGLE_DIAGONALS, known)


def _distance_warnings(taped: _Taped) -> Iterator[Reason]:
    """A distance along the belt that the other lengths speak against, or that is too short."""
    try:
        implied = taped.implied_mm
    except ValueError:
        return
    given = taped.distance_mm
    if given and abs(given - implied) > max(10 * TAPE_AGREES_WITHIN_MM, 0.01 * implied):
        yield Reason(FitUpRule.REFERENCE_DISTANCE_DIFFERS, {"given_mm": given, "implied_mm": implied})
    length = given or implied
    if taped.way is SquareMethod.CENTRE_POINT and length < LEAST_REFERENCE_SPACINGS * taped.spacing_mm - SLACK_MM:
        yield Reason(
            FitUpRule.REFERENCE_NEAR,
            {
                "length_mm": length,
                "spacings": LEAST_REFERENCE_SPACINGS,
                "off_mm": POINT_OFF_MM,
                "feigned_deg": math.degrees(math.atan(POINT_OFF_MM / length)),
            },
        )
