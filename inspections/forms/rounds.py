"""What people fill in about shifts, skills, and the laying of rounds."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inspections.models import Shift, Stop, TechnicianProfile
from plant.calc.moments import MomentKind
from plant.forms.base import PersonForm, RecordForm
from plant.forms.moments import DayField, WithinBounds
from plant.models import Membership, Person
from plant.permissions import TECHNICIAN


class ShiftForm(RecordForm):
    class Meta:
        model = Shift
        fields = ["person", "starts_at", "ends_at", "break_starts_at", "break_minutes", "start_area"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        those = Membership.objects.filter(plant=self.plant, role__name=TECHNICIAN).values("person")
        self.fields["person"].queryset = Person.objects.filter(pk__in=those, is_active=True).order_by("username")


class ProfileForm(RecordForm):
    class Meta:
        model = TechnicianProfile
        fields = ["skills", "tools"]


class AwayForm(PersonForm):
    from_at = forms.DateTimeField(label=_("away from"))
    version = forms.IntegerField(widget=forms.HiddenInput)


class SwapForm(PersonForm):
    """With whom a person swaps rounds: anybody else who works that day and is there."""

    other = forms.ModelChoiceField(Shift.objects.none(), label=_("with"))

    def __init__(self, *args: Any, shift: Shift, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        others = Shift.objects.filter(plant=shift.plant, day=shift.day).at_work().exclude(pk=shift.pk)
        field = self.fields["other"]
        field.queryset = others.select_related("person", "plant").order_by("starts_at", "person__username")
        field.label_from_instance = lambda row: f"{row.person}, {hours_of(row)}"


def hours_of(shift: Shift) -> str:
    begin, end = (timezone.localtime(each, shift.plant.zone) for each in (shift.starts_at, shift.ends_at))
    return f"{begin:%H:%M} – {end:%H:%M}"


class LayForm(forms.Form):
    """Which days are laid."""

    first_day = DayField(kind=MomentKind.PLANNED)
    last_day = DayField(kind=MomentKind.PLANNED)


class StopMoveForm(forms.Form):
    """Where a stop is put: a step in time, or a shift, a place in its order, a time."""

    fields: dict[str, Any]

    step = forms.ChoiceField(choices=[("earlier", ""), ("later", "")], required=False)
    shift = forms.ModelChoiceField(queryset=Shift.objects.none(), required=False)
    position = forms.IntegerField(min_value=0, required=False)
    not_before = forms.DateTimeField(
        required=False,
        input_formats=["%Y-%m-%dT%H:%M:%S%z", "%Y-%m-%dT%H:%M%z"],
        validators=[WithinBounds(MomentKind.PLANNED)],
    )

    def __init__(self, *args: Any, stop: Stop, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["shift"].queryset = Shift.objects.filter(plant=stop.plant).select_related("plant", "person")
