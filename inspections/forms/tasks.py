"""Filters of the list of checks; what a person fills in to put a task off, withdraw it or ask for one."""

from __future__ import annotations

from typing import Any

import django_filters
from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inspections.models import CheckKind, Task
from inspections.models.tasks import LateReason, TaskQuerySet
from plant.forms.base import PersonForm, RecordForm
from plant.models import Area, Conveyor


class TaskFilter(django_filters.FilterSet):
    """State, area, conveyor, check and device of a plant's tasks; open ones unless closed ones are asked for."""

    state = django_filters.ChoiceFilter(
        label=_("state"),
        empty_label=_("all open"),
        choices=[
            ("late", _("late")),
            ("due", _("due now")),
            ("ahead", _("ahead")),
            ("closed", _("closed")),
        ],
        method="by_state",
    )
    area = django_filters.ModelChoiceFilter(
        label=_("area"),
        empty_label=_("all"),
        field_name="installation__conveyor__area",
        queryset=lambda request: Area.objects.of_plant(request.plant),
    )
    conveyor = django_filters.ModelChoiceFilter(
        label=_("conveyor"),
        empty_label=_("all"),
        field_name="installation__conveyor",
        queryset=lambda request: Conveyor.objects.of_plant(request.plant),
    )
    check_kind = django_filters.ModelChoiceFilter(
        label=_("check"), empty_label=_("all"), queryset=lambda request: CheckKind.objects.for_plant(request.plant)
    )
    device = django_filters.CharFilter(
        label=_("device number"), field_name="installation__device__number", lookup_expr="iexact"
    )

    # From the backlog's figures: late ones of one age or for one reason.
    age = django_filters.ChoiceFilter(
        label=_("late for"),
        empty_label=_("any"),
        choices=[("week", _("1 to 7 days")), ("month", _("8 to 30 days")), ("older", _("over 30 days"))],
        method="by_age",
    )
    why = django_filters.ChoiceFilter(
        label=_("why late"), empty_label=_("any"), choices=LateReason.choices, method="by_why"
    )

    class Meta:
        model = Task
        fields: list[str] = []

    def by_age(self, rows: TaskQuerySet, name: str, value: str) -> TaskQuerySet:
        return rows.late_for(value, timezone.localdate())

    def by_why(self, rows: TaskQuerySet, name: str, value: str) -> TaskQuerySet:
        known: Any = rows.overdue(timezone.localdate()).with_late_reason(timezone.now())
        return known.filter(late_reason=value)

    def by_state(self, rows: TaskQuerySet, name: str, value: str) -> TaskQuerySet:
        today = timezone.localdate()
        if value == "late":
            return rows.filter(closes_on__lt=today)
        if value == "due":
            return rows.filter(opens_on__lte=today, closes_on__gte=today)
        if value == "ahead":
            return rows.filter(opens_on__gt=today)
        return rows


class PutOffForm(PersonForm):
    client_key = forms.UUIDField(widget=forms.HiddenInput)
    version = forms.IntegerField(widget=forms.HiddenInput)
    closes_on = forms.DateField(label=_("new end of the window"))
    reason = forms.CharField(
        label=_("reason"),
        max_length=300,
        help_text=_("For example: no wrench in date; no outage window before then. It stays with the check."),
    )


class WithdrawForm(PersonForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label=_("reason"), max_length=200, help_text=_("Why this check is not done this time. It stays with the check.")
    )


class AskForTaskForm(RecordForm):
    class Meta:
        model = Task
        fields = ["check_kind", "due_on", "closes_on", "why"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["check_kind"].queryset = CheckKind.objects.for_plant(self.plant)
        self.fields["closes_on"].required = False
        self.fields["closes_on"].help_text = _("Left empty: a week after it is due.")
