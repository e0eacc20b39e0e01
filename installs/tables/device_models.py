"""Columns and filters of the list of device models."""

from __future__ import annotations

from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from installs.models import DeviceModel
from plant.calc.units import QuantityKind
from plant.models import Strand
from plant.tables.columns import NUMBER, QuantityColumn, RegisterTable, YesColumn


class StatedColumn(QuantityColumn):
    """A figure of the maker's; "not stated" on the page and empty in files where there is none."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, empty_values=(), **kwargs)


class DeviceModelTable(RegisterTable):
    name = tables.Column(verbose_name=_("Model"))
    strand = tables.Column(verbose_name=_("Strand"))
    suits_reversing = YesColumn(verbose_name=_("Reversing belts"))
    pivot = tables.Column(verbose_name=_("Frame"))
    belt_width_least_mm = StatedColumn(QuantityKind.LENGTH_MM, verbose_name=_("Belt from"))
    belt_width_most_mm = StatedColumn(QuantityKind.LENGTH_MM, verbose_name=_("Belt to"))
    speed_most_m_s = StatedColumn(QuantityKind.SPEED_M_S, verbose_name=_("Speed up to"))
    effect_length_m = StatedColumn(QuantityKind.DISTANCE_M, verbose_name=_("Effect length"))
    sensor_new_mm = StatedColumn(QuantityKind.LENGTH_MM, verbose_name=_("Sensor new"))
    sensor_limit_mm = StatedColumn(QuantityKind.LENGTH_MM, verbose_name=_("Sensor limit"))
    mass_kg = StatedColumn(QuantityKind.MASS_KG, verbose_name=_("Mass"))
    n_devices = tables.Column(verbose_name=_("Devices"), attrs=NUMBER)

    class Meta:
        model = DeviceModel
        fields = ()
        order_by = "name"

    def render_name(self, record: DeviceModel, value: str) -> str:
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), value)

    def value_name(self, value: str) -> str:
        return value


class DeviceModelFilter(filters.FilterSet):
    text = filters.CharFilter(label=_("Name"), field_name="name", lookup_expr="icontains")
    strand = filters.ChoiceFilter(label=_("Strand"), choices=Strand.choices, empty_label=_("All"))
    suits_reversing = filters.ChoiceFilter(
        label=_("Reversing belts"), choices=[("True", _("yes")), ("False", _("no"))], empty_label=_("All")
    )

    class Meta:
        model = DeviceModel
        fields: list[str] = []


def models_here(request: Any) -> QuerySet[DeviceModel]:
    return DeviceModel.objects.of_plant(request.plant) if request and request.plant else DeviceModel.objects.none()
