"""{% history_of row %}: who changed a record, when, and what stood there before; for entries their corrections."""

from __future__ import annotations

from typing import Any

from django import template

from plant.models import Row
from plant.selectors.history import lines_of
from plant.templatetags.quantities import units_of
from plant.words.history import lines_told

register = template.Library()

OPEN = 10  # lines that stand open; the next ones unfold
LONGEST = 200  # lines that a page holds; older ones are counted


@register.inclusion_tag("plant/_history.html", takes_context=True)
def history_of(context: Any, row: Row, *related: str) -> dict[str, Any]:
    """History of a row and, where named, of the rows that hang on it: {% history_of conveyor "parts" %}."""
    lines = lines_of(row, related)
    told = lines_told(lines[:LONGEST], units_of(context))
    return {"lines": told[:OPEN], "older": told[OPEN:], "n_left_out": max(0, len(lines) - LONGEST)}
