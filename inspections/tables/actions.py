"""Columns and filters of the list of actions."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.utils import timezone
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from inspections.models import Action, TwiceClosed
from inspections.selectors.tasks import undecided_at
from inspections.tables.tasks import marked
from plant.models import Conveyor, Person
from plant.tables.columns import RegisterTable
from plant.tables.filters import KeyFilter
from plant.words.quantities import days_late

STATES = [
    ("open", _("open")),
    ("late", _("late")),
    ("unowned", _("open, nobody owns it yet")),
    ("done", _("done")),
]


def state_words(action: Action) -> str:
    if action.done_at is not None:
        return str(_("done"))
    days = (timezone.localdate() - action.due_on).days
    return str(days_late(days)) if days > 0 else str(_("open"))


class ActionTable(RegisterTable):
    due_on = tables.DateColumn(verbose_name=_("Due"), format="Y-m-d")
    title = tables.Column(verbose_name=_("What is to be done"))
    conveyor = tables.Column(verbose_name=_("Conveyor"), accessor="installation__conveyor__tag")
    device = tables.Column(verbose_name=_("Device"), accessor="installation__device__number")
    owner = tables.Column(verbose_name=_("Owner"), accessor="owner__username", default=_("nobody yet"))
    state = tables.Column(verbose_name=_("State"), empty_values=(), orderable=False)
    done_at = tables.DateTimeColumn(verbose_name=_("Done"), format="Y-m-d", default="")
    done_note = tables.Column(verbose_name=_("What was done"), default="", orderable=False)

    class Meta:
        model = Action
        fields = ()

    @cached_property
    def twice(self) -> dict[int, TwiceClosed]:
        rows = undecided_at(self.request.plant)
        return {visit: row for row in rows for visit in (row.first_id, row.second_id)}

    def render_title(self, record: Action, value: str) -> str:
        twice = self.twice.get(record.visit_id) if record.visit_id else None
        return marked(format_html('<a href="{}">{}</a>', record.get_absolute_url(), value), twice)

    def value_title(self, value: str) -> str:
        return value

    def render_conveyor(self, value: str) -> str:
        return format_html('<span class="tag">{}</span>', value)

    def value_conveyor(self, value: str) -> str:
        return value

    def value_done_at(self, record: Action) -> Any:
        return record.done_at

    def render_state(self, record: Action) -> str:
        return state_words(record)


def conveyors_of(request: Any) -> Any:
    return Conveyor.objects.of_plant(request.plant) if request and request.plant else Conveyor.objects.none()


def people_of(request: Any) -> Any:
    here = request.plant if request else None
    return Person.objects.filter(memberships__plant=here).distinct().order_by("username")


class ActionFilter(filters.FilterSet):
    state = filters.ChoiceFilter(label=_("State"), choices=STATES, method="in_state", empty_label=_("All"))
    owner = filters.ModelChoiceFilter(label=_("Owner"), queryset=people_of, empty_label=_("All"))
    conveyor = filters.ModelChoiceFilter(
        label=_("Conveyor"), field_name="installation__conveyor", queryset=conveyors_of, empty_label=_("All")
    )
    installation = KeyFilter(field_name="installation")

    class Meta:
        model = Action
        fields: list[str] = []

    def in_state(self, queryset: Any, name: str, value: str) -> Any:
        if value == "done":
            return queryset.filter(done_at__isnull=False)
        if value == "unowned":
            return queryset.unowned()
        return queryset.overdue(timezone.localdate()) if value == "late" else queryset.open()
