"""What people enter about a monthly report."""

from __future__ import annotations

import datetime as dt

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind
from plant.forms.base import PersonForm, RecordForm
from plant.models.moments import moment_fault
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
        r"^[0-9]{4}-(0[1-9]|1[0-2])$",
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

    def clean_month(self) -> str:
        """A month that this book can have: one of its days is asked about by its year and month."""
        given = str(self.cleaned_data["month"])
        year, month = (int(part) for part in given.split("-"))
        words = moment_fault(dt.date(year, month, 1), MomentKind.HAPPENED) if year else _("There is no year 0.")
        if words:
            raise forms.ValidationError(words, code="out_of_bounds")
        return given
