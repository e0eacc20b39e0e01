"""What people fill in about device models and their fasteners."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from installs.models import DeviceModel, Fastener
from plant.forms.base import RecordForm


class DeviceModelForm(RecordForm):
    class Meta:
        model = DeviceModel
        fields = [
            "name",
            "strand",
            "suits_reversing",
            "pivot",
            "trough_angle_deg",
            "belt_width_least_mm",
            "belt_width_most_mm",
            "speed_most_m_s",
            "clearance_below_mm",
            "clearance_beside_mm",
            "mass_kg",
            "effect_length_m",
            "sensor_new_mm",
            "sensor_limit_mm",
            "breakaway_limit_n",
            "note",
        ]
        help_texts = {
            "effect_length_m": _("How far it steers the belt, by the maker or your own measurement; else the plant's."),
        }


class FastenerForm(RecordForm):
    class Meta:
        model = Fastener
        fields = ["place", "count", "size", "torque_nm", "tolerance_pct"]
