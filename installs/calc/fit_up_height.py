"""Bracket heights of a fit-up: belt underside, lift, and the drop from bracket to roller top. All lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from installs.calc.fit_up_geometry import SLACK_MM, bracket_height
from installs.calc.fit_up_lines import FitUpLine, Sheet, Verdict, WantedSource, judged
from installs.calc.fit_up_rules import FitSide, FitUpRule
from plant.calc.reasons import Reason

# Common practice, no source: start values where the model states nothing [mm].
LIFT_MM = 13.0
HEIGHT_TOLERANCE_MM = 3.0

SECTION = "height"


@dataclass(frozen=True)
class _Lift:
    """Wanted, least and most lift, and where the wanted one comes from."""

    wanted: float
    low: float
    high: float
    source: WantedSource


@dataclass(frozen=True)
class HeightLines(Sheet):
    """Lines of the fourth section."""

    def lines(self) -> Iterator[FitUpLine]:
        """Lift, both bracket heights, and one side against the other."""
        lift = self.lift()
        yield self.lift_line(lift)
        for side in FitSide:
            yield self.height_line(side, lift)
        yield self.level_line()

    def lift(self) -> _Lift:
        """As chosen, else as the model states it, else as common practice has it."""
        least, most = self.model.belt_lift_least_mm, self.model.belt_lift_most_mm
        low = least if least is not None else 0.0
        high = most if most is not None else math.inf
        if self.m.wanted_lift_mm is not None:
            return _Lift(self.m.wanted_lift_mm, low, high, WantedSource.CHOSEN)
        if least is None and most is None:
            return _Lift(LIFT_MM, low, high, WantedSource.PRACTICE)
        return _Lift(min(max(LIFT_MM, low), high), low, high, WantedSource.MODEL)

    def lift_line(self, wanted: _Lift) -> FitUpLine:
        """The lift against what the model takes."""
        key, lift, most = "wanted_lift_mm", self.m.wanted_lift_mm, self.model.belt_lift_most_mm
        if lift is not None and most is not None and lift > most + SLACK_MM:
            why = Reason(FitUpRule.LIFT_ABOVE, {"lift_mm": lift, "over_mm": lift - most, "most_mm": most})
            return FitUpLine(key, SECTION, lift, None, wanted.low, most, Verdict.REFUSED, WantedSource.MODEL, (why,))
        if self.model.belt_lift_least_mm is None and most is None:
            why = Reason(FitUpRule.LIFT_NOT_STATED, {"lift_mm": LIFT_MM})
            return FitUpLine(key, SECTION, lift, LIFT_MM, None, None, Verdict.NOT_STATED, WantedSource.PRACTICE, (why,))
        return judged(key, SECTION, wanted.wanted, None, wanted.low, most, wanted.source, is_start_value=lift is None)

    def height_line(self, side: FitSide, lift: _Lift) -> FitUpLine:
        """The bracket of one side."""
        key, drop, most = f"bracket_height_{side}_mm", self.model.roller_drop_mm, self.model.belt_lift_most_mm
        mark, height = getattr(self.m, f"belt_mark_{side}_mm"), getattr(self.m, key)
        if drop is None:
            why = (Reason(FitUpRule.DROP_NOT_STATED),)
            return FitUpLine(key, SECTION, height, None, None, None, Verdict.NOT_STATED, why=why)
        if mark is None:
            why = (Reason(FitUpRule.NEEDS_MARK),)
            return FitUpLine(key, SECTION, height, None, None, None, Verdict.OPEN, why=why)
        wanted = bracket_height(mark, lift.wanted, drop)
        low, high = wanted - HEIGHT_TOLERANCE_MM, wanted + HEIGHT_TOLERANCE_MM
        known = {"mark_mm": mark, "lift_mm": lift.wanted, "drop_mm": drop, "height_mm": wanted}
        told = [Reason(FitUpRule.HEIGHT_WANTED, known)]
        if height is None:
            return judged(key, SECTION, None, wanted, low, high, lift.source, *told)
        found = height - drop - mark
        if found < -SLACK_MM:
            told.append(Reason(FitUpRule.HEIGHT_STAYS_BELOW, {"height_mm": height, "below_mm": -found}))
        else:
            told.append(Reason(FitUpRule.HEIGHT_LIFTS, {"height_mm": height, "lift_mm": found}))
        if most is not None and found > most + SLACK_MM:
            told.append(Reason(FitUpRule.HEIGHT_ABOVE, {"most_mm": most}))
            return FitUpLine(key, SECTION, height, wanted, low, high, Verdict.REFUSED, lift.source, tuple(told))
        to_do = None
        if not low - SLACK_MM <= height <= high + SLACK_MM:
            way = FitUpRule.DO_RAISE if height < wanted else FitUpRule.DO_LOWER
            to_do = Reason(way, {"side": side, "by_mm": abs(height - wanted)})
        return judged(key, SECTION, height, wanted, low, high, lift.source, *told, to_do=to_do)

    def level_line(self) -> FitUpLine:
        """The lift of one side against the other."""
        key, within, drop = "level_mm", HEIGHT_TOLERANCE_MM, self.model.roller_drop_mm
        if drop is None:
            why = (Reason(FitUpRule.NEEDS_DROP),)
            return FitUpLine(key, SECTION, None, 0.0, -within, within, Verdict.NOT_STATED, why=why)
        lifts = []
        for side in FitSide:
            mark, height = getattr(self.m, f"belt_mark_{side}_mm"), getattr(self.m, f"bracket_height_{side}_mm")
            if mark is not None and height is not None:
                lifts.append(height - drop - mark)
        if len(lifts) < 2:
            needs = Reason(FitUpRule.NEEDS_MARKS_AND_HEIGHTS)
            return judged(key, SECTION, None, 0.0, -within, within, WantedSource.PRACTICE, needs)
        drive, off = lifts
        apart = Reason(FitUpRule.LEVEL_APART, {"drive_mm": drive, "off_mm": off, "apart_mm": drive - off})
        return judged(key, SECTION, drive - off, 0.0, -within, within, WantedSource.PRACTICE, apart)
