"""Places of a belt in words."""

from __future__ import annotations

from django.utils.translation import gettext as _

from plant.calc.chainage import format_chainage
from plant.calc.units import UnitSystem
from plant.models import Strand


def place_words(strand: str, chainage_m: float | None, system: UnitSystem) -> str:
    """A place as people say it: "return, 60 m"."""
    words: dict[str, str] = {Strand.CARRY: _("carry"), Strand.RETURN: _("return")}
    where = words.get(strand, strand) or _("both strands")
    return f"{where}, {format_chainage(chainage_m, system)}" if chainage_m is not None else where
