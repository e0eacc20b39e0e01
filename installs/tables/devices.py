"""Columns and filters of the list of devices."""

from __future__ import annotations

from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Device, Installation
from installs.tables.device_models import models_here
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.calc.wording import figure
from plant.tables.columns import RegisterTable


class DeviceTable(RegisterTable):
    # By length first: 9 before 10, as people count.
    number = tables.Column(verbose_name=gettext_lazy("Device"), order_by=("n_digits", "number"))
    device_model = tables.Column(verbose_name=gettext_lazy("Model"), accessor="device_model__name")
    serial = tables.Column(verbose_name=gettext_lazy("Serial number"))
    label_code = tables.Column(verbose_name=gettext_lazy("Label"))
    where = tables.Column(verbose_name=gettext_lazy("Where"), empty_values=(), orderable=False)
    since = tables.Column(verbose_name=gettext_lazy("Since"), empty_values=(), orderable=False)

    class Meta:
        model = Device
        fields = ()
        order_by = "number"

    def place(self, record: Any) -> Installation | None:
        """Where it stands, of a row that comes with `standing`."""
        return record.standing[0] if record.standing else None

    def render_number(self, record: Device, value: str) -> str:
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), value)

    def value_number(self, value: str) -> str:
        return value

    def render_where(self, record: Device) -> str:
        at = self.place(record)
        if at is None:
            return _("scrapped") if record.scrapped_on else _("in no place")
        chainage = format_quantity(at.chainage_m, QuantityKind.DISTANCE_M, UnitSystem(self.request.user.unit_system))
        return format_html(
            '<a href="{}"><span class="tag">{}</span> {}, {}</a>',
            at.get_absolute_url(),
            at.conveyor.tag,
            at.get_strand_display(),
            chainage,
        )

    def value_where(self, record: Device) -> str:
        at = self.place(record)
        return f"{at.conveyor.tag} {at.strand} {figure(at.chainage_m)} m" if at else ""

    def render_since(self, record: Device) -> str:
        at = self.place(record)
        if at is not None:
            return f"{at.installed_at.astimezone(self.request.plant.zone):%Y-%m-%d}"
        return f"{record.scrapped_on:%Y-%m-%d}" if record.scrapped_on else ""

    value_since = render_since


class DeviceFilter(filters.FilterSet):
    text = filters.CharFilter(label=gettext_lazy("Number, serial or label"), method="with_text")
    device_model = filters.ModelChoiceFilter(
        label=gettext_lazy("Model"), queryset=models_here, empty_label=gettext_lazy("All")
    )
    state = filters.ChoiceFilter(
        label=gettext_lazy("Where"),
        method="with_state",
        choices=[
            ("in_place", gettext_lazy("in place")),
            ("free", gettext_lazy("in no place")),
            ("scrapped", gettext_lazy("scrapped")),
        ],
        empty_label=gettext_lazy("All"),
    )

    class Meta:
        model = Device
        fields: list[str] = []

    def with_text(self, queryset: QuerySet[Device], name: str, value: str) -> QuerySet[Device]:
        return queryset.filter(
            Q(number__icontains=value) | Q(serial__icontains=value) | Q(label_code__iexact=value.strip())
        )

    def with_state(self, queryset: QuerySet[Device], name: str, value: str) -> QuerySet[Device]:
        standing = Exists(Installation.objects.in_place().filter(device=OuterRef("pk")))
        if value == "scrapped":
            return queryset.filter(scrapped_on__isnull=False)
        if value == "free":
            return queryset.filter(~standing, scrapped_on__isnull=True)
        return queryset.filter(standing)
