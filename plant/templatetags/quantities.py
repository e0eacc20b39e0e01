"""Numbers with their unit in the system that the person chose, marks for grades, and dates as people say them."""

from __future__ import annotations

from typing import Any

from django import forms, template

from plant.calc import wording
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, format_reading, unit_label
from plant.words import marks, quantities

register = template.Library()


def units_of(context: Any) -> UnitSystem:
    return UnitSystem(context.get("units") or UnitSystem.METRIC)


@register.simple_tag(takes_context=True)
def quantity(context: Any, value: float | None, kind: str, digits: int | None = None) -> str:
    """{% quantity conveyor.belt_width_mm "mm" %} -> 1200 mm, or 47 1/4 in for a person who chose US units."""
    return format_quantity(value, QuantityKind(kind), units_of(context), digits=digits)


@register.simple_tag(takes_context=True)
def reading(context: Any, value: float | None, kind: str) -> str:
    """A measured value as an instrument shows it: {% reading row.value row.quantity %}."""
    return format_reading(value, QuantityKind(kind), units_of(context))


@register.simple_tag(takes_context=True)
def unit(context: Any, kind: str) -> str:
    """The unit alone, for the head of a column."""
    return unit_label(QuantityKind(kind), units_of(context))


register.simple_tag(marks.mark)
register.filter(quantities.days_late)
register.filter(quantities.share)
register.filter(wording.p_words)


@register.filter
def full_stop(text: Any) -> str:
    """Ends a sentence of which the last words were typed by somebody, or made elsewhere with their own full stop."""
    return wording.full_stop(str(text))


@register.filter
def field_classes(bound: forms.BoundField) -> str:
    """How a box of a form is laid out: a box to tick before its label, one of several lines over the whole width."""
    widget = bound.field.widget
    shapes = {"check": getattr(widget, "input_type", "") == "checkbox", "wide": widget.attrs.get("rows")}
    return " ".join(["field", *(name for name, is_so in shapes.items() if is_so)])


@register.filter
def day_written(bound: forms.BoundField) -> str:
    """The day in a box of a form as the site writes it; nothing for a box of anything else."""
    if not isinstance(bound.field, forms.DateField | forms.DateTimeField):
        return ""
    return quantities.day_written(str(bound.value() or ""))
