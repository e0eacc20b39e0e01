"""Columns of the lists of check kinds and check plans."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inspections.models import CheckKind, CheckPlan
from plant.calc.wording import figure
from plant.tables.columns import RegisterTable

NUMBERS = {"td": {"class": "num"}, "th": {"class": "num"}}


class CheckKindTable(RegisterTable):
    name = tables.Column(verbose_name=gettext_lazy("Name"), linkify=True)
    origin = tables.Column(verbose_name=gettext_lazy("Whose"), accessor="plant_id", orderable=False, empty_values=())
    rule = tables.Column(verbose_name=gettext_lazy("Graded by"), orderable=False)
    needs_lockout = tables.Column(verbose_name=gettext_lazy("Belt"))
    minutes = tables.Column(verbose_name=gettext_lazy("Usual time [min]"), attrs=NUMBERS)
    retired_on = tables.DateColumn(verbose_name=gettext_lazy("No longer used since"), format="j M Y", default="")

    class Meta:
        model = CheckKind
        fields = ("name", "origin", "rule", "needs_lockout", "minutes", "retired_on")
        sequence = fields

    def render_origin(self, record: CheckKind) -> str:
        return _("the plant's own") if record.plant_id else _("built in")

    def render_needs_lockout(self, value: bool) -> str:
        return _("needs lockout") if value else _("may run")


class CheckPlanTable(RegisterTable):
    check_kind = tables.Column(
        verbose_name=gettext_lazy("Check"), linkify=("check-plan-detail", {"pk": tables.A("pk")})
    )
    whom = tables.Column(
        verbose_name=gettext_lazy("For"), accessor="pk", order_by=("device_model__name", "installation__conveyor__tag")
    )
    interval_days = tables.Column(verbose_name=gettext_lazy("Every [days]"), attrs=NUMBERS)
    interval_h = tables.Column(verbose_name=gettext_lazy("Every [running hours]"), attrs=NUMBERS)
    fixed = tables.Column(verbose_name=gettext_lazy("Fixed dates, shorter"), accessor="pk", orderable=False)
    window = tables.Column(verbose_name=gettext_lazy("Window [days]"), accessor="opens_days_before", attrs=NUMBERS)
    bedding_in = tables.Column(
        verbose_name=gettext_lazy("After an installation"), accessor="pk", orderable=False, attrs=NUMBERS
    )
    is_suspended = tables.Column(verbose_name=gettext_lazy("State"))

    class Meta:
        model = CheckPlan
        fields = ("check_kind", "whom", "interval_days", "interval_h", "fixed", "window", "bedding_in", "is_suspended")
        sequence = fields

    def render_whom(self, record: CheckPlan) -> Any:
        if record.device_model_id:
            return _("every %(model)s") % {"model": record.device_model}
        return _("%(device)s only") % {"device": record.installation}

    def render_interval_h(self, value: float) -> str:
        return f"{value:,.0f}"

    def value_interval_h(self, value: float) -> float:
        return value

    def render_fixed(self, record: CheckPlan) -> str:
        """Fixed dates, or what shortens the intervals."""
        if record.fixed_months is not None:
            every = ngettext("every month", "every %(n)s months", record.fixed_months) % {"n": record.fixed_months}
            return f"{record.fixed_day_words}, {every}"
        shares = [
            (_("season"), record.season_pct),
            (_("wet or abrasive"), record.duty_pct),
            (_("long days"), record.long_day_pct),
        ]
        return ", ".join(f"{words} {pct} %" for words, pct in shares if pct)

    def render_window(self, record: CheckPlan) -> str:
        return f"−{record.opens_days_before} / +{record.closes_days_after}"

    def render_bedding_in(self, record: CheckPlan) -> str:
        told = []
        if record.bedding_in_days:
            told.append(_("%(n)s days") % {"n": record.bedding_in_days})
        if record.bedding_in_h:
            told.append(f"{figure(record.bedding_in_h)} h")
        return _(" or ").join(told)

    def render_is_suspended(self, value: bool) -> str:
        return _("suspended") if value else _("in force")
