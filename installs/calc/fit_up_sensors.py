"""Sensor gaps of a fit-up: their sum decides, and each is judged for where the belt lies. All lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from installs.calc.fit_up_geometry import SLACK_MM, half_difference
from installs.calc.fit_up_lines import FitUpLine, Sheet, Verdict, WantedSource, judged
from installs.calc.fit_up_rules import FitSide, FitUpRule
from installs.calc.fit_up_square import TAPE_AGREES_WITHIN_MM
from plant.calc.reasons import Reason

# Common practice, no source: start values where the model states nothing [mm].
SENSOR_GAP_MM = 19.0
SENSOR_GAP_TOLERANCE_MM = 6.0
# A tape against the width in the book: common practice, no source.
BELT_WIDTH_AGREES_WITHIN = 0.02

SECTION = "sensors"


@dataclass(frozen=True)
class _Sum:
    """Wanted sum of both gaps, tolerance either way, and where they come from."""

    wanted: float
    tolerance: float
    source: WantedSource


@dataclass(frozen=True)
class SensorLines(Sheet):
    """Lines of the fifth section."""

    def lines(self) -> Iterator[FitUpLine]:
        """Sum of both gaps, one way to it against the other, and each gap."""
        wanted, total, gaps = self.wanted_sum(), self.clear_less_belt(), self.sum_of_gaps()
        yield self.sum_line(wanted, total, gaps)
        if total is not None and total < -SLACK_MM:
            total = None
        elif total is not None and gaps is not None:
            yield self.tape_line(total, gaps)
        elif total is None:
            total = gaps
        yield from self.gap_lines(total, gaps, wanted)

    def clear_less_belt(self) -> float | None:
        """Clear distance less belt width; None where one is not measured [mm]."""
        clear, belt = self.m.sensor_clear_mm, self.m.belt_width_mm
        return None if clear is None or belt is None else clear - belt

    def sum_of_gaps(self) -> float | None:
        """Both gaps as measured; None where one is not [mm]."""
        drive, off = self.m.gap_drive_mm, self.m.gap_off_mm
        return None if drive is None or off is None else drive + off

    def wanted_sum(self) -> _Sum:
        """As the model states it, else as common practice has it."""
        model = self.model
        stated = model.sensor_gap_sum_mm is not None or model.sensor_gap_mm is not None
        each = model.sensor_gap_mm if model.sensor_gap_mm is not None else SENSOR_GAP_MM
        total = model.sensor_gap_sum_mm if model.sensor_gap_sum_mm is not None else 2 * each
        tolerance = model.sensor_gap_tolerance_mm
        return _Sum(
            total,
            SENSOR_GAP_TOLERANCE_MM if tolerance is None else tolerance,
            WantedSource.MODEL if stated else WantedSource.PRACTICE,
        )

    def sum_line(self, wanted: _Sum, clear_less_belt: float | None, gaps: float | None) -> FitUpLine:
        """The sum of both gaps, wherever the belt lies."""
        key, m = "sensor_sum_mm", self.m
        low, high = max(0.0, wanted.wanted - wanted.tolerance), wanted.wanted + wanted.tolerance
        total = gaps if clear_less_belt is None else clear_less_belt
        if clear_less_belt is not None:
            known = {"clear_mm": m.sensor_clear_mm, "belt_mm": m.belt_width_mm, "sum_mm": clear_less_belt}
            if clear_less_belt < -SLACK_MM:
                why = (Reason(FitUpRule.SUM_NEGATIVE, known),)
                return FitUpLine(key, SECTION, total, wanted.wanted, low, high, Verdict.REFUSED, wanted.source, why)
            reason = Reason(FitUpRule.SUM_OF_CLEAR, known)
        elif gaps is not None:
            known = {"drive_mm": m.gap_drive_mm, "off_mm": m.gap_off_mm, "sum_mm": gaps}
            reason = Reason(FitUpRule.SUM_OF_GAPS, known)
        else:
            reason = Reason(FitUpRule.NEEDS_FOR_SUM)
        to_do = None
        if total is not None and abs(total - wanted.wanted) > wanted.tolerance + SLACK_MM:
            rule = FitUpRule.DO_SUM_WIDE if total > wanted.wanted else FitUpRule.DO_SUM_NARROW
            by = abs(total - wanted.wanted)
            to_do = Reason(rule, {"by_mm": by, "each_mm": by / 2})
        return judged(key, SECTION, total, wanted.wanted, low, high, wanted.source, reason, to_do=to_do)

    def tape_line(self, total: float, gaps: float) -> FitUpLine:
        """The sum of both gaps against clear distance less belt width."""
        apart, within = gaps - total, TAPE_AGREES_WITHIN_MM
        why = Reason(
            FitUpRule.SUMS,
            {"drive_mm": self.m.gap_drive_mm, "off_mm": self.m.gap_off_mm, "gaps_mm": gaps, "sum_mm": total},
        )
        to_do = Reason(FitUpRule.DO_SUMS) if abs(apart) > within + SLACK_MM else None
        return judged("tape_mm", SECTION, apart, 0.0, -within, within, WantedSource.PRACTICE, why, to_do=to_do)

    def gap_lines(self, total: float | None, gaps: float | None, wanted: _Sum) -> Iterator[FitUpLine]:
        """Each gap for where the belt lies."""
        m = self.m
        where, refusal = self.belt_position(total, wanted.wanted)
        to_do = None
        if where is not None and gaps is not None and refusal is None:
            to_do = self.shift_to_do(where)
        for side in FitSide:
            key = f"gap_{side}_mm"
            measured = getattr(m, key)
            if refusal is not None:
                yield FitUpLine(key, SECTION, measured, None, None, None, Verdict.REFUSED, wanted.source, (refusal,))
                continue
            if where is None and gaps is None:
                # Where the belt lies is known from neither: the centred gap is what to aim at.
                half = wanted.wanted / 2
                centred = Reason(FitUpRule.GAP_CENTRED, {"sum_mm": wanted.wanted, "gap_mm": half})
                why = (centred, Reason(FitUpRule.NEEDS_GAPS))
                yield FitUpLine(key, SECTION, measured, half, None, None, Verdict.OPEN, wanted.source, why)
                continue
            known = where if where is not None else half_difference(m.gap_off_mm or 0, m.gap_drive_mm or 0)
            base = wanted.wanted
            if abs(known) > base / 2:
                # So far off that the wanted sum leaves no gap there: the sum as it is, which has a line of its own.
                base = max(each for each in (total, gaps, 2 * abs(known)) if each is not None)
            gap = base / 2 - known if side is FitSide.DRIVE else base / 2 + known
            reason = gap_reason(side, known, base, gap, is_told=where is not None)
            low, high = max(0.0, gap - wanted.tolerance), gap + wanted.tolerance
            yield judged(key, SECTION, measured, gap, low, high, wanted.source, reason, to_do=to_do)

    def belt_position(self, total: float | None, wanted_sum: float) -> tuple[float | None, Reason | None]:
        """How far the belt was said to lie towards the drive side [mm], and why that cannot be."""
        m = self.m
        if m.belt_off_by_mm == 0:
            return 0.0, None
        if not m.belt_lies_to or m.belt_off_by_mm is None:
            return None, None
        half = (wanted_sum if total is None else total) / 2
        if m.belt_off_by_mm > half + SLACK_MM:
            return None, Reason(FitUpRule.BELT_IN_SENSOR, {"off_by_mm": m.belt_off_by_mm, "half_mm": half})
        return m.belt_off_by_mm if m.belt_lies_to == FitSide.DRIVE else -m.belt_off_by_mm, None

    def shift_to_do(self, where: float) -> Reason | None:
        """In on one side, out on the other, so that the gaps suit where the belt lies."""
        shift = where - half_difference(self.m.gap_off_mm or 0, self.m.gap_drive_mm or 0)
        if abs(shift) <= TAPE_AGREES_WITHIN_MM + SLACK_MM:
            return None
        inward = FitSide.DRIVE if shift > 0 else FitSide.OFF
        return Reason(FitUpRule.DO_SHIFT, {"shift_mm": abs(shift), "inward": inward, "outward": inward.other})

    def warnings(self, nominal_belt_width_mm: float | None) -> Iterator[Reason]:
        """A belt that is not as wide as the book says."""
        belt, nominal = self.m.belt_width_mm, nominal_belt_width_mm
        if belt is not None and nominal and abs(belt - nominal) > BELT_WIDTH_AGREES_WITHIN * nominal + SLACK_MM:
            yield Reason(FitUpRule.BELT_WIDTH_DIFFERS, {"belt_mm": belt, "nominal_mm": nominal})


def gap_reason(side: FitSide, known: float, sum_mm: float, gap_mm: float, *, is_told: bool) -> Reason:
    """The arithmetic of one gap.

    Parameters
    ----------
    side : FitSide
    known : float
        How far the belt lies towards the drive side [mm].
    sum_mm, gap_mm : float
        Sum of both gaps, and the gap wanted on this side [mm].
    is_told : bool
        Where it lies was measured; else the gaps tell it.

    Returns
    -------
    Reason
    """
    if abs(known) <= SLACK_MM:
        return Reason(FitUpRule.GAP_CENTRED, {"sum_mm": sum_mm, "gap_mm": gap_mm})
    lies_to = FitSide.DRIVE if known > 0 else FitSide.OFF
    if side is lies_to:
        rule = FitUpRule.GAP_NEAR if is_told else FitUpRule.GAP_NEAR_BY_GAPS
    else:
        rule = FitUpRule.GAP_FAR if is_told else FitUpRule.GAP_FAR_BY_GAPS
    return Reason(rule, {"off_by_mm": abs(known), "side": lies_to, "sum_mm": sum_mm, "gap_mm": gap_mm})
