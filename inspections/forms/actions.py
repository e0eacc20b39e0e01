"""Forms over actions."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.forms.visits import ANOTHER, LiveReadingField, choices_of
from inspections.models import Action, CheckKind, Reading, Visit
from inspections.services.actions import NeededPart, NewAction
from installs.models import Installation
from plant.calc.units import QuantityKind, UnitSystem
from plant.forms.base import PersonForm, RecordForm
from plant.forms.photos import PhotosField, PhotosInput
from plant.forms.quantities import QuantityField
from plant.models import Person


class EchoedReadingField(LiveReadingField):
    """A reading on a page without a script of its own: the site says what it understood, as below any quantity."""

    def get_bound_field(self, form: Any, field_name: str) -> Any:
        return QuantityField.get_bound_field(self, form, field_name)


# Empty rows for parts below those that are known already.
SPARE_ROWS = 3


class GiveForm(forms.Form):
    """Who an action is given to."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    owner = forms.ModelChoiceField(
        Person.objects.none(), label=gettext_lazy("Owner"), empty_label=gettext_lazy("choose")
    )

    def __init__(self, *args: Any, plant: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(memberships__plant=plant, is_active=True).distinct().order_by("username")
        self.fields["owner"].queryset = people  # type: ignore[attr-defined]


class ActionForm(RecordForm):
    """What is to be done, by whom and when, and the parts that it needs."""

    open_actions: dict[str, Action] = {}

    class Meta:
        model = Action
        fields = ["title", "check_kind", "due_on", "owner"]

    def __init__(self, *args: Any, plant: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, plant=plant, **kwargs)
        people = Person.objects.filter(memberships__plant=plant, is_active=True).distinct().order_by("username")
        self.fields["owner"].queryset = people
        self.fields["check_kind"].queryset = CheckKind.objects.for_plant(plant)
        self.fields["check_kind"].help_text = _("A finding of this check at act then needs no further action.")
        known = self.instance.parts if self.instance.pk else []
        self.n_rows = len(known) + SPARE_ROWS
        for n in range(self.n_rows):
            part = known[n] if n < len(known) else {"name": "", "count": 1, "is_at_hand": False}
            row = {"n": n + 1}
            self.fields[f"part{n}_name"] = forms.CharField(
                required=False, max_length=120, initial=part["name"], label=_("Part %(n)s") % row
            )
            self.fields[f"part{n}_count"] = forms.IntegerField(
                required=False, min_value=1, max_value=999, initial=part["count"], label=_("Count of part %(n)s") % row
            )
            self.fields[f"part{n}_is_at_hand"] = forms.BooleanField(
                required=False, initial=part["is_at_hand"], label=_("Part %(n)s is at hand") % row
            )

    def choose_beside(self, installation: Installation) -> None:
        """Where an action is open at the device: add to that one, or raise another beside it."""
        rows = Action.objects.open().filter(installation=installation).select_related("owner").order_by("due_on", "pk")
        self.open_actions = {str(row.pk): row for row in rows}
        if self.open_actions:
            self.fields["action_choice"] = forms.ChoiceField(
                required=False,
                label=_("Where one is open for the same"),
                choices=[("", _("not said")), *choices_of(self.open_actions)],
                error_messages={"invalid_choice": _("That action is done meanwhile; choose again.")},
            )

    def new_action(self) -> NewAction:
        given = self.cleaned_data
        choice = given.get("action_choice") or ""
        return NewAction(
            given["title"],
            given["due_on"],
            given["owner"],
            add_to=self.open_actions.get(choice),
            is_another=choice == ANOTHER,
        )

    def plain_fields(self) -> list[Any]:
        return [self[name] for name in self.fields if not name.startswith("part") and not self[name].is_hidden]

    def part_rows(self) -> list[dict[str, Any]]:
        return [{name: self[f"part{n}_{name}"] for name in ("name", "count", "is_at_hand")} for n in range(self.n_rows)]

    def values(self) -> dict[str, Any]:
        given = super().values()
        parts = [
            NeededPart(name, given.get(f"part{n}_count") or 1, bool(given.get(f"part{n}_is_at_hand")))
            for n in range(self.n_rows)
            if (name := (given.get(f"part{n}_name") or "").strip())
        ]
        return {**{name: given[name] for name in self._meta.fields or () if name in given}, "parts": parts}


class DoneForm(PersonForm):
    """What was done, and how it was left: by a visit that read it again, or by readings typed here."""

    done_note = forms.CharField(max_length=400, label=gettext_lazy("What was done"))
    done_at = forms.DateTimeField(label=gettext_lazy("When"))
    visit = forms.ModelChoiceField(
        Visit.objects.none(),
        required=False,
        label=gettext_lazy("Visit that read it again"),
        empty_label=gettext_lazy("none"),
    )
    photos = PhotosField(required=False, label=gettext_lazy("Photos from this device"))
    camera = PhotosField(
        required=False,
        label=gettext_lazy("Take a photo"),
        widget=PhotosInput(attrs={"accept": "image/*", "capture": "environment"}),
    )

    def __init__(self, *args: Any, action: Action, person: Any, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        visits = Visit.objects.current().filter(installation=action.installation, visited_at__gte=action.created_at)
        self.fields["visit"].queryset = visits
        self.found = list(found_bad(action))
        for row in self.found:
            field = EchoedReadingField(
                kind=QuantityKind(row.quantity),
                system=UnitSystem(person.unit_system),
                required=False,
                label=_("%(label)s, as left") % {"label": row.label},
                allow_negative=not row.quantity,
            )
            self.fields[f"left_{row.pk}"] = field
        self.order_fields(["done_note", *(f"left_{row.pk}" for row in self.found), "visit", "done_at"])

    def as_left(self) -> list[dict[str, Any]]:
        return [
            {"label": row.label, "quantity": row.quantity, "value": typed.value, "typed": typed.text}
            for row in self.found
            if (typed := self.cleaned_data.get(f"left_{row.pk}")) is not None
        ]


def found_bad(action: Action) -> Any:
    """Numbers of the visit behind an action that were not sound: what is read again when the work is done."""
    return (
        Reading.objects.current()
        .as_found()
        .filter(visit=action.visit_id, grade__in=["watch", "act"])
        .exclude(value=None)
        .order_by("pk")
    )
