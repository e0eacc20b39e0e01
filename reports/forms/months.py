"""What people enter about a monthly report."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm, RecordForm
from reports.models import MonthlyReport


class CommentForm(RecordForm):
    class Meta:
        model = MonthlyReport
        fields = ["comment"]
        widgets = {"comment": forms.Textarea(attrs={"rows": 8})}


class PublishForm(PersonForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class DraftForm(PersonForm):
    month = forms.RegexField(
        r"^\d{4}-(0[1-9]|1[0-2])$",
        label=_("month"),
        help_text=_("Year and month, for example 2026-10."),
        widget=forms.TextInput(attrs={"type": "month"}),
    )
    reason = forms.CharField(
        label=_("why a new edition"),
        max_length=300,
        required=False,
        help_text=_("Only where an edition of that month is published already."),
    )
    client_key = forms.UUIDField(widget=forms.HiddenInput)
