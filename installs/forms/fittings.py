"""What people fill in to plan a fitting, to count its parts and to give it up."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from installs.models import Fitting, FittingNeed
from plant.forms.base import PersonForm, RecordForm
from plant.models import Person


def people_of(plant: Any) -> Any:
    """Active people of the plant, by name."""
    return Person.objects.filter(is_active=True, memberships__plant=plant).distinct().order_by("username")


class FittingForm(RecordForm):
    class Meta:
        model = Fitting
        fields = [
            "conveyor",
            "strand",
            "chainage_m",
            "device_model",
            "device",
            "survey",
            "outage_window",
            "planned_at",
            "duration_h",
            "crew",
            "permit_reference",
            "target_offset_mm",
            "note",
        ]
        help_texts = {
            "chainage_m": _("Along the conveyor, from the tail pulley's centre."),
            "planned_at": _("Empty: the start of the outage window."),
            "duration_h": _("Half a shift for each device is common practice."),
            "permit_reference": _("A number is no permit."),
            "target_offset_mm": _("Empty: the plant's permitted run-off."),
        }
        # The box itself tells the unit.
        labels = {"duration_h": _("duration")}
        widgets = {"crew": forms.CheckboxSelectMultiple}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields, now = self.fields, timezone.now()
        fields["conveyor"].queryset = fields["conveyor"].queryset.filter(retired_on__isnull=True)
        fields["device"].queryset = (
            fields["device"].queryset.filter(scrapped_on__isnull=True).select_related("device_model")
        )
        fields["device"].label_from_instance = lambda device: f"{device.number} ({device.device_model})"
        fields["survey"].queryset = fields["survey"].queryset.select_related("conveyor")
        windows = fields["outage_window"].queryset.filter(conveyor__plant=self.plant).select_related("conveyor")
        kept = self.instance.outage_window_id
        fields["outage_window"].queryset = (windows.filter(ends_at__gt=now) | windows.filter(pk=kept)).order_by(
            "conveyor__tag", "starts_at"
        )
        fields["outage_window"].label_from_instance = lambda window: (
            f"{window.conveyor.tag} {date_format(timezone.localtime(window.starts_at), 'D j M Y, H:i')} "
            f"– {date_format(timezone.localtime(window.ends_at), 'H:i')}"
        )
        fields["crew"].queryset = people_of(self.plant)


class FittingChangeForm(FittingForm):
    reason = forms.CharField(label=_("why it is changed"), max_length=100, required=False)


class NeedForm(RecordForm):
    class Meta:
        model = FittingNeed
        fields = ["kind", "name", "needed", "at_hand", "note"]


class NeedsForm(PersonForm):
    """How many of each part, tool and lifting aid are at hand: one box for each."""

    def __init__(self, *args: Any, fitting: Fitting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fitting = fitting
        for need in fitting.needs.all():
            self.fields[f"need_{need.pk}"] = forms.IntegerField(
                label=f"{need.get_kind_display()}: {need.name}",
                help_text=_("needed: %s") % need.needed + (f". {need.note}" if need.note else ""),
                min_value=0,
                max_value=1000,
                initial=need.at_hand,
            )

    def counts(self) -> dict[int, int]:
        return {int(name.removeprefix("need_")): count for name, count in self.cleaned_data.items()}


class GivingUpForm(PersonForm):
    reason = forms.CharField(
        label=_("why it is given up"), max_length=300, help_text=_("For example: a brace stands in the pivot's way.")
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class KeyedForm(PersonForm):
    """A form of one act: the key that the client sends makes a second sending find the first."""

    client_key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, fitting: Fitting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fitting = fitting
        self.initial.setdefault("client_key", uuid.uuid4())

    @property
    def key(self) -> uuid.UUID:
        return self.cleaned_data.get("client_key") or uuid.uuid4()
