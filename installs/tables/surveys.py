"""Columns and filters of the list of surveys."""

from __future__ import annotations

import django_filters as filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Survey
from installs.tables.device_models import models_here
from plant.calc.units import QuantityKind
from plant.models import Strand
from plant.tables.columns import MomentColumn, QuantityColumn, RegisterTable, TagColumn
from plant.tables.conveyors import areas_here, conveyors_here
from plant.words.marks import mark

MARKS = {Survey.Result.FITS: "sound", Survey.Result.CONDITIONS: "watch", Survey.Result.DOES_NOT_FIT: "act"}


class SurveyTable(RegisterTable):
    surveyed_at = MomentColumn(verbose_name=gettext_lazy("When"))
    conveyor = TagColumn(verbose_name=gettext_lazy("Conveyor"), accessor="conveyor", order_by=("conveyor__tag",))
    strand = tables.Column(verbose_name=gettext_lazy("Strand"))
    chainage_m = QuantityColumn(QuantityKind.DISTANCE_M, verbose_name=gettext_lazy("Chainage"))
    device_model = tables.Column(verbose_name=gettext_lazy("Model in mind"), accessor="device_model__name", default="–")
    result = tables.Column(verbose_name=gettext_lazy("Result"), empty_values=())
    surveyed_by = tables.Column(verbose_name=gettext_lazy("By"), accessor="surveyed_by__username")

    class Meta:
        model = Survey
        fields = ()
        order_by = "-surveyed_at"

    def render_surveyed_at(self, record: Survey, value: object) -> str:
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), MomentColumn().render(record.surveyed_at))

    def render_result(self, record: Survey) -> str:
        if not record.result:
            return _("open")
        return mark(MARKS[Survey.Result(record.result)], record.get_result_display())

    def value_result(self, record: Survey) -> str:
        return record.result or "open"


class SurveyFilter(filters.FilterSet):
    area = filters.ModelChoiceFilter(
        label=gettext_lazy("Area"), field_name="conveyor__area", queryset=areas_here, empty_label=gettext_lazy("All")
    )
    conveyor = filters.ModelChoiceFilter(
        label=gettext_lazy("Conveyor"), queryset=conveyors_here, empty_label=gettext_lazy("All")
    )
    strand = filters.ChoiceFilter(label=gettext_lazy("Strand"), choices=Strand.choices, empty_label=gettext_lazy("All"))
    device_model = filters.ModelChoiceFilter(
        label=gettext_lazy("Model"), queryset=models_here, empty_label=gettext_lazy("All")
    )
    state = filters.ChoiceFilter(
        label=gettext_lazy("State"),
        method="with_state",
        choices=[("open", gettext_lazy("open")), *Survey.Result.choices],
        empty_label=gettext_lazy("All"),
    )

    class Meta:
        model = Survey
        fields: list[str] = []

    def with_state(self, queryset: QuerySet[Survey], name: str, value: str) -> QuerySet[Survey]:
        return queryset.filter(result="" if value == "open" else value)
