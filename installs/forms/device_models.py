"""What people fill in about device models and their fasteners."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from installs.models import DeviceModel, Fastener, ModelPart
from plant.forms.base import RecordForm


class ReasonedForm(RecordForm):
    reason = forms.CharField(
        label=_("what changed and why"), max_length=200, required=False, help_text=_("Stands with the new sheet.")
    )


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
            "speed_least_m_s",
            "speed_most_m_s",
            "clearance_below_mm",
            "clearance_beside_mm",
            "clearance_along_mm",
            "mass_kg",
            "pivot_range_deg",
            "tilt_range_deg",
            "frame_length_least_mm",
            "frame_length_most_mm",
            "extension_most_mm",
            "end_play_least_mm",
            "end_play_most_mm",
            "roller_drop_mm",
            "belt_lift_least_mm",
            "belt_lift_most_mm",
            "sensor_gap_mm",
            "sensor_gap_tolerance_mm",
            "sensor_gap_sum_mm",
            "effect_length_least_m",
            "effect_length_m",
            "effect_length_most_m",
            "sensor_new_mm",
            "sensor_limit_mm",
            "breakaway_limit_n",
            "note",
        ]
        help_texts = {
            "name": _("Leave empty what the maker does not state; nothing is reckoned from an empty field."),
            "effect_length_m": _("How far it steers the belt, by the maker or your own measurement; else the plant's."),
        }


class DeviceModelChangeForm(DeviceModelForm, ReasonedForm):
    class Meta(DeviceModelForm.Meta):
        pass


class FastenerForm(RecordForm):
    class Meta:
        model = Fastener
        fields = [
            "place",
            "count",
            "size",
            "thread",
            "strength_class",
            "nut_factor",
            "preload_fraction",
            "torque_nm",
            "tolerance_pct",
        ]
        help_texts = {
            "torque_nm": _(
                "The maker's figure. Without one an estimate is shown, if thread, class, K and preload are."
            ),
        }


class ModelPartForm(RecordForm):
    class Meta:
        model = ModelPart
        fields = ["kind", "name", "count", "note"]
