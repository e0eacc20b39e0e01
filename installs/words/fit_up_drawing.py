"""What stands on the drawing of a fit-up, and the same drawing in sentences."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from installs.calc.fit_up_lines import FitUpLine
from installs.calc.fit_up_measures import Measures
from plant.calc.units import QuantityKind, UnitSystem, format_quantity

# A belt that lies nearer to the centre line than this is drawn on it [mm].
CENTRED_WITHIN_MM = 0.05


@dataclass(frozen=True)
class DrawingWords:
    """The texts of one drawing, in the reader's units."""

    m: Measures
    system: UnitSystem

    def mm(self, value: float | None) -> str:
        return _("not measured") if value is None else format_quantity(value, QuantityKind.LENGTH_MM, self.system)

    def found(self, line: FitUpLine) -> str:
        """What was measured, else what is wanted."""
        if line.measured is not None:
            return self.mm(line.measured)
        if line.wanted is not None and line.wanted < 0:
            return _("not possible")
        return _("not measured") if line.wanted is None else _("wanted %s") % self.mm(line.wanted)

    def spacing(self) -> str:
        return _("spacing %s") % self.mm(self.m.bracket_spacing_mm)

    def frame(self) -> str:
        return _("frame %s") % self.mm(self.m.frame_length_mm)

    def clear(self) -> str:
        return _("clear between sensors %s") % self.mm(self.m.sensor_clear_mm)

    def belt(self) -> str:
        return _("belt %s") % self.mm(self.m.belt_width_mm)

    def skew(self, angle_deg: float | None) -> str:
        """Empty where it is not known."""
        return "" if angle_deg is None else _("skew %s°") % f"{abs(angle_deg):.2f}"

    def place(self, off_centre_mm: float) -> str:
        """Where the belt lies, the drive side positive; empty where nobody told."""
        if abs(off_centre_mm) < CENTRED_WITHIN_MM:
            return _("belt centred") if self.m.belt_off_by_mm == 0 else ""
        off = self.mm(abs(off_centre_mm))
        return _("%s to the drive side") % off if off_centre_mm > 0 else _("%s to the off side") % off

    def lift(self, lift_mm: float | None) -> str:
        return _("lift not measured") if lift_mm is None else _("lift %s") % self.mm(lift_mm)

    def cut_off(self, furthest_mm: float) -> str:
        return _("Heights beyond %s are cut off.") % self.mm(furthest_mm)

    def from_above(self, drive: FitUpLine, off: FitUpLine, skew: str) -> str:
        """The upper view."""
        return _(
            "From above: bracket spacing %(spacing)s, frame %(frame)s, extension drive side %(drive)s, "
            "off side %(off)s%(skew)s."
        ) % {
            "spacing": self.mm(self.m.bracket_spacing_mm),
            "frame": self.mm(self.m.frame_length_mm),
            "drive": self.found(drive),
            "off": self.found(off),
            "skew": skew and f", {skew}",
        }

    def along_travel(self, drive: FitUpLine, off: FitUpLine, place: str, lifts: list[str]) -> str:
        """The lower view."""
        return _(
            "Along travel: belt %(belt)s, clear between sensors %(clear)s, %(place)s; gap drive side %(drive)s, "
            "off side %(off)s; %(lift_drive)s on the drive side, %(lift_off)s on the off side."
        ) % {
            "belt": self.mm(self.m.belt_width_mm),
            "clear": self.mm(self.m.sensor_clear_mm),
            "place": place or _("its place not told"),
            "drive": self.found(drive),
            "off": self.found(off),
            "lift_drive": lifts[0],
            "lift_off": lifts[1],
        }
