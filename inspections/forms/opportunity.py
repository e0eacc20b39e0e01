"""What is asked when a belt stopped: which, and for how long."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inspections.models import Shift, Task
from plant.models import Conveyor, Plant

LONGEST_MINUTES = 24 * 60


class OpportunityForm(forms.Form):
    fields: dict[str, Any]

    conveyor = forms.ModelChoiceField(label=_("belt"), queryset=Conveyor.objects.none())
    minutes = forms.IntegerField(
        label=_("stands for [min]"),
        min_value=1,
        max_value=LONGEST_MINUTES,
        error_messages={
            "min_value": _("Give the minutes for which the belt stands, 1 to 1440."),
            "max_value": _("Give the minutes for which the belt stands, 1 to 1440."),
        },
    )

    def __init__(self, *args: Any, plant: Plant, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["conveyor"].queryset = Conveyor.objects.of_plant(plant).select_related("plant").order_by("tag")


class PutOnRoundForm(OpportunityForm):
    """The checks that one person takes on, by their keys."""

    shift = forms.ModelChoiceField(queryset=Shift.objects.none())
    tasks = forms.ModelMultipleChoiceField(queryset=Task.objects.none())

    def __init__(self, *args: Any, plant: Plant, **kwargs: Any) -> None:
        super().__init__(*args, plant=plant, **kwargs)
        self.fields["shift"].queryset = Shift.objects.of_plant(plant).select_related("person", "plant")
        self.fields["tasks"].queryset = Task.objects.of_plant(plant).open().with_place()
