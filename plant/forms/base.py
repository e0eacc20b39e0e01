"""The base of all forms over records: units by field name, the client's key, the version that was opened."""

from __future__ import annotations

import re
import uuid
from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS
from django.db import models
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _

from plant.calc.moments import MomentKind
from plant.calc.units import UnitSystem, kind_of
from plant.errors import Refused
from plant.forms.moments import DayField, MomentField
from plant.forms.quantities import QuantityField
from plant.words.refusals import field_words, refusal_words


class PersonForm(forms.Form):
    """A form that knows who fills it in, and so in which units."""

    person: Any
    plant: Any
    fields: dict[str, Any]
    data: Any

    def __init__(self, *args: Any, person: Any, plant: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        set_up_fields(self, person, plant)

    def _clean_fields(self) -> None:
        super()._clean_fields()  # type: ignore[misc]  # the stubs leave it out
        keep_untouched(self)

    def add_refusal(self, refusal: Refused) -> None:
        show_refusal(self, refusal)


class RecordForm(forms.ModelForm):  # type: ignore[type-arg]  # at run time it takes none
    """A form over a record or an entry. Services save; the form only reads."""

    person: Any
    plant: Any
    fields: dict[str, Any]
    data: Any

    client_key = forms.UUIDField(widget=forms.HiddenInput, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, person: Any, plant: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in list(self.fields.items()):
            kind = kind_of(name)
            if kind is None or type(field) not in (forms.FloatField, forms.DecimalField):
                continue
            column = self._meta.model._meta.get_field(name)
            least = [each.limit_value for each in column.validators if each.__class__.__name__ == "MinValueValidator"]
            self.fields[name] = QuantityField(
                kind=kind,
                required=field.required,
                label=field.label,
                help_text=field.help_text,
                initial=field.initial,
                validators=column.validators,
                allow_negative=bool(least and least[0] < 0),
            )
        set_up_fields(self, person, plant)
        self.initial.setdefault("client_key", uuid.uuid4())
        if self.instance.pk and hasattr(self.instance, "version"):
            self.initial["version"] = self.instance.version

    def _clean_fields(self) -> None:
        super()._clean_fields()  # type: ignore[misc]  # the stubs leave it out
        for name, field in self.fields.items():
            if isinstance(field, forms.DateTimeField) and self.instance.pk and self.is_moment_untouched(name, field):
                # The box shows minutes, and an hour that the clock has twice looks the same both times: what nobody
                # touched stays the moment that is stored.
                self.cleaned_data[name] = self.initial[name]
                self.errors.pop(name, None)
        keep_untouched(self)

    def is_moment_untouched(self, name: str, field: forms.DateTimeField) -> bool:
        stored = self.initial.get(name)
        shown = field.widget.format_value(field.prepare_value(stored)) if stored is not None else None
        return shown is not None and shown == self.data.get(self.add_prefix(name))

    def _post_clean(self) -> None:
        """The service validates the row; building it here would check it against the wrong plant.

        A record that is changed needs the version that the person opened, else nobody can tell whether it moved on.
        """
        is_change = self.instance.pk is not None and hasattr(self.instance, "version") and "version" in self.fields
        if is_change and self.cleaned_data.get("version") is None and "version" not in self.errors:
            self.add_error(None, _("This page came back incomplete. Open it again and fill it in once more."))

    def values(self) -> dict[str, Any]:
        """What the service is given: every field but the hidden ones."""
        return {name: value for name, value in self.cleaned_data.items() if name not in {"client_key", "version"}}

    def add_refusal(self, refusal: Refused) -> None:
        show_refusal(self, refusal)


def keep_untouched(form: Any) -> None:
    """Text that was not touched keeps the stored number: what is shown is rounded, what is stored is not."""
    for name, field in form.fields.items():
        stored = form.get_initial_for_field(field, name) if isinstance(field, QuantityField) else None
        # What stands there as text, such as a reading that is corrected, is read as it stands.
        if isinstance(stored, int | float) and not field.has_changed(stored, form.data.get(form.add_prefix(name))):
            form.cleaned_data[name] = stored
            form.errors.pop(name, None)


class YesNoSelect(forms.NullBooleanSelect):
    """Hands on what it was sent where that is none of its choices, so that it is not taken for "not known"."""

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        value = super().value_from_datadict(data, files, name)
        given = data.get(name)
        return given if value is None and given not in (None, "", "unknown", "1", "None") else value


class YesNoField(forms.NullBooleanField):
    """Yes, no or not known; any other word is refused."""

    widget = YesNoSelect

    def to_python(self, value: Any) -> Any:
        known = super().to_python(value)
        if known is None and value not in self.empty_values and value is not None:
            raise forms.ValidationError(
                _("“%(given)s” says neither yes nor no. Choose yes, no, or unknown where nobody knows."),
                code="invalid",
                params={"given": str(value)[:40]},
            )
        return known


def set_up_fields(form: Any, person: Any, plant: Any) -> None:
    form.person, form.plant = person, plant
    # A form over a row knows what its moments are of; one that only asks for a moment leaves that to the service.
    kinds: dict[str, MomentKind] = getattr(form._meta.model, "moments", {}) if hasattr(form, "_meta") else {}
    for name, field in list(form.fields.items()):
        if isinstance(field, QuantityField):
            field.use_units(UnitSystem(person.unit_system))
        elif type(field) is forms.NullBooleanField:
            form.fields[name] = YesNoField(label=field.label, help_text=field.help_text, initial=field.initial)
        elif isinstance(field, forms.DateTimeField | forms.DateField):
            form.fields[name] = moment_field(field, kinds.get(name) or getattr(field, "kind", None) or MomentKind.CLOCK)
        elif isinstance(field, forms.ModelChoiceField) and plant is not None:
            queryset = field.queryset
            if isinstance(queryset, models.QuerySet) and hasattr(queryset, "of_plant"):
                field.queryset = queryset.of_plant(plant)
                if field.required and not field.queryset.exists():
                    field.help_text = nothing_to_choose(queryset.model)


def moment_field(field: forms.DateTimeField | forms.DateField, kind: MomentKind) -> forms.Field:
    """The field for a moment or a day of this kind, with the words of another."""
    bounded = MomentField if isinstance(field, forms.DateTimeField) else DayField
    return bounded(
        kind=kind, required=field.required, label=field.label, help_text=field.help_text, initial=field.initial
    )


def nothing_to_choose(model: type[models.Model]) -> str:
    """What a select without a row says: the act that has to come first, as a link where there is a page for it."""
    words = _("None is in the book yet.")
    try:
        address = reverse(re.sub(r"(?<!^)(?=[A-Z])", "-", model.__name__).lower() + "-create")
    except NoReverseMatch:
        return words
    act = _("Add the first %(thing)s") % {"thing": model._meta.verbose_name}
    return format_html('{} <a href="{}">{}</a>.', words, address, act)


def show_refusal(form: forms.BaseForm, refusal: Refused) -> None:
    """Put the service's refusal where the person looks: at the field, and in the summary on top."""
    system = UnitSystem(form.person.unit_system) if hasattr(form, "person") else UnitSystem.METRIC
    for name, words in field_words(refusal, system).items():
        form.add_error(name if name in form.fields else None, words)
    if not refusal.fields:
        form.add_error(None, refusal_words(refusal, system))
    form.stands_at = refusal.stands_at  # type: ignore[attr-defined]  # for plant/_errors.html


__all__ = ["NON_FIELD_ERRORS", "PersonForm", "RecordForm", "set_up_fields", "show_refusal"]
