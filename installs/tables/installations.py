"""Columns and filters of the list of installations."""

from __future__ import annotations

import django_filters as filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from installs.models import Installation
from installs.tables.device_models import models_here
from plant.calc.units import QuantityKind
from plant.models import Strand
from plant.tables.columns import MomentColumn, QuantityColumn, RegisterTable, TagColumn
from plant.tables.conveyors import areas_here, conveyors_here


class InstallationTable(RegisterTable):
    device = tables.Column(verbose_name=_("Device"), accessor="device__number")
    device_model = tables.Column(verbose_name=_("Model"), accessor="device__device_model__name")
    conveyor = TagColumn(verbose_name=_("Conveyor"), accessor="conveyor", order_by=("conveyor__tag",))
    area = tables.Column(verbose_name=_("Area"), accessor="conveyor__area__code")
    strand = tables.Column(verbose_name=_("Strand"))
    chainage_m = QuantityColumn(QuantityKind.DISTANCE_M, verbose_name=_("Chainage"))
    installed_at = MomentColumn(verbose_name=_("In service since"))
    removed_at = MomentColumn(verbose_name=_("Removed"), default="")
    removal_reason = tables.Column(verbose_name=_("Why removed"), default="")

    class Meta:
        model = Installation
        fields = ()
        order_by = ("conveyor", "chainage_m")

    def render_device(self, record: Installation, value: str) -> str:
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), value)

    def value_device(self, value: str) -> str:
        return value


class InstallationFilter(filters.FilterSet):
    area = filters.ModelChoiceFilter(
        label=_("Area"), field_name="conveyor__area", queryset=areas_here, empty_label=_("All")
    )
    conveyor = filters.ModelChoiceFilter(label=_("Conveyor"), queryset=conveyors_here, empty_label=_("All"))
    strand = filters.ChoiceFilter(label=_("Strand"), choices=Strand.choices, empty_label=_("All"))
    device_model = filters.ModelChoiceFilter(
        label=_("Model"), field_name="device__device_model", queryset=models_here, empty_label=_("All")
    )
    state = filters.ChoiceFilter(
        label=_("State"),
        method="with_state",
        choices=[("removed", _("removed")), ("all", _("all"))],
        empty_label=_("In place"),
    )

    class Meta:
        model = Installation
        fields: list[str] = []

    def with_state(self, queryset: QuerySet[Installation], name: str, value: str) -> QuerySet[Installation]:
        return queryset  # decided in qs: without a choice only those in place are listed

    @property
    def qs(self) -> QuerySet[Installation]:
        rows = super().qs
        state = self.form.cleaned_data.get("state") if self.form.is_bound and self.form.is_valid() else ""
        if state == "all":
            return rows
        return rows.filter(removed_at__isnull=state != "removed")
