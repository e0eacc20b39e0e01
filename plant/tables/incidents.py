"""Columns and filters of the incident list."""

from __future__ import annotations

from typing import Any

import django_filters as filters
import django_tables2 as tables
from django import forms
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from plant.calc.moments import MomentKind
from plant.calc.units import QuantityKind, UnitSystem
from plant.forms.moments import WithinBounds
from plant.forms.quantities import QuantityField
from plant.models import Area, Conveyor, Incident, Strand
from plant.tables.columns import QuantityColumn, RegisterTable
from plant.words.incidents import when_words


class IncidentTable(RegisterTable):
    happened_at = tables.DateTimeColumn(verbose_name=_("When"), format="Y-m-d H:i")
    conveyor = tables.Column(verbose_name=_("Conveyor"), accessor="conveyor__tag")
    strand = tables.Column(verbose_name=_("Strand"), accessor="strand")
    chainage_m = QuantityColumn(QuantityKind.DISTANCE_M, verbose_name=_("Chainage"))
    side = tables.Column(verbose_name=_("Side"))
    offset_mm = QuantityColumn(QuantityKind.LENGTH_MM, verbose_name=_("Offset"))
    severity = tables.Column(verbose_name=_("Severity"))
    minutes_lost = QuantityColumn(QuantityKind.MINUTES, verbose_name=_("Lost"))
    suspected_cause = tables.Column(verbose_name=_("Suspected cause"))
    source = tables.Column(verbose_name=_("Source"))
    state = tables.Column(verbose_name=_("Counts"), empty_values=(), orderable=False)

    class Meta:
        model = Incident
        fields = ()
        sequence = (
            "happened_at", "conveyor", "strand", "chainage_m", "side", "offset_mm", "severity", "minutes_lost",
            "suspected_cause", "source", "state",
        )  # fmt: skip
        order_by = "-happened_at"

    def render_happened_at(self, record: Incident, value: Any) -> str:
        shown = when_words(value, record.time_is_known, day="Y-m-d", with_time="Y-m-d H:i")
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), shown)

    def value_happened_at(self, record: Incident, value: Any) -> Any:
        """In files a day alone, where the time of day is not known; the import desk reads it so."""
        return value if record.time_is_known else timezone.localtime(value).date()

    def render_conveyor(self, record: Incident, value: str) -> str:
        return format_html('<a class="tag" href="{}">{}</a>', record.conveyor.get_absolute_url(), value)

    def value_conveyor(self, value: str) -> str:
        return value

    def render_strand(self, value: str) -> str:
        return str({"carry": _("carry"), "return": _("return")}.get(value, value))

    def value_strand(self, value: str) -> str:
        return value

    def render_severity(self, record: Incident) -> str:
        return record.severity

    def render_state(self, record: Incident) -> str:
        if record.is_withdrawn:
            return str(_("withdrawn"))
        return str(_("corrected")) if hasattr(record, "corrected_by") else str(_("yes"))


class QuantityFilter(filters.Filter):
    """A quantity as the reader types it, with or without its unit: 120, 120 m, 394 ft."""

    field_class = QuantityField

    def __init__(self, kind: QuantityKind, **kwargs: Any) -> None:
        super().__init__(kind=kind, **kwargs)


class MomentFilter(filters.DateTimeFilter):
    """A day or a moment in ISO 8601, in the plant's clock where no zone is given."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault(
            "error_messages", {"invalid": _("Give a day or a moment such as 2026-01-31 or 2026-01-31 14:05.")}
        )
        kwargs.setdefault("validators", [WithinBounds(MomentKind.CLOCK)])
        super().__init__(*args, widget=forms.TextInput(attrs={"placeholder": "2026-01-31", "size": 12}), **kwargs)


def conveyors_of(request: Any) -> QuerySet[Conveyor]:
    return Conveyor.objects.of_plant(request.plant) if request and request.plant else Conveyor.objects.none()


def areas_of(request: Any) -> QuerySet[Area]:
    return Area.objects.of_plant(request.plant) if request and request.plant else Area.objects.none()


class IncidentFilter(filters.FilterSet):
    area = filters.ModelChoiceFilter(
        label=_("Area"), field_name="conveyor__area", queryset=areas_of, empty_label=_("All")
    )
    conveyor = filters.ModelChoiceFilter(label=_("Conveyor"), queryset=conveyors_of, empty_label=_("All"))
    strand = filters.ChoiceFilter(label=_("Strand"), choices=Strand.choices, empty_label=_("All"))
    severity = filters.ChoiceFilter(label=_("Severity"), choices=Incident.Severity.choices, empty_label=_("All"))
    source = filters.ChoiceFilter(label=_("Source"), choices=Incident.Source.choices, empty_label=_("All"))
    low_m = QuantityFilter(
        QuantityKind.DISTANCE_M, label=_("Chainage from"), field_name="chainage_m", lookup_expr="gte"
    )
    high_m = QuantityFilter(QuantityKind.DISTANCE_M, label=_("to"), field_name="chainage_m", lookup_expr="lte")
    all_rows = filters.BooleanFilter(
        label=_("Also corrected and withdrawn rows"), method="with_all_rows", widget=forms.CheckboxInput
    )

    class Meta:
        model = Incident
        fields: list[str] = []

    def before(self, queryset: Any, name: str, value: Any) -> Any:
        return queryset.surely_before(value, self.request.plant.zone)

    def with_all_rows(self, queryset: Any, name: str, value: Any) -> Any:
        return queryset  # the list reads the box itself: it decides between current rows and all

    @property
    def form(self) -> Any:
        form = super().form
        for field in form.fields.values():
            if isinstance(field, QuantityField) and self.request is not None:
                field.use_units(UnitSystem(self.request.user.unit_system))
        return form

    @property
    def qs(self) -> Any:
        rows = super().qs
        wants_all = self.form.is_bound and self.form.is_valid() and self.form.cleaned_data.get("all_rows")
        return rows if wants_all else rows.current()


# `from` is a word of Python's own, so these two cannot stand in the class body.
IncidentFilter.base_filters["from"] = MomentFilter(label=_("From"), field_name="happened_at", lookup_expr="gte")
IncidentFilter.base_filters["until"] = MomentFilter(label=_("Before"), method="before")
