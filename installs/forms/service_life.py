"""What people fill in when a part is changed, or a device goes out of service and comes back."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from installs.models import OutOfService, PartChange
from plant.forms.base import PersonForm, RecordForm


class PartChangeForm(RecordForm):
    class Meta:
        model = PartChange
        fields = ["part", "side", "why", "changed_at", "note"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["side"].choices = [
            ("", _("both sides")),
            *[pair for pair in self.fields["side"].choices if pair[0]],
        ]
        self.fields["side"].help_text = ""
        self.initial.setdefault("changed_at", timezone.now())


class PartChangeCorrectionForm(RecordForm):
    correction_reason = forms.CharField(label=_("why it is corrected"), max_length=300)
    withdraw = forms.BooleanField(
        label=_("withdraw it: the part was not changed"), required=False, help_text=_("The row stays visible.")
    )

    class Meta:
        model = PartChange
        fields = ["part", "side", "why", "changed_at", "note"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["side"].choices = [
            ("", _("both sides")),
            *[pair for pair in self.fields["side"].choices if pair[0]],
        ]
        self.fields["side"].help_text = ""
        # A correction is a row of its own, with a key of its own.
        self.initial["client_key"] = uuid.uuid4()
        self.initial["correction_reason"] = ""

    def values(self) -> dict[str, Any]:
        return {
            name: value for name, value in super().values().items() if name not in {"correction_reason", "withdraw"}
        }


class OutOfServiceForm(RecordForm):
    class Meta:
        model = OutOfService
        fields = ["begins_at", "reason"]
        help_texts = {"reason": _("For example: pivot seized, part ordered.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("begins_at", timezone.now())


class BackInServiceForm(PersonForm):
    ends_at = forms.DateTimeField(label=_("back in service"))
    version = forms.IntegerField(widget=forms.HiddenInput)


class OutOfServiceChangeForm(RecordForm):
    class Meta:
        model = OutOfService
        fields = ["begins_at", "ends_at", "reason"]
