"""Why a place is not on a conveyor, or a conveyor cannot be as it was given."""

from __future__ import annotations

from enum import StrEnum

from django.utils.translation import gettext_lazy as _

from plant.words.reasons import Texts


class PlaceRule(StrEnum):
    """What a place on a belt breaks."""

    OFF_BELT = "places.off_belt"
    INCIDENT_OFF_BELT = "places.incident_off_belt"
    FROM_ZERO = "places.from_zero"
    PART_BEYOND = "places.part_beyond"
    PART_KNOWN = "places.part_known"


TEXTS: Texts = {
    PlaceRule.OFF_BELT: _("%(given_m)s is not on %(tag)s: give 0 to %(length_m)s, counted from the tail pulley."),
    PlaceRule.INCIDENT_OFF_BELT: _(
        "Chainage %(given_m)s is off the belt: %(tag)s reaches from 0 to %(length_m)s. Measure from the tail pulley."
    ),
    PlaceRule.FROM_ZERO: _("From 0 to %(length_m)s."),
    PlaceRule.PART_BEYOND: _(
        "%(part)s sits at %(place_m)s, beyond %(length_m)s. Move or remove it first, then shorten the belt."
    ),
    PlaceRule.PART_KNOWN: _("%(tag)s has a %(kind)s already, at %(place_m)s. Change that one."),
}
