"""What an engineer fills in to compare other windows than the rule's."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm, RecordForm
from reports.models import StudyWindow


class StudyWindowForm(RecordForm):
    class Meta:
        model = StudyWindow
        fields = ["before_months", "after_from", "after_until", "reason"]
        help_texts = {
            "before_months": _("Whole months, so that every season counts alike; the rule takes 12."),
            "after_from": _("Empty: from the end of settling-in."),
            "after_until": _("Last day. Empty: until today or the removal."),
            "reason": _("Shown beside the verdict. Fix a window before you look at its counts."),
        }


class BackToRuleForm(PersonForm):
    client_key = forms.UUIDField(widget=forms.HiddenInput, required=False)
    reason = forms.CharField(label=_("why the rule holds again"), max_length=300)


class EffectFilterForm(PersonForm):
    """Choices of the list; filled by the view with what the plant has."""

    area = forms.ChoiceField(label=_("Area"), required=False)
    model = forms.ChoiceField(label=_("Model"), required=False)
    verdict = forms.ChoiceField(label=_("Verdict"), required=False)
    among = forms.ChoiceField(label=_("Among all"), required=False)
    state = forms.ChoiceField(label=_("Device"), required=False)
    watch = forms.ChoiceField(label=_("Rate watch"), required=False)
