"""What is said on and below a strip: parts, how densely incidents lie, how many devices and incidents there are."""

from __future__ import annotations

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.calc.density import Density, DensityBin
from plant.calc.running_hours import Exposure
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.models import Conveyor, ConveyorPart
from plant.words.places import place_words


def part_words(part: ConveyorPart, system: UnitSystem) -> str:
    return f"{part}, {place_words(part.strand, part.chainage_m, system)}"


def stretch_place(one: DensityBin, system: UnitSystem) -> str:
    """A stretch as people say it: "return, 500 to 550 m"."""
    low = format_quantity(one.low_m, QuantityKind.DISTANCE_M, system, with_unit=False, thousands=True)
    high = format_quantity(one.high_m, QuantityKind.DISTANCE_M, system)
    return _("%(strand)s, %(low)s to %(high)s") % {
        "strand": place_words(one.strand, None, system),
        "low": low,
        "high": high,
    }


def rounded(value: float | None, digits: int = 0) -> str:
    """A number as people read it; `number_format` alone would cut it off."""
    return number_format(round(value or 0.0, digits), digits, force_grouping=True)


def density_told(one: DensityBin, profile: Density, system: UnitSystem) -> str:
    """Count and rate with its interval: "6 incidents, 1.2 (0.4 to 2.5) in 1000 running hours and 50 m"."""
    count = ngettext("%(n)s incident", "%(n)s incidents", one.n) % {"n": one.n}
    if one.rate.per_1000_h is None:
        return count
    return _("%(count)s, %(rate)s (%(low)s to %(high)s) in 1000 running hours and %(per)s") % {
        "count": count,
        "rate": rounded(one.rate.per_1000_h, 2),
        "low": rounded(one.rate.low, 2),
        "high": rounded(one.rate.high, 2),
        "per": format_quantity(profile.per_m, QuantityKind.DISTANCE_M, system),
    }


def density_name(one: DensityBin, profile: Density, system: UnitSystem) -> str:
    return f"{stretch_place(one, system)}: {density_told(one, profile, system)}"


def density_sentence(profile: Density, exposure: Exposure, system: UnitSystem) -> str:
    """What the grey bars say, with the hours that they are per."""
    top = profile.highest
    if top is None:
        return _("No running hours of these twelve months are known: how densely incidents lie cannot be told.")
    return _(
        "Grey behind the ticks: how densely they lie. Densest: %(place)s, %(told)s. Running hours of twelve months: "
        "%(hours)s, known for %(share)s %% of the time."
    ) % {
        "place": stretch_place(top, system),
        "told": density_told(top, profile, system),
        "hours": f"{rounded(profile.hours)} h",
        "share": rounded(100 * exposure.coverage),
    }


def small_label(belt: Conveyor, n_devices: int, n_incidents: int) -> str:
    devices = ngettext("%(n)s device", "%(n)s devices", n_devices) % {"n": n_devices}
    incidents = ngettext("%(n)s incident in twelve months", "%(n)s incidents in twelve months", n_incidents)
    return f"{belt.tag}: {devices}, {incidents % {'n': n_incidents}}"
