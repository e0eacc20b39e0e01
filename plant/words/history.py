"""Stored values, rows and people as the history of a record names them."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import models
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant.calc.units import UnitSystem, format_quantity, kind_of


def row_words(row: Any) -> str:
    """What the historical row was called; a row whose neighbours are gone still has its number."""
    try:
        return str(row.instance)
    except (AttributeError, models.ObjectDoesNotExist):
        return str(row.id)


def name_of(person: Any) -> str:
    return str(person) if person is not None else _("the site itself")


def words_for(field: models.Field, value: Any, system: UnitSystem, names: dict[Any, dict[Any, str]]) -> str:
    """A stored value as people read it."""
    if value is None or value == "":
        return "–"
    if isinstance(field, models.ForeignKey):
        return names.get(field.related_model, {}).get(value, str(value))
    if field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    kind = kind_of(field.name)
    if kind is not None and isinstance(value, int | float):
        return format_quantity(float(value), kind, system)
    if isinstance(value, dt.datetime):
        return date_format(timezone.localtime(value), "DATETIME_FORMAT")
    if isinstance(value, dt.date):
        return date_format(value, "DATE_FORMAT")
    if isinstance(value, list):
        return "; ".join(map(list_row_words, value)) or "–"
    return str(value)


def list_row_words(row: Any) -> str:
    """One row of a list that a field holds, such as a part with its count."""
    if not isinstance(row, dict):
        return str(row)
    told = [
        str(each).removesuffix(".0") if not isinstance(each, bool) else name.removeprefix("is_").replace("_", " ")
        for name, each in row.items()
        if each not in ("", None, False)
    ]
    return ", ".join(told)
