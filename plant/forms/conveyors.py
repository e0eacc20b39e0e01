"""What people fill in about areas, conveyors and their parts."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm, RecordForm
from plant.models import Area, Conveyor, ConveyorPart


class AreaForm(RecordForm):
    class Meta:
        model = Area
        fields = ["code", "name", "walking_order", "x_m", "y_m"]


class ConveyorForm(RecordForm):
    class Meta:
        model = Conveyor
        fields = [
            "tag",
            "name",
            "area",
            "belt_width_mm",
            "speed_m_s",
            "length_m",
            "lift_m",
            "edge_clearance_mm",
            "usual_tonnes_per_hour",
            "is_reversing",
            "duty",
            "criticality",
            "energies",
            "meter_rolls_over_at_h",
            "x_m",
            "y_m",
            "head_x_m",
            "head_y_m",
            "retired_on",
        ]


class PartForm(RecordForm):
    class Meta:
        model = ConveyorPart
        fields = ["kind", "strand", "chainage_m", "label", "note"]


class PartRemovalForm(PersonForm):
    removed_on = forms.DateField(label=_("removed on"))
    reason = forms.CharField(label=_("reason"), max_length=100, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)
