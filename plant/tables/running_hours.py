"""Columns and filters of the lists of spans and meter readings."""

from __future__ import annotations

from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from plant.calc.units import QuantityKind
from plant.models import MeterReading, RunRecord
from plant.tables.columns import QuantityColumn, RegisterTable
from plant.tables.incidents import MomentFilter, conveyors_of


class HoursTable(RegisterTable):
    conveyor = tables.Column(verbose_name=_("Conveyor"), accessor="conveyor__tag")
    entered = tables.Column(verbose_name=_("Entered by"), accessor="created_by__username", default="")
    state = tables.Column(verbose_name=_("Counts"), empty_values=(), orderable=False)

    def render_conveyor(self, record: Any, value: str) -> str:
        return format_html('<a class="tag" href="{}">{}</a>', record.conveyor.get_absolute_url(), value)

    def value_conveyor(self, value: Any) -> Any:
        return value

    def render_state(self, record: Any) -> str:
        if record.is_withdrawn:
            return str(_("withdrawn"))
        return str(_("corrected")) if hasattr(record, "corrected_by") else str(_("yes"))


class RunRecordTable(HoursTable):
    starts_at = tables.DateTimeColumn(verbose_name=_("From"), format="Y-m-d H:i")
    ends_at = tables.DateTimeColumn(verbose_name=_("To"), format="Y-m-d H:i")
    running_h = QuantityColumn(QuantityKind.HOURS, verbose_name=_("Running hours"))
    kind = tables.Column(verbose_name=_("Kind"))
    source = tables.Column(verbose_name=_("Source"))

    class Meta:
        model = RunRecord
        fields = ()
        sequence = ("conveyor", "starts_at", "ends_at", "running_h", "kind", "source", "entered", "state")
        order_by = "-starts_at"

    def value_starts_at(self, value: Any) -> Any:
        return value

    def value_ends_at(self, value: Any) -> Any:
        return value


class MeterReadingTable(HoursTable):
    read_at = tables.DateTimeColumn(verbose_name=_("Read at"), format="Y-m-d H:i")
    reading_h = QuantityColumn(QuantityKind.HOURS, verbose_name=_("Meter shows"))
    event = tables.Column(verbose_name=_("What"))
    note = tables.Column(verbose_name=_("Note"))

    class Meta:
        model = MeterReading
        fields = ()
        sequence = ("conveyor", "read_at", "reading_h", "event", "note", "entered", "state")
        order_by = "-read_at"

    def value_read_at(self, value: Any) -> Any:
        return value


class RunRecordFilter(filters.FilterSet):
    conveyor = filters.ModelChoiceFilter(label=_("Conveyor"), queryset=conveyors_of, empty_label=_("All"))
    kind = filters.ChoiceFilter(label=_("Kind"), choices=RunRecord.Kind.choices, empty_label=_("All"))

    class Meta:
        model = RunRecord
        fields: list[str] = []


RunRecordFilter.base_filters["from"] = MomentFilter(label=_("From"), field_name="starts_at", lookup_expr="gte")
RunRecordFilter.base_filters["until"] = MomentFilter(label=_("Before"), field_name="starts_at", lookup_expr="lt")


class MeterReadingFilter(filters.FilterSet):
    conveyor = filters.ModelChoiceFilter(label=_("Conveyor"), queryset=conveyors_of, empty_label=_("All"))

    class Meta:
        model = MeterReading
        fields: list[str] = []
