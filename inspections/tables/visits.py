"""Columns and filters of the list of readings."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

import django_filters as filters
import django_tables2 as tables
from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from inspections.models import GRADES, CheckKind, Reading, TwiceClosed
from inspections.selectors.tasks import undecided_at
from inspections.tables.tasks import marked
from inspections.words.grading import because_words
from inspections.words.readings import value_words
from plant.calc.units import UnitSystem
from plant.models import Conveyor
from plant.tables.columns import RegisterTable
from plant.tables.filters import DayFilter, KeyFilter
from plant.words.marks import mark

NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


class ReadingTable(RegisterTable):
    visited_at = tables.Column(verbose_name=_("When"), accessor="visit__visited_at")
    conveyor = tables.Column(verbose_name=_("Conveyor"), accessor="visit__installation__conveyor__tag")
    device = tables.Column(verbose_name=_("Device"), accessor="visit__installation__device__number")
    check = tables.Column(verbose_name=_("Check"), accessor="task__check_kind__name")
    label = tables.Column(verbose_name=_("What"))
    stage = tables.Column(verbose_name=_("Stage"))
    value = tables.Column(verbose_name=_("Value"), empty_values=(), attrs=NUMBER)
    unit = tables.Column(verbose_name=_("Unit"), accessor="quantity", visible=False)
    grade = tables.Column(verbose_name=_("Grade"))
    why = tables.Column(verbose_name=_("Why"), accessor="grade_because", orderable=False)
    by = tables.Column(verbose_name=_("By"), accessor="visit__visited_by__username")

    class Meta:
        model = Reading
        fields = ()
        order_by = "-visited_at"

    def render_visited_at(self, record: Reading, value: Any) -> str:
        shown = date_format(timezone.localtime(value), "Y-m-d H:i")
        return format_html('<a href="{}">{}</a>', record.visit.get_absolute_url(), shown)

    def value_visited_at(self, value: Any) -> Any:
        return value

    def render_conveyor(self, value: str) -> str:
        return format_html('<span class="tag">{}</span>', value)

    def value_conveyor(self, value: str) -> str:
        return value

    def render_value(self, record: Reading) -> str:
        return value_words(record, UnitSystem(self.request.user.unit_system))

    def value_value(self, record: Reading) -> Any:
        return record.answer if record.value is None else record.value

    @cached_property
    def twice(self) -> dict[int, TwiceClosed]:
        return {row.task_id: row for row in undecided_at(self.request.plant)}

    def render_grade(self, value: str, record: Reading) -> str:
        return marked(mark(record.grade), self.twice.get(record.task_id))

    def render_why(self, value: Mapping[str, Any]) -> str:
        return because_words(value, UnitSystem(self.request.user.unit_system))

    def value_why(self, value: Mapping[str, Any]) -> str:
        # Values of a file are in stored units, and so are those of their reasons.
        return because_words(value, UnitSystem.METRIC)

    def value_grade(self, record: Reading) -> str:
        return record.grade

    def value_stage(self, record: Reading) -> str:
        return record.stage


def conveyors_of(request: Any) -> Any:
    return Conveyor.objects.of_plant(request.plant) if request and request.plant else Conveyor.objects.none()


def kinds_of(request: Any) -> Any:
    return CheckKind.objects.for_plant(request.plant) if request and request.plant else CheckKind.objects.none()


class ReadingFilter(filters.FilterSet):
    conveyor = filters.ModelChoiceFilter(
        label=_("Conveyor"), field_name="visit__installation__conveyor", queryset=conveyors_of, empty_label=_("All")
    )
    installation = KeyFilter(field_name="visit__installation")
    kind = filters.ModelChoiceFilter(
        label=_("Check"), field_name="task__check_kind", queryset=kinds_of, empty_label=_("All")
    )
    code = filters.CharFilter(widget=forms.HiddenInput)
    grade = filters.ChoiceFilter(label=_("Grade"), choices=GRADES, empty_label=_("All"))
    stage = filters.ChoiceFilter(label=_("Stage"), choices=Reading.Stage.choices, empty_label=_("All"))
    since = DayFilter(
        label=_("From"),
        field_name="visit__visited_at",
        lookup_expr="date__gte",
    )
    until = DayFilter(
        label=_("Until"),
        field_name="visit__visited_at",
        lookup_expr="date__lte",
    )
    all_rows = filters.BooleanFilter(
        label=_("Also corrected and withdrawn rows"), method="with_all_rows", widget=forms.CheckboxInput
    )

    class Meta:
        model = Reading
        fields: list[str] = []

    def with_all_rows(self, queryset: Any, name: str, value: Any) -> Any:
        return queryset  # read below: it decides between the rows that count and all

    @property
    def qs(self) -> Any:
        rows = super().qs
        wants_all = self.form.is_bound and self.form.is_valid() and self.form.cleaned_data.get("all_rows")
        return rows if wants_all else rows.current()
