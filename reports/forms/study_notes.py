"""What a person writes about a comparison."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm, RecordForm
from reports.models import StudyNote

HELP = _("Stays with the comparison, with your name and the time; shown beside the verdict and in its files.")


class StudyNoteForm(RecordForm):
    class Meta:
        model = StudyNote
        fields = ["text"]
        widgets = {"text": forms.Textarea(attrs={"rows": 6})}
        help_texts = {"text": HELP}


class StudyNoteCorrectForm(StudyNoteForm):
    reason = forms.CharField(label=_("why it is put right"), max_length=300)


class StudyNoteWithdrawForm(PersonForm):
    client_key = forms.UUIDField(widget=forms.HiddenInput, required=False)
    reason = forms.CharField(label=_("why it is taken back"), max_length=300)
