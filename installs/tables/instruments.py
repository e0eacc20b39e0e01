"""Columns and filters of the register of instruments."""

from __future__ import annotations

import datetime as dt

import django_filters as filters
import django_tables2 as tables
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Instrument
from plant.calc.units import QuantityKind
from plant.tables.columns import QuantityColumn, RegisterTable
from plant.words.marks import mark
from plant.words.moments import day_words

SOON_DAYS = 30


def calibration_state(instrument: Instrument, on: dt.date) -> tuple[str, str]:
    """Mark and words: in date, soon due, out of date, none, or out of use."""
    due = instrument.calibration_due_on
    if instrument.retired_on is not None and instrument.retired_on <= on:
        return "flat", _("no longer used")
    if due is None:
        return "early", _("no calibration in the book")
    if due < on:
        return "act", _("out of date since %s") % day_words(due)
    if (due - on).days <= SOON_DAYS:
        return "watch", _("due within %(days)s days") % {"days": SOON_DAYS}
    return "sound", _("in date")


class InstrumentTable(RegisterTable):
    number = tables.Column(verbose_name=gettext_lazy("Number"))
    kind = tables.Column(verbose_name=gettext_lazy("Kind"))
    range_least_nm = QuantityColumn(QuantityKind.TORQUE_NM, verbose_name=gettext_lazy("Range from"))
    range_most_nm = QuantityColumn(QuantityKind.TORQUE_NM, verbose_name=gettext_lazy("Range to"))
    deviation_pct = QuantityColumn(QuantityKind.PERCENT, verbose_name=gettext_lazy("Deviation"))
    calibrated_on = tables.DateColumn(verbose_name=gettext_lazy("Calibrated"), format="Y-m-d")
    calibration_due_on = tables.DateColumn(verbose_name=gettext_lazy("Due"), format="Y-m-d")
    state = tables.Column(verbose_name=gettext_lazy("Calibration"), empty_values=(), orderable=False)

    class Meta:
        model = Instrument
        fields = ()
        order_by = "number"

    def render_number(self, record: Instrument, value: str) -> str:
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), value)

    def value_number(self, value: str) -> str:
        return value

    def value_calibrated_on(self, value: dt.date | None) -> dt.date | None:
        return value

    value_calibration_due_on = value_calibrated_on

    def render_state(self, record: Instrument) -> str:
        return mark(*calibration_state(record, timezone.localdate()))

    def value_state(self, record: Instrument) -> str:
        return calibration_state(record, timezone.localdate())[1]


class InstrumentFilter(filters.FilterSet):
    text = filters.CharFilter(label=gettext_lazy("Number, certificate or note"), method="with_text")
    kind = filters.ChoiceFilter(
        label=gettext_lazy("Kind"), choices=Instrument.Kind.choices, empty_label=gettext_lazy("All")
    )
    state = filters.ChoiceFilter(
        label=gettext_lazy("Calibration"),
        method="with_state",
        choices=[
            ("in_date", gettext_lazy("in date")),
            ("out_of_date", gettext_lazy("out of date or none")),
            ("retired", gettext_lazy("no longer used")),
        ],
        empty_label=gettext_lazy("All"),
    )

    class Meta:
        model = Instrument
        fields: list[str] = []

    def with_text(self, queryset: QuerySet[Instrument], name: str, value: str) -> QuerySet[Instrument]:
        return queryset.filter(Q(number__icontains=value) | Q(certificate__icontains=value) | Q(note__icontains=value))

    def with_state(self, queryset: QuerySet[Instrument], name: str, value: str) -> QuerySet[Instrument]:
        today = timezone.localdate()
        if value == "retired":
            return queryset.filter(retired_on__isnull=False)
        in_date = Q(calibration_due_on__gte=today)
        return queryset.filter(retired_on__isnull=True).filter(
            in_date if value == "in_date" else Q(calibration_due_on__isnull=True) | ~in_date
        )
