"""Columns and filters of the lists of conveyors and areas."""

from __future__ import annotations

from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.db.models import Q, QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from plant.calc.chainage import tag_key
from plant.calc.units import QuantityKind
from plant.models import Area, Conveyor
from plant.tables.columns import NUMBER, QuantityColumn, RegisterTable, YesColumn


class ConveyorTable(RegisterTable):
    tag = tables.Column(verbose_name=_("Tag"))
    name = tables.Column(verbose_name=_("Name"))
    area = tables.Column(
        verbose_name=_("Area"), order_by=("area__walking_order", "area__code"), attrs={"td": {"class": "nowrap"}}
    )
    belt_width_mm = QuantityColumn(QuantityKind.LENGTH_MM, verbose_name=_("Width"))
    speed_m_s = QuantityColumn(QuantityKind.SPEED_M_S, verbose_name=_("Speed"))
    length_m = QuantityColumn(QuantityKind.DISTANCE_M, verbose_name=_("Centres"))
    # Files have these too; on the page they would push the strip aside.
    lift_m = QuantityColumn(QuantityKind.DISTANCE_M, verbose_name=_("Lift"), visible=False)
    edge_clearance_mm = QuantityColumn(QuantityKind.LENGTH_MM, verbose_name=_("Edge clearance"), visible=False)
    is_reversing = YesColumn(verbose_name=_("Reversing"), visible=False)
    duty = tables.Column(verbose_name=_("Duty"))
    criticality = tables.Column(verbose_name=_("Criticality"))
    strip = tables.Column(
        verbose_name=_("Twelve months"), empty_values=(), orderable=False, accessor="pk", exclude_from_export=True
    )

    class Meta:
        model = Conveyor
        fields = ()
        sequence = ("tag", "name", "strip", "...")
        order_by = "tag"

    def render_tag(self, record: Conveyor, value: str) -> str:
        return format_html('<a class="tag" href="{}">{}</a>', record.get_absolute_url(), value)

    def value_tag(self, value: str) -> str:
        return value

    def render_strip(self, record: Conveyor) -> str:
        figure = getattr(self, "strips", {}).get(record.pk)
        return render_to_string("plant/_strip_small.html", {"strip": figure}) if figure else ""


class AreaTable(RegisterTable):
    code = tables.Column(verbose_name=_("Code"))
    name = tables.Column(verbose_name=_("Name"))
    walking_order = tables.Column(verbose_name=_("Order when walking"), attrs=NUMBER)
    n_conveyors = tables.Column(verbose_name=_("Conveyors"), attrs=NUMBER)

    class Meta:
        model = Area
        fields = ()
        order_by = "walking_order"

    def render_code(self, record: Area, value: str) -> str:
        return format_html('<a class="tag" href="{}">{}</a>', record.get_absolute_url(), value)

    def value_code(self, value: str) -> str:
        return value

    def render_n_conveyors(self, record: Area, value: int) -> str:
        return format_html('<a href="{}?area={}">{}</a>', reverse("conveyor-list"), record.pk, value)

    def value_n_conveyors(self, value: int) -> int:
        return value


def areas_here(request: Any) -> QuerySet[Area]:
    return Area.objects.of_plant(request.plant) if request and request.plant else Area.objects.none()


def conveyors_here(request: Any) -> QuerySet[Conveyor]:
    return Conveyor.objects.of_plant(request.plant) if request and request.plant else Conveyor.objects.none()


class ConveyorFilter(filters.FilterSet):
    text = filters.CharFilter(label=_("Tag or name"), method="with_text")
    area = filters.ModelChoiceFilter(label=_("Area"), queryset=areas_here, empty_label=_("All"))
    duty = filters.ChoiceFilter(label=_("Duty"), choices=Conveyor.Duty.choices, empty_label=_("All"))
    criticality = filters.ChoiceFilter(
        label=_("Criticality"), choices=Conveyor.Criticality.choices, empty_label=_("All")
    )
    state = filters.ChoiceFilter(
        label=_("In use"),
        method="with_state",
        choices=[("retired", _("taken out of use")), ("all", _("all"))],
        empty_label=_("In use"),
    )

    class Meta:
        model = Conveyor
        fields: list[str] = []

    def with_text(self, queryset: QuerySet[Conveyor], name: str, value: str) -> QuerySet[Conveyor]:
        return queryset.filter(Q(tag__icontains=value) | Q(name__icontains=value) | Q(tag_key=tag_key(value)))

    def with_state(self, queryset: QuerySet[Conveyor], name: str, value: str) -> QuerySet[Conveyor]:
        return queryset  # decided in qs: without a choice only belts in use are listed

    @property
    def qs(self) -> QuerySet[Conveyor]:
        rows = super().qs
        state = self.form.cleaned_data.get("state") if self.form.is_bound and self.form.is_valid() else ""
        if state == "all":
            return rows
        return rows.filter(retired_on__isnull=state != "retired")
