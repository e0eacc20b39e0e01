"""What people fill in when a device is fitted, put right or removed."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from installs.models import Installation
from plant.forms.base import PersonForm, RecordForm


class InstallationForm(RecordForm):
    class Meta:
        model = Installation
        fields = ["device", "conveyor", "strand", "chainage_m", "installed_at", "access", "note"]
        help_texts = {
            "chainage_m": _("Along the conveyor, from the tail pulley's centre."),
            "installed_at": _("When the belt first ran with it."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["device"].queryset = (
            self.fields["device"].queryset.filter(scrapped_on__isnull=True).select_related("device_model")
        )
        self.fields["device"].label_from_instance = lambda device: f"{device.number} ({device.device_model})"
        self.fields["conveyor"].queryset = self.fields["conveyor"].queryset.filter(retired_on__isnull=True)
        self.initial.setdefault("installed_at", timezone.now())


class InstallationChangeForm(RecordForm):
    reason = forms.CharField(label=_("why it is changed"), max_length=100, required=False)

    class Meta:
        model = Installation
        fields = ["strand", "chainage_m", "installed_at", "access", "note"]


class RemovalForm(PersonForm):
    removed_at = forms.DateTimeField(label=_("removed"))
    reason = forms.CharField(
        label=_("why it is removed"), max_length=200, help_text=_("For example: no clear change; goes to S-15.")
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class SheetForm(PersonForm):
    reason = forms.CharField(
        label=_("why it holds here"), max_length=100, help_text=_("For example: rollers of the new kind fitted.")
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class InstallationMoveForm(RemovalForm):
    state = forms.CharField(
        label=_("state of the device and where it is kept"),
        max_length=200,
        required=False,
        help_text=_("For example: rollers at 71 mm, pivot free; rack 3 of the belt store."),
    )
    left_behind = forms.CharField(
        label=_("what stays at the old place"),
        max_length=200,
        required=False,
        help_text=_("For example: both brackets, to be taken down at the next outage."),
    )
