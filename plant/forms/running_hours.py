"""Forms over running hours and meter readings."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.forms.base import RecordForm
from plant.models import MeterReading, RunRecord

REASON: dict[str, Any] = {
    "label": _("reason of the correction"),
    "max_length": 300,
    "help_text": _("The row as it was stays visible with this reason."),
}


NOT_KEPT = ("correction_reason", "withdraw")


def withdraw_field() -> forms.BooleanField:
    return forms.BooleanField(
        label=_("It does not count at all"),
        required=False,
        help_text=_("For example a row that was entered twice. It stays visible with the reason; no hours come of it."),
    )


class RunRecordForm(RecordForm):
    class Meta:
        model = RunRecord
        fields = ["kind", "starts_at", "ends_at", "running_h", "source"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["running_h"].required = False
        self.fields["running_h"].help_text = _("Needed for hours in a span only.")


class RunRecordCorrectionForm(RunRecordForm):
    withdraw = withdraw_field()
    correction_reason = forms.CharField(**REASON)

    def values(self) -> dict[str, Any]:
        return {name: value for name, value in super().values().items() if name not in NOT_KEPT}


class MeterReadingForm(RecordForm):
    keep_doubtful = forms.BooleanField(
        label=_("The meter really shows this"),
        required=False,
        help_text=_("Kept and set aside: it never turns into running hours until it fits or is corrected."),
    )

    class Meta:
        model = MeterReading
        fields = ["read_at", "reading_h", "event", "note"]


class MeterReadingCorrectionForm(MeterReadingForm):
    withdraw = withdraw_field()
    correction_reason = forms.CharField(**REASON)

    def values(self) -> dict[str, Any]:
        return {name: value for name, value in super().values().items() if name not in NOT_KEPT}
