"""What people fill in about outage windows and changes to belts."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm, RecordForm
from plant.models import BeltChange, OutageWindow


class OutageForm(RecordForm):
    class Meta:
        model = OutageWindow
        fields = ["conveyor", "starts_at", "ends_at", "reason"]


class OutageCancelForm(PersonForm):
    why = forms.CharField(label=_("why it is taken out"), max_length=100, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)


class BeltChangeForm(RecordForm):
    class Meta:
        model = BeltChange
        fields = ["conveyor", "changed_at", "kind", "chainage_m", "description", "cuts_comparison"]
