"""Columns and filters of the lists of outage windows and changes to belts."""

from __future__ import annotations

from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from plant.calc.units import QuantityKind
from plant.calc.wording import figure
from plant.models import BeltChange, OutageWindow
from plant.tables.columns import NUMBER, MomentColumn, QuantityColumn, RegisterTable, TagColumn, YesColumn
from plant.tables.conveyors import areas_here, conveyors_here


class OutageTable(RegisterTable):
    starts_at = tables.Column(verbose_name=_("From"))
    ends_at = MomentColumn(verbose_name=_("To"))
    hours = tables.Column(verbose_name=_("Hours"), empty_values=(), orderable=False, attrs=NUMBER)
    conveyor = TagColumn(verbose_name=_("Conveyor"), order_by="conveyor__tag")
    area = tables.Column(verbose_name=_("Area"), accessor="conveyor__area", order_by="conveyor__area__code")
    reason = tables.Column(verbose_name=_("Reason"))

    class Meta:
        model = OutageWindow
        fields = ()
        sequence = ("starts_at", "ends_at", "hours", "conveyor", "area", "reason")
        order_by = "starts_at"

    def render_starts_at(self, record: OutageWindow, value: Any) -> str:
        shown = date_format(timezone.localtime(value), "Y-m-d H:i")
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), shown)

    def value_starts_at(self, value: Any) -> Any:
        return value

    def render_hours(self, record: OutageWindow) -> str:
        return figure(self.value_hours(record))

    def value_hours(self, record: OutageWindow) -> float:
        return round((record.ends_at - record.starts_at).total_seconds() / 3600, 2)


class BeltChangeTable(RegisterTable):
    changed_at = tables.Column(verbose_name=_("When"))
    conveyor = TagColumn(verbose_name=_("Conveyor"), order_by="conveyor__tag")
    kind = tables.Column(verbose_name=_("What"))
    chainage_m = QuantityColumn(QuantityKind.DISTANCE_M, verbose_name=_("Chainage"))
    description = tables.Column(verbose_name=_("Description"))
    cuts_comparison = YesColumn(verbose_name=_("Ends comparisons"))

    class Meta:
        model = BeltChange
        fields = ()
        sequence = ("changed_at", "conveyor", "kind", "chainage_m", "description", "cuts_comparison")
        order_by = "-changed_at"

    def render_changed_at(self, record: BeltChange, value: Any) -> str:
        shown = date_format(timezone.localtime(value), "Y-m-d H:i")
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), shown)

    def value_changed_at(self, value: Any) -> Any:
        return value


class OutageFilter(filters.FilterSet):
    conveyor = filters.ModelChoiceFilter(label=_("Conveyor"), queryset=conveyors_here, empty_label=_("All"))
    area = filters.ModelChoiceFilter(
        label=_("Area"), field_name="conveyor__area", queryset=areas_here, empty_label=_("All")
    )
    past = filters.ChoiceFilter(
        label=_("When"), method="with_past", choices=[("all", _("all windows"))], empty_label=_("Not over yet")
    )

    class Meta:
        model = OutageWindow
        fields: list[str] = []

    def with_past(self, queryset: QuerySet[OutageWindow], name: str, value: str) -> QuerySet[OutageWindow]:
        return queryset  # decided in qs: without a choice only windows that are not over are listed

    @property
    def qs(self) -> QuerySet[OutageWindow]:
        rows = super().qs
        wants_all = self.form.is_bound and self.form.is_valid() and self.form.cleaned_data.get("past") == "all"
        return rows if wants_all else rows.filter(ends_at__gt=timezone.now())


class BeltChangeFilter(filters.FilterSet):
    conveyor = filters.ModelChoiceFilter(label=_("Conveyor"), queryset=conveyors_here, empty_label=_("All"))
    kind = filters.ChoiceFilter(label=_("What"), choices=BeltChange.Kind.choices, empty_label=_("All"))
    text = filters.CharFilter(label=_("Words in the description"), field_name="description", lookup_expr="icontains")

    class Meta:
        model = BeltChange
        fields: list[str] = []
