"""Columns that several lists share: quantities in the reader's units on the page and in SI in files, links, moments."""

from __future__ import annotations

import datetime as dt
from typing import Any

import django_tables2 as tables
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django_tables2 import RequestConfig

from plant.calc.units import QuantityKind, UnitSystem, format_quantity, unit_label

NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


class QuantityColumn(tables.Column):
    """A number without its unit, which stands in the head; files get the stored number and its SI unit."""

    def __init__(self, kind: QuantityKind, *args: Any, digits: int | None = None, **kwargs: Any) -> None:
        kwargs.setdefault("attrs", NUMBER)
        super().__init__(*args, **kwargs)
        self.kind, self.digits, self.system = kind, digits, UnitSystem.METRIC

    def use_units(self, system: UnitSystem) -> None:
        self.system = system

    @property
    def header(self) -> str:
        unit = unit_label(self.kind, self.system)
        return f"{self.verbose_name} [{unit}]" if unit else str(self.verbose_name)

    def render(self, value: float, table: tables.Table) -> str:
        return format_quantity(value, self.kind, self.system, with_unit=False, digits=self.digits, thousands=True)

    def value(self, value: float | None) -> float | None:
        return value


class TagColumn(tables.Column):
    """A conveyor's tag that opens its page; name the way to the conveyor: TagColumn(accessor="conveyor")."""

    def render(self, value: Any) -> str:
        return format_html('<a class="tag" href="{}">{}</a>', value.get_absolute_url(), value.tag)

    def value(self, value: Any) -> str:
        return str(value.tag)


class MomentColumn(tables.Column):
    """A moment in the plant's clock; ISO 8601 with the offset in files."""

    def render(self, value: dt.datetime) -> str:
        return date_format(timezone.localtime(value), "Y-m-d H:i")

    def value(self, value: dt.datetime | None) -> dt.datetime | None:
        return value


class YesColumn(tables.Column):
    """A word for a flag, where a tick would be colour and shape alone."""

    def render(self, value: bool) -> str:
        return _("yes") if value else _("no")

    def value(self, value: bool) -> bool:
        return value


class RegisterTable(tables.Table):
    """A table that knows in which units its reader thinks."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # Given the request, the library would page by whatever number the address names, a million or -1 too.
        request = kwargs.pop("request", None)
        super().__init__(*args, **kwargs)
        if request is not None:
            self.request = request
            RequestConfig(request, paginate=False).configure(self)
            self.use_units(UnitSystem(request.user.unit_system))

    def use_units(self, system: UnitSystem) -> None:
        for column in self.columns.iterall():
            if isinstance(column.column, QuantityColumn):
                column.column.use_units(system)
