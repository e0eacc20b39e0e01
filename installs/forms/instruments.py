"""What people fill in about an instrument."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from installs.models import Instrument
from plant.forms.base import RecordForm


class InstrumentForm(RecordForm):
    class Meta:
        model = Instrument
        fields = [
            "number",
            "kind",
            "range_least_nm",
            "range_most_nm",
            "deviation_pct",
            "calibrated_on",
            "calibration_due_on",
            "certificate",
            "note",
        ]
        help_texts = {
            "deviation_pct": _(
                "From the certificate. A torque wrench left empty gets 4 %, up to 10 N·m 6 % (ISO 6789)."
            ),
            "range_least_nm": _("Torque wrenches only."),
        }


class InstrumentChangeForm(RecordForm):
    class Meta(InstrumentForm.Meta):
        fields = ["number", "kind", "range_least_nm", "range_most_nm", "deviation_pct", "retired_on", "note"]


class CalibrationForm(RecordForm):
    class Meta(InstrumentForm.Meta):
        fields = ["calibrated_on", "calibration_due_on", "certificate", "deviation_pct"]
        help_texts = {"deviation_pct": _("As the certificate says; empty keeps the figure in the book.")}
