"""Numbers of tools, devices, places and readings that cannot be, with what is allowed instead."""

from __future__ import annotations

from enum import StrEnum

from django.utils.translation import gettext_lazy as _

from plant.words import conveyors
from plant.words.reasons import Texts


class BoundRule(StrEnum):
    """What a number breaks."""

    NEGATIVE_LENGTH = "bounds.negative_length"
    NEGATIVE_TORQUE = "bounds.negative_torque"
    RANGE_OF_NOTHING = "bounds.range_of_nothing"
    RANGE_ORDER = "bounds.range_order"
    STATION_OFF_BELT = "bounds.station_off_belt"
    STATION_TWICE = "bounds.station_twice"
    OFFSET_BEYOND_BELT = "bounds.offset_beyond_belt"
    STRETCH_OFF_BELT = "bounds.stretch_off_belt"
    STRETCH_ORDER = "bounds.stretch_order"
    DEVICE_STANDS = "bounds.device_stands"
    DEVICE_STOOD = "bounds.device_stood"
    PLACE_TAKEN = "bounds.place_taken"
    PLACE_PLANNED = "bounds.place_planned"
    PLACE_PLANNED_AT = "bounds.place_planned_at"
    PLACE_ON_IT = "bounds.place_on_it"
    WIDTH_ORDER = "bounds.width_order"
    SPEED_ORDER = "bounds.speed_order"
    FRAME_ORDER = "bounds.frame_order"
    END_PLAY_ORDER = "bounds.end_play_order"
    LIFT_ORDER = "bounds.lift_order"
    LEAST_EFFECT = "bounds.least_effect"
    MOST_EFFECT = "bounds.most_effect"
    EFFECT_ORDER = "bounds.effect_order"
    SENSOR_LIMIT = "bounds.sensor_limit"


TEXTS: Texts = {
    **conveyors.TEXTS,
    BoundRule.NEGATIVE_LENGTH: _("%(given_mm)s is negative; give %(least_mm)s or more."),
    BoundRule.NEGATIVE_TORQUE: _("%(given_nm)s is negative; give %(least_nm)s or more, or leave it empty."),
    BoundRule.RANGE_OF_NOTHING: _("A range that ends at %(most_nm)s measures nothing; give its largest torque."),
    BoundRule.RANGE_ORDER: _("The range runs from %(low_nm)s to %(high_nm)s; give the smaller torque first."),
    BoundRule.STATION_OFF_BELT: _("A station at %(at_m)s is not on %(tag)s: give 0 to %(length_m)s."),
    BoundRule.STATION_TWICE: _("The station at %(at_m)s is there twice. Leave one out."),
    BoundRule.OFFSET_BEYOND_BELT: _(
        "%(given_mm)s at %(at_m)s is more than the belt is wide (%(width_mm)s). Check the reading."
    ),
    BoundRule.STRETCH_OFF_BELT: _("%(at_m)s is not on %(tag)s: give 0 to %(length_m)s."),
    BoundRule.STRETCH_ORDER: _("From %(low_m)s to %(high_m)s; give the end nearer to the tail first."),
    BoundRule.DEVICE_STANDS: _(
        "Device %(number)s stands on %(tag)s, %(strand)s, at %(at_m)s %(period)s. Record its removal there first."
    ),
    BoundRule.DEVICE_STOOD: _(
        "Device %(number)s stood on %(tag)s, %(strand)s, at %(at_m)s %(period)s; a device is in one place at a time. "
        "Check both."
    ),
    BoundRule.PLACE_TAKEN: _(
        "The place %(tag)s, %(strand)s, at %(at_m)s holds device %(number)s %(period)s. Record its removal or give "
        "another place."
    ),
    BoundRule.PLACE_PLANNED: _(
        "A fitting is planned for this place already: %(tag)s, %(strand)s, %(at_m)s, %(model)s, at no time yet. Change "
        "that plan or give it up first, or give another place."
    ),
    BoundRule.PLACE_PLANNED_AT: _(
        "A fitting is planned for this place already: %(tag)s, %(strand)s, %(at_m)s, %(model)s, %(when)s. Change that "
        "plan or give it up first, or give another place."
    ),
    BoundRule.PLACE_ON_IT: _("%(tag)s is %(length_m)s long: give a place on it."),
    BoundRule.WIDTH_ORDER: _("Belt widths run from %(low_mm)s to %(high_mm)s; give the narrow one first."),
    BoundRule.SPEED_ORDER: _("Belt speeds run from %(low_m_s)s to %(high_m_s)s; give the least first."),
    BoundRule.FRAME_ORDER: _("Frame lengths run from %(low_mm)s to %(high_mm)s; give the short one first."),
    BoundRule.END_PLAY_ORDER: _("End play runs from %(low_mm)s to %(high_mm)s; give the least first."),
    BoundRule.LIFT_ORDER: _("Belt lift runs from %(low_mm)s to %(high_mm)s; give the least first."),
    BoundRule.LEAST_EFFECT: _(
        "The least effect length is %(low_m)s, the one to reckon with %(high_m)s; the least cannot be more."
    ),
    BoundRule.MOST_EFFECT: _("The effect length is %(low_m)s, its most %(high_m)s; the most cannot be less."),
    BoundRule.EFFECT_ORDER: _("Effect lengths run from %(low_m)s to %(high_m)s; give the least first."),
    BoundRule.SENSOR_LIMIT: _(
        "The sensor roller's limit is %(low_mm)s, its new diameter %(high_mm)s; the limit must be below it."
    ),
}
