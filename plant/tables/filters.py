"""Filters of lists that take keys and days out of an address."""

from __future__ import annotations

from typing import Any

import django_filters as filters
from django import forms

from plant.calc.moments import MomentKind
from plant.forms.moments import DayField

# Keys are whole numbers of 8 bytes.
LARGEST_KEY = 2**63 - 1


class KeyFilter(filters.Filter):
    """The row that another page names; nobody types it."""

    field_class = forms.IntegerField

    def __init__(self, **kwargs: Any) -> None:
        known = {"widget": forms.HiddenInput, "min_value": 0, "max_value": LARGEST_KEY}
        super().__init__(**{**known, **kwargs})


class DayFilter(filters.DateFilter):
    """A day of the calendar of a book."""

    field_class = DayField

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(kind=MomentKind.CLOCK, **kwargs)
