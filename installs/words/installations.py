"""What is said of a device in its place: where, how long, and what speaks against it there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from installs.models import Device, Installation
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.models import Conveyor, Strand
from plant.words.moments import moment_words


def range_words(low: float | None, high: float | None, system: UnitSystem) -> str:
    """500 mm to 900 mm; at most 900 mm; at least 500 mm."""
    least, most = (format_quantity(each, QuantityKind.LENGTH_MM, system) for each in (low or 0.0, high or 0.0))
    if low is None and high is not None:
        return _("at most %(high)s") % {"high": most}
    if high is None and low is not None:
        return _("at least %(low)s") % {"low": least}
    return _("%(low)s to %(high)s") % {"low": least, "high": most}


def place_words(at: Installation, system: UnitSystem = UnitSystem.METRIC) -> str:
    """S-12, return strand, at 120 m."""
    return _("%(tag)s, %(strand)s, at %(chainage)s") % {
        "tag": at.conveyor.tag,
        "strand": at.get_strand_display(),
        "chainage": format_quantity(at.chainage_m, QuantityKind.DISTANCE_M, system),
    }


def period_words(at: Installation) -> str:
    known = {"start": moment_words(at.installed_at)}
    if at.removed_at is None:
        return _("since %(start)s") % known
    return _("from %(start)s to %(end)s") % {**known, "end": moment_words(at.removed_at)}


def fit_warnings(
    device: Device,
    conveyor: Conveyor,
    strand: str,
    *,
    stated: Mapping[str, Any] | None = None,
    system: UnitSystem = UnitSystem.METRIC,
) -> list[str]:
    """What speaks against this model in this place without forbidding it; one sentence each.

    Figures that are not stated say nothing. The maker's instructions come first. `stated` is the sheet that a device
    was fitted to; without it the model as it stands counts.
    """
    model = device.device_model
    stated = stated or vars(model)
    said = []
    if stated.get("strand", strand) != strand:
        said.append(
            _("%(model)s is made for the %(made)s, this is the %(here)s.")
            % {"model": model, "made": Strand(stated["strand"]).label, "here": Strand(strand).label}
        )
    if conveyor.is_reversing and not stated.get("suits_reversing"):
        # Refused when it is fitted; a belt may be made reversing, or a sheet be put right, afterwards.
        said.append(
            _(
                "%(tag)s is a reversing belt and %(model)s is not made for both directions: in reverse it steers the "
                "belt off."
            )
            % {"tag": conveyor.tag, "model": model}
        )
    low, high = stated.get("belt_width_least_mm"), stated.get("belt_width_most_mm")
    width = conveyor.belt_width_mm
    if (low is not None and width < low) or (high is not None and width > high):
        said.append(
            _("The belt is %(width)s wide; %(model)s is stated for %(range)s.")
            % {
                "width": format_quantity(width, QuantityKind.LENGTH_MM, system),
                "model": model,
                "range": range_words(low, high, system),
            }
        )
    speed_most_m_s = stated.get("speed_most_m_s")
    if speed_most_m_s is not None and conveyor.speed_m_s > speed_most_m_s:
        shown = [format_quantity(each, QuantityKind.SPEED_M_S, system) for each in (conveyor.speed_m_s, speed_most_m_s)]
        said.append(
            _("The belt runs at %(speed)s; %(model)s is stated for up to %(most)s.")
            % {"speed": shown[0], "model": model, "most": shown[1]}
        )
    return said
