"""What people fill in to try a device at a place."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from installs.models import CauseOverride, DeviceModel, LoggedStation
from installs.words.bounds import TEXTS, BoundRule
from plant.calc.reasons import Reason
from plant.calc.units import QuantityKind, UnitSystem
from plant.forms.base import PersonForm, RecordForm
from plant.forms.quantities import QuantityField
from plant.models import Conveyor, Strand
from plant.words.reasons import sentence


class TrialForm(PersonForm):
    """A device of one model on one strand at one chainage, with what was measured there."""

    device_model = forms.ModelChoiceField(
        label=_("model"), queryset=DeviceModel.objects.all(), required=False, empty_label=_("the one that suits best")
    )
    strand = forms.ChoiceField(label=_("strand"), choices=Strand.choices)
    chainage_m = QuantityField(
        kind=QuantityKind.DISTANCE_M, label=_("chainage"), help_text=_("From the tail pulley's centre.")
    )
    clearance_below_mm = QuantityField(
        kind=QuantityKind.LENGTH_MM,
        label=_("clearance below"),
        required=False,
        validators=[MinValueValidator(0), MaxValueValidator(20_000)],
        help_text=_("Over the whole pivot and tilt range."),
    )
    clearance_beside_mm = QuantityField(
        kind=QuantityKind.LENGTH_MM,
        label=_("clearance beside"),
        required=False,
        validators=[MinValueValidator(0), MaxValueValidator(20_000)],
        help_text=_("The lesser of the two sides."),
    )
    clearance_along_mm = QuantityField(
        kind=QuantityKind.LENGTH_MM,
        label=_("room along the belt"),
        required=False,
        validators=[MinValueValidator(0), MaxValueValidator(20_000)],
        help_text=_("Between the idlers or whatever stands before and behind."),
    )
    trough_angle_deg = QuantityField(
        kind=QuantityKind.DEGREES,
        label=_("trough angle"),
        required=False,
        validators=[MinValueValidator(0), MaxValueValidator(90)],
    )

    def __init__(self, *args: Any, conveyor: Conveyor, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = Reason(BoundRule.PLACE_ON_IT, {"tag": conveyor.tag, "length_m": conveyor.length_m})
        words = sentence(place, TEXTS, UnitSystem(self.person.unit_system))
        self.fields["chainage_m"].number_validators = [
            MinValueValidator(0),
            MaxValueValidator(conveyor.length_m, message=words),
        ]

    @property
    def swapped(self) -> str:
        """What is shown anew with each answer besides the verdict: the strip, and what is wrong with a box."""
        return ",".join(["#trial-strip", *(f"#errors_{name}" for name in self.fields)])


class LoggedStationForm(RecordForm):
    """A place without a drift switch where people log how the belt runs."""

    class Meta:
        model = LoggedStation
        fields = ["strand", "chainage_m", "from_on", "to_on", "logged_by", "note"]
        help_texts = {
            "chainage_m": _("From the tail pulley's centre."),
            "to_on": _("Empty while it goes on."),
            "logged_by": _("A role or a round, for example: shift leader at each walk."),
            "note": _("For example: from the walkway, empty and loaded, on the shift sheet."),
        }


class CauseOverrideForm(RecordForm):
    """Why places on a stretch need not wait until a cause is cured."""

    class Meta:
        model = CauseOverride
        fields = ["strand", "low_m", "high_m", "reason"]
        help_texts = {"reason": _("Stands with your name wherever these places are ranked.")}


class CauseOverrideChangeForm(CauseOverrideForm):
    class Meta(CauseOverrideForm.Meta):
        fields = ["strand", "low_m", "high_m", "reason", "ended_on"]
