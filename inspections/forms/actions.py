"""Forms over actions."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from inspections.models import Action
from plant.forms.base import PersonForm, RecordForm
from plant.models import Person


class ActionForm(RecordForm):
    class Meta:
        model = Action
        fields = ["title", "due_on", "owner"]

    def __init__(self, *args: Any, plant: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, plant=plant, **kwargs)
        people = Person.objects.filter(memberships__plant=plant, is_active=True).distinct().order_by("username")
        self.fields["owner"].queryset = people  # type: ignore[attr-defined]


class DoneForm(PersonForm):
    done_note = forms.CharField(max_length=400, label=gettext_lazy("What was done"))
    done_at = forms.DateTimeField(label=gettext_lazy("When"))
