"""What is said on the strip of devices: where each steers, what lies out of their reach."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from installs.calc.effect_zones import Zone
from installs.models import Installation
from installs.words.placement import stretch_words
from plant.calc.units import UnitSystem
from plant.words.places import place_words


def reach_sentences(total: int, n_outside: int) -> tuple[str, ...]:
    """What belongs to the first paragraph of the belt's page; nothing where nothing lies out of reach."""
    if not n_outside:
        return ()
    if n_outside == total:
        return (_("None of them lies where a device reaches."),)
    words = ngettext(
        "%(n)s of the %(total)s lies where no device reaches.",
        "%(n)s of the %(total)s lie where no device reaches.",
        n_outside,
    )
    return (words % {"n": n_outside, "total": total},)


def device_words(installation: Installation, zones: Sequence[Zone], system: UnitSystem) -> tuple[str, str]:
    name = _("device %(number)s, %(place)s") % {
        "number": installation.device.number,
        "place": place_words(installation.strand, installation.chainage_m, system),
    }
    if not zones:
        return name, _("steers nothing: no belt lies downstream of it")
    return name, _("steers %s") % _(" and ").join(stretch_words(zone, system) for zone in sorted(zones))
