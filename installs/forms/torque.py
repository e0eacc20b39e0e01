"""Torque at the installation as people sign it off."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.forms.commissioning import MomentLater
from installs.forms.fittings import KeyedForm
from installs.models import Fastener, Instrument, TorqueSignOff
from installs.selectors.torque import FastenerRow
from installs.words.torque import fastener_names
from plant.calc.units import QuantityKind
from plant.forms.base import PersonForm
from plant.forms.quantities import QuantityField
from plant.words.moments import day_words


def box_name(fastener: Fastener, number: int) -> str:
    return f"torque_{fastener.pk}_{number}_nm"


class TorqueForm(PersonForm):
    """One tool and method for all boxes that are filled in; a box for each fastener."""

    client_key = forms.UUIDField(widget=forms.HiddenInput)
    instrument = forms.ModelChoiceField(
        label=gettext_lazy("torque wrench"),
        queryset=Instrument.objects.none(),
        required=False,
        empty_label=gettext_lazy("none named"),
    )
    method = forms.ChoiceField(
        label=gettext_lazy("method"), choices=TorqueSignOff.Method.choices, initial=TorqueSignOff.Method.TIGHTENING
    )
    override_reason = forms.CharField(
        label=gettext_lazy("why this tool all the same"),
        max_length=300,
        required=False,
        help_text=gettext_lazy("Only where the tool is out of calibration or range. It stays visible."),
    )

    def __init__(self, *args: Any, rows: list[FastenerRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        self.fields["client_key"].initial = uuid.uuid4
        tools = Instrument.objects.of_plant(self.plant).filter(kind=Instrument.Kind.TORQUE_WRENCH)
        self.fields["instrument"].queryset = tools.select_related("plant").order_by("retired_on", "number")
        self.fields["instrument"].label_from_instance = instrument_words
        for group in rows:
            for number in range(1, len(group.signed) + 1):
                self.fields[box_name(group.fastener, number)] = box = QuantityField(
                    kind=QuantityKind.TORQUE_NM, required=False, label=_("%(place)s %(number)s as left")
                    % {"place": group.fastener.place, "number": number},
                )  # fmt: skip
                box.use_units(self.person.unit_system)

    def groups(self) -> list[dict[str, Any]]:
        """Each group with its boxes, what was signed off there and what was passed over."""
        return [
            {
                "row": group,
                "ones": [
                    {"number": number, "field": self[box_name(group.fastener, number)], "signed": one, "passed": passed}
                    for number, (one, passed) in enumerate(zip(group.signed, group.passed, strict=True), start=1)
                ],
            }
            for group in self.rows
        ]

    def torques(self) -> dict[tuple[Fastener, int], float]:
        """The boxes that were filled in."""
        return {
            (group.fastener, number): self.cleaned_data[box_name(group.fastener, number)]
            for group in self.rows
            for number in range(1, len(group.signed) + 1)
            if self.cleaned_data.get(box_name(group.fastener, number)) is not None
        }


def instrument_words(instrument: Instrument) -> str:
    """How a wrench stands in the list: its number and till when its calibration holds."""
    if instrument.retired_on:
        return _("%(number)s, no longer used") % {"number": instrument.number}
    if instrument.calibration_due_on is None:
        return _("%(number)s, never calibrated") % {"number": instrument.number}
    is_late = instrument.calibration_due_on < timezone.localdate(timezone=instrument.plant.zone)
    words = _("%(number)s, out of date since %(due)s") if is_late else _("%(number)s, in date to %(due)s")
    return words % {
        "number": instrument.number,
        "due": day_words(instrument.calibration_due_on),
    }


class TorqueWithdrawalForm(PersonForm):
    client_key = forms.UUIDField(widget=forms.HiddenInput)
    reason = forms.CharField(label=gettext_lazy("why it is withdrawn"), max_length=300)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["client_key"].initial = uuid.uuid4


def tick_of(each: tuple[Fastener, int]) -> str:
    """What the box of one fastener sends."""
    fastener, number = each
    return f"{fastener.pk}-{number}"


class PassOverForm(KeyedForm):
    """Which fasteners are passed over, and why: one reason for all that are ticked, kept with each.

    Those that are open are offered. One that was ticked and is settled meanwhile is read all the same: the service
    tells whether this form settled it, or who did.
    """

    fasteners = forms.MultipleChoiceField(
        label=gettext_lazy("fasteners that are not signed off"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": gettext_lazy("Choose at least one fastener.")},
    )
    reason = forms.CharField(
        label=gettext_lazy("why they are passed over"),
        max_length=300,
        help_text=gettext_lazy("Stays visible with your name at the job, in the dossier and at the hand-over."),
    )
    passed_at = MomentLater(label=gettext_lazy("passed over at"))

    def __init__(
        self,
        *args: Any,
        fasteners: list[tuple[Fastener, int]],
        settled: list[tuple[Fastener, int]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["fasteners"]
        sent = field.widget.value_from_datadict(self.data, self.files, self.add_prefix("fasteners")) or []
        ticked = [each for each in settled if tick_of(each) in sent]
        self.known = {tick_of(each): each for each in [*fasteners, *ticked]}
        field.choices = [(key, fastener_names([each])) for key, each in self.known.items()]

    def chosen(self) -> list[tuple[Fastener, int]]:
        return [self.known[key] for key in self.cleaned_data["fasteners"]]
