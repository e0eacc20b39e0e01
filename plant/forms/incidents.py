"""Forms over incidents."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm, RecordForm
from plant.forms.photos import PhotosField
from plant.models import Incident


class IncidentForm(RecordForm):
    only_day = forms.BooleanField(
        label=_("only the day is known"),
        required=False,
        help_text=_("The time of day above is then left out, and no figure takes it for a fact."),
    )
    new_photos = PhotosField(label=_("photos"), required=False)
    field_order = ("conveyor", "happened_at", "only_day")

    class Meta:
        model = Incident
        fields = [
            "conveyor",
            "happened_at",
            "strand",
            "chainage_m",
            "side",
            "offset_mm",
            "severity",
            "minutes_lost",
            "spilled_t",
            "consequence",
            "was_loaded",
            "suspected_cause",
            "source",
            "note",
        ]
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.instance.pk:
            self.initial.setdefault("happened_at", timezone.now())
        else:
            self.initial.setdefault("only_day", not self.instance.time_is_known)

    def values(self) -> dict[str, Any]:
        given = {name: value for name, value in super().values().items() if name not in ("new_photos", "only_day")}
        return {**given, "time_is_known": not self.cleaned_data["only_day"]}


class IncidentCorrectionForm(IncidentForm):
    correction_reason = forms.CharField(
        label=_("reason of the correction"),
        max_length=300,
        help_text=_("The row as it was stays visible with this reason."),
    )

    def values(self) -> dict[str, Any]:
        return {name: value for name, value in super().values().items() if name != "correction_reason"}


class WithdrawalForm(PersonForm):
    client_key = forms.UUIDField(widget=forms.HiddenInput, required=False)
    correction_reason = forms.CharField(
        label=_("why it does not count"),
        max_length=300,
        help_text=_("For example: test of the switch; switch out of place. The row stays visible with this reason."),
    )
