"""Check kinds with their readings, and check plans."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.models import GRADES, CheckKind, CheckPlan, ReadingField
from inspections.models.check_plans import FIXED, SHORTENED
from inspections.services.check_plans import LIMITS
from plant.calc.box_texts import input_text
from plant.calc.reasons import NotAccepted
from plant.calc.typed_quantities import parse_quantity
from plant.calc.units import QuantityKind, UnitSystem, unit_label
from plant.forms.base import PersonForm, RecordForm
from plant.words.typing import why_not_read


class CheckKindForm(RecordForm):
    class Meta:
        model = CheckKind
        fields = ["name", "needs_lockout", "needs_running_belt", "minutes", "skills_needed", "tools_needed", "method"]


class CheckKindChangeForm(RecordForm):
    class Meta:
        model = CheckKind
        fields = [
            *("name", "needs_lockout", "needs_running_belt", "minutes"),
            *("skills_needed", "tools_needed", "method", "retired_on"),
        ]


class ReadingFieldForm(RecordForm):
    """A number with limits in the person's units, yes or no, or a choice with a grade for each answer."""

    yes_grade = forms.ChoiceField(label=gettext_lazy("yes is"), choices=GRADES, required=False, initial="sound")
    no_grade = forms.ChoiceField(label=gettext_lazy("no is"), choices=GRADES, required=False, initial="act")
    answers = forms.CharField(
        label=gettext_lazy("answers of a choice"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("One a line with its grade, for example: clean = sound"),
    )
    act_below = forms.CharField(label=gettext_lazy("act below"), required=False)
    watch_below = forms.CharField(label=gettext_lazy("watch below"), required=False)
    watch_above = forms.CharField(label=gettext_lazy("watch above"), required=False)
    act_above = forms.CharField(label=gettext_lazy("act above"), required=False)

    class Meta:
        model = ReadingField
        fields = ["label", "form", "position", "is_required", "asks_as_left", "quantity"]

    field_order = [
        *("label", "form", "position", "is_required", "asks_as_left"),
        *("quantity", "act_below", "watch_below", "watch_above", "act_above"),
        *("yes_grade", "no_grade", "answers"),
    ]

    def __init__(self, *args: Any, person: Any, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.system = UnitSystem(person.unit_system)
        self.fields["quantity"].choices = [("", _("no unit"))] + [
            (kind.value, unit_label(kind, self.system)) for kind in QuantityKind if kind.value
        ]
        self.fields["quantity"].help_text = _(
            "Of a number. Limits are typed in your units, for example 12 mm or 1/2 in."
        )
        row = self.instance
        if row.pk:
            for name in LIMITS:
                value = getattr(row, name)
                self.initial[name] = "" if value is None else input_text(value, QuantityKind(row.quantity), self.system)
            if row.form == ReadingField.Form.YES_NO:
                grades = {each["value"]: each["grade"] for each in row.choices}
                self.initial.update(yes_grade=grades.get("yes"), no_grade=grades.get("no"))
            elif row.form == ReadingField.Form.CHOICE:
                self.initial["answers"] = "\n".join(f"{each['label']} = {each['grade']}" for each in row.choices)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        kind = QuantityKind(given.get("quantity") or "")
        for name in LIMITS:
            text = given.get(name, "")
            given[name] = None
            if text and given.get("form") == ReadingField.Form.NUMBER:
                try:
                    given[name] = parse_quantity(text, kind, self.system, allow_negative=True).value
                except NotAccepted as problem:
                    self.add_error(name, why_not_read(problem))
        return given

    def values(self) -> dict[str, Any]:
        known = super().values()
        yes, no, answers = (known.pop(name) for name in ("yes_grade", "no_grade", "answers"))
        if known["form"] == ReadingField.Form.YES_NO:
            known["choices"] = [
                {"value": "yes", "label": str(_("yes")), "grade": yes},
                {"value": "no", "label": str(_("no")), "grade": no},
            ]
        elif known["form"] == ReadingField.Form.CHOICE:
            known["choices"] = [answer_of(line) for line in answers.splitlines() if line.strip()]
        return known


def answer_of(line: str) -> dict[str, str]:
    """ "Slightly worn = watch" -> its value, label and grade; a missing grade is refused by the service."""
    label, _sign, grade = line.rpartition("=") if "=" in line else (line, "", "")
    return {"value": slugify(label).replace("-", "_")[:60], "label": label.strip(), "grade": grade.strip().lower()}


INTERVALS = ["interval_days", "interval_h"]
WINDOW = ["opens_days_before", "closes_days_after"]
BEDDING_IN = ["bedding_in_days", "bedding_in_h"]
TIMES = [*INTERVALS, *FIXED, *SHORTENED, *WINDOW, *BEDDING_IN]


# The unit stands beside a quantity's label already.
LABELS = {
    "interval_h": gettext_lazy("or every, running hours"),
    "bedding_in_h": gettext_lazy("or after running hours"),
}


class PlanForm(RecordForm):
    """The base of forms over a check plan: its fields in groups, each with what it means."""

    def groups(self) -> list[dict[str, Any]]:
        known = [
            (_("What, and for which devices"), "", ["check_kind", "device_model"]),
            (_("How often"), _("Days and running hours: whichever comes first after the day it was done."), INTERVALS),
            (
                _("Or on fixed dates"),
                _("They stay where they are, however late or early the check is done; one that was missed stays due."),
                FIXED,
            ),
            (
                _("Shorter intervals"),
                _("Where several apply the strongest holds; they are not multiplied. A day at 50 % uses up two."),
                SHORTENED,
            ),
            (_("Window"), _("The check is late from the day after the window closed."), WINDOW),
            (_("After an installation or a part change"), "", BEDDING_IN),
            (_("Why it is changed"), "", ["reason"]),
        ]
        return [
            {"title": title, "hint": hint, "fields": [self[name] for name in names if name in self.fields]}
            for title, hint, names in known
            if any(name in self.fields for name in names)
        ]


class CheckPlanForm(PlanForm):
    """For every device of a model."""

    class Meta:
        model = CheckPlan
        fields = ["check_kind", "device_model", *TIMES]
        labels = LABELS

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["check_kind"].queryset = CheckKind.objects.for_plant(self.plant)
        self.fields["device_model"].required = True


class OwnCheckPlanForm(PlanForm):
    """For one installation instead of its model's plan."""

    class Meta:
        model = CheckPlan
        fields = ["check_kind", *TIMES]
        labels = LABELS

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["check_kind"].queryset = CheckKind.objects.for_plant(self.plant)


class IntervalsForm(PlanForm):
    reason = forms.CharField(
        label=gettext_lazy("reason for the change"),
        max_length=100,
        required=False,
        help_text=gettext_lazy("It stays in the history of the plan."),
    )

    class Meta:
        model = CheckPlan
        fields = TIMES
        labels = LABELS


class WhatIfForm(forms.Form):
    """Other intervals to look at before anything is saved."""

    days = forms.IntegerField(label=gettext_lazy("every [days]"), required=False, min_value=1, max_value=3650)
    hours = forms.FloatField(
        label=gettext_lazy("every [running hours]"), required=False, min_value=1, max_value=100_000
    )

    def clean(self) -> dict[str, Any]:
        known = super().clean() or {}
        if not self.errors and known.get("days") is None and known.get("hours") is None:
            raise forms.ValidationError(_("Give an interval in days, in running hours, or both."))
        return known


class RiskForm(forms.Form):
    """How many checks of a hundred may find act."""

    risk = forms.FloatField(label=gettext_lazy("chance of act that is accepted [%]"), min_value=0.1, max_value=50)


class SuspendForm(PersonForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label=gettext_lazy("reason"), max_length=100, help_text=gettext_lazy("It stays in the history of the plan.")
    )
