"""Columns and filters of the list of fittings."""

from __future__ import annotations

from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from installs.models import Fitting
from plant.calc.units import QuantityKind
from plant.tables.columns import MomentColumn, QuantityColumn, RegisterTable, TagColumn
from plant.tables.conveyors import areas_here, conveyors_here


def state_words(fitting: Fitting) -> str:
    """Where a job stands, from its dates."""
    if fitting.given_up_at is not None:
        return str(_("given up"))
    if fitting.handed_over_at is not None:
        return str(_("handed over"))
    if fitting.accepted_at is not None:
        return str(_("accepted"))
    if fitting.begun_at is not None:
        return str(_("under way"))
    return str(_("planned"))


class FittingTable(RegisterTable):
    conveyor = TagColumn(verbose_name=_("Conveyor"), accessor="conveyor", order_by=("conveyor__tag",))
    chainage_m = QuantityColumn(QuantityKind.DISTANCE_M, verbose_name=_("Chainage"))
    strand = tables.Column(verbose_name=_("Strand"))
    job = tables.Column(verbose_name=_("Job"), accessor="pk", orderable=False)
    device_model = tables.Column(verbose_name=_("Model"), accessor="device_model__name")
    device = tables.Column(verbose_name=_("Device"), accessor="device__number", default="–")
    planned_at = MomentColumn(verbose_name=_("Planned start"), default="–")
    duration_h = QuantityColumn(QuantityKind.HOURS, verbose_name=_("Duration"))
    crew = tables.Column(verbose_name=_("Crew"), accessor="crew__all", orderable=False, default="–")
    state = tables.Column(verbose_name=_("State"), accessor="begun_at", empty_values=(), orderable=False)

    class Meta:
        model = Fitting
        fields = ()
        sequence = (
            "job",
            "conveyor",
            "strand",
            "chainage_m",
            "device_model",
            "device",
            "planned_at",
            "duration_h",
            "crew",
            "state",
        )
        order_by = ("planned_at",)

    def render_job(self, record: Fitting) -> str:
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), _("Open"))

    def value_job(self, record: Fitting) -> Any:
        return record.pk

    def render_crew(self, record: Fitting) -> str:
        return ", ".join(str(person) for person in record.crew.all()) or "–"

    def value_crew(self, record: Fitting) -> str:
        return ", ".join(str(person) for person in record.crew.all())

    def render_state(self, record: Fitting) -> str:
        return state_words(record)

    value_state = render_state


class FittingFilter(filters.FilterSet):
    area = filters.ModelChoiceFilter(
        label=_("Area"), field_name="conveyor__area", queryset=areas_here, empty_label=_("All")
    )
    conveyor = filters.ModelChoiceFilter(label=_("Conveyor"), queryset=conveyors_here, empty_label=_("All"))
    state = filters.ChoiceFilter(
        label=_("State"),
        method="with_state",
        choices=[
            ("planned", _("planned")),
            ("begun", _("under way")),
            ("over", _("handed over or given up")),
            ("all", _("all")),
        ],
        empty_label=_("Open"),
    )

    class Meta:
        model = Fitting
        fields: list[str] = []

    def with_state(self, queryset: QuerySet[Fitting], name: str, value: str) -> QuerySet[Fitting]:
        return queryset  # decided in qs: without a choice only open jobs are listed

    @property
    def qs(self) -> QuerySet[Fitting]:
        rows = super().qs
        state = self.form.cleaned_data.get("state") if self.form.is_bound and self.form.is_valid() else ""
        if state == "all":
            return rows
        if state == "over":
            return rows.exclude(handed_over_at__isnull=True, given_up_at__isnull=True)
        rows = rows.filter(handed_over_at__isnull=True, given_up_at__isnull=True)
        return rows.filter(begun_at__isnull=state == "planned") if state else rows
