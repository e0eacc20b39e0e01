"""What people fill in about a device."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from installs.models import Device
from plant.forms.base import PersonForm, RecordForm


class DeviceForm(RecordForm):
    class Meta:
        model = Device
        fields = ["number", "device_model", "serial", "note"]


class DeviceChangeForm(DeviceForm):
    class Meta(DeviceForm.Meta):
        fields = ["number", "device_model", "serial", "scrapped_on", "note"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.scrapped_on is None:
            del self.fields["scrapped_on"]  # scrapping is an act of its own, with a reason


class ScrapForm(PersonForm):
    scrapped_on = forms.DateField(label=_("scrapped on"))
    reason = forms.CharField(
        label=_("why it is scrapped"), max_length=200, help_text=_("For example: frame bent, no part of it is kept.")
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
