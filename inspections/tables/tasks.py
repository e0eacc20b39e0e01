"""Columns of the list of checks, once for the page and the files."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.models import Task, TwiceClosed
from inspections.selectors.tasks import undecided_at
from inspections.words.tasks import put_off_words, to_be_decided
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.tables.columns import RegisterTable
from plant.words.marks import mark
from plant.words.quantities import days_late

NUMBERS = {"td": {"class": "num"}, "th": {"class": "num"}}


def marked(shown: str, row: TwiceClosed | None) -> str:
    """What a cell shows with that mark; in one piece, as on a phone a cell stands beside its label."""
    return shown if row is None else format_html("<div>{}{}</div>", shown, to_be_decided(row))


class TaskTable(RegisterTable):
    device = tables.Column(
        verbose_name=gettext_lazy("Device"),
        accessor="installation",
        order_by=("installation__conveyor__tag", "installation__device__number"),
        attrs={"td": {"class": "nowrap"}},
    )
    place = tables.Column(
        verbose_name=gettext_lazy("Place"),
        accessor="installation",
        order_by=("installation__conveyor__area__code", "installation__conveyor__tag", "installation__chainage_m"),
    )
    check_kind = tables.Column(verbose_name=gettext_lazy("Check"))
    due_on = tables.DateColumn(verbose_name=gettext_lazy("Due"), format="j M Y", attrs=NUMBERS)
    window = tables.Column(
        verbose_name=gettext_lazy("Window"), accessor="opens_on", order_by=("opens_on",), attrs=NUMBERS
    )
    late = tables.Column(
        verbose_name=gettext_lazy("Late"), accessor="closes_on", order_by=("-closes_on",), attrs=NUMBERS
    )
    last_grade = tables.Column(verbose_name=gettext_lazy("Last grade"), orderable=False, empty_values=())
    put_off = tables.Column(verbose_name=gettext_lazy("Put off"), empty_values=(), orderable=False)

    class Meta:
        model = Task
        fields = ("device", "place", "check_kind", "due_on", "window", "late", "last_grade", "put_off")
        sequence = fields

    def __init__(self, *args: Any, request: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, request=request, **kwargs)
        self.today = timezone.localdate(timezone=request.plant.zone)
        self.units = UnitSystem(request.user.unit_system)

    @cached_property
    def twice(self) -> dict[int, TwiceClosed]:
        return {row.task_id: row for row in undecided_at(self.request.plant)}

    def use_units(self, system: UnitSystem) -> None:
        """The list asks for SI before it writes a file."""
        self.units = system

    def render_device(self, record: Task) -> str:
        return format_html(
            '<a href="{}"><span class="tag">{}</span> {} {}</a>',
            record.get_absolute_url(),
            record.installation.conveyor.tag,
            _("device"),
            record.installation.device.number,
        )

    def value_device(self, record: Task) -> str:
        return str(record.installation)

    def render_place(self, record: Task) -> str:
        at = record.installation
        return format_html('<a href="{}">{}</a>', at.get_absolute_url(), self.value_place(record))

    def value_place(self, record: Task) -> str:
        at = record.installation
        chainage = format_quantity(at.chainage_m, QuantityKind.DISTANCE_M, self.units)
        return f"{at.conveyor.area.code}, {chainage}, {at.get_strand_display()}"

    def render_window(self, record: Task) -> str:
        return f"{date_format(record.opens_on, 'j M')} – {date_format(record.closes_on, 'j M')}"

    def value_window(self, record: Task) -> str:
        return f"{record.opens_on:%Y-%m-%d}/{record.closes_on:%Y-%m-%d}"

    def value_due_on(self, record: Task) -> Any:
        return record.due_on

    def render_late(self, record: Task) -> str:
        days = record.days_late(self.today)
        return days_late(days) if days else ""

    def value_late(self, record: Task) -> int:
        return record.days_late(self.today)

    def render_last_grade(self, record: Task) -> str:
        if not record.last_task_id:
            return _("never done")
        url = reverse("task-detail", args=[record.last_task_id])
        grade = mark(record.last_grade) if record.last_grade else _("no grade")
        return marked(format_html('<a href="{}">{}</a>', url, grade), self.twice.get(record.last_task_id))

    def value_last_grade(self, record: Task) -> str:
        return record.last_grade or ""

    def render_put_off(self, record: Task) -> str:
        return put_off_words(record)

    value_put_off = render_put_off


class ClosedTaskTable(TaskTable):
    """Checks that are closed: how and when, instead of how late."""

    closed_at = tables.DateTimeColumn(verbose_name=gettext_lazy("Closed"), format="Y-m-d H:i", attrs=NUMBERS)
    grade = tables.Column(verbose_name=gettext_lazy("Outcome"), accessor="outcome", empty_values=())

    class Meta:
        model = Task
        fields = ("device", "place", "check_kind", "due_on", "window", "closed_at", "grade", "put_off")
        sequence = fields
        exclude = ("late", "last_grade")

    def render_grade(self, record: Task) -> str:
        if record.outcome == Task.Outcome.DONE and record.grade:
            return marked(mark(record.grade), self.twice.get(record.done_with_id or record.pk))
        return f"{record.get_outcome_display()}: {record.closing_reason}" if record.closing_reason else record.outcome

    def value_grade(self, record: Task) -> str:
        return record.grade or record.outcome

    def value_closed_at(self, record: Task) -> Any:
        return record.closed_at
