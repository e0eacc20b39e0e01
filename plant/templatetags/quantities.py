"""Numbers with their unit in the system that the person chose, marks for grades, and dates as people say them."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms, template
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from plant.calc import wording
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, format_reading, sentence_in, unit_label

register = template.Library()

# Mark and word: the shape says it without colour.
MARKS = {
    "sound": '<circle cx="7" cy="7" r="6" fill="currentColor"/>',
    "watch": '<path d="M7 1 13 13H1Z" fill="currentColor"/>',
    "act": '<path d="M7 0 14 7 7 14 0 7Z" fill="currentColor"/>',
    "fewer": '<path d="M1 3H13L7 12Z" fill="currentColor"/>',
    "more": '<path d="M7 2 13 11H1Z" fill="currentColor"/>',
    "flat": '<path d="M1 7H13" stroke="currentColor" stroke-width="3"/>',
    "little": '<path d="M1 5H13M1 9H13" stroke="currentColor" stroke-width="2"/>',
    "early": '<circle cx="7" cy="7" r="5.5" fill="none" stroke="currentColor" stroke-width="2" '
    'stroke-dasharray="3 2.4"/>',
    "few": '<circle cx="3" cy="7" r="2" fill="currentColor"/><circle cx="11" cy="7" r="2" fill="currentColor"/>',
    "unjudged": '<path d="M2 2 12 12M12 2 2 12" stroke="currentColor" stroke-width="2"/>',
}
COLOURS = {"fewer": "sound", "more": "act", "little": "flat", "few": "flat", "unjudged": "flat"}


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
def sentence(context: Any, words: str, tape: bool = False) -> str:
    """A sentence that the site stored in SI, in the person's units: {% sentence row.grade_reason %}.

    With `tape=True` lengths are those of a tape: inches to the nearest 1/16.
    """
    return sentence_in(words or "", units_of(context), tape=tape)


@register.simple_tag(takes_context=True)
def unit(context: Any, kind: str) -> str:
    """The unit alone, for the head of a column."""
    return unit_label(QuantityKind(kind), units_of(context))


@register.simple_tag
def mark(kind: str, words: str = "") -> str:
    """A grade or verdict as a mark and a word: {% mark "watch" %}, {% mark "fewer" "fewer incidents" %}."""
    shape = MARKS.get(kind)
    if shape is None:
        return words
    named = {"sound": _("sound"), "watch": _("watch"), "act": _("act")}
    return format_html(
        '<span class="mark {}"><svg viewBox="0 0 14 14" aria-hidden="true">{}</svg>{}</span>',
        COLOURS.get(kind, kind),
        mark_safe(shape),  # the shapes are constants of this module
        words or named.get(kind, kind),
    )


@register.filter
def days_late(days: int) -> str:
    """34 -> "34 days late"."""
    return _("1 day late") if days == 1 else _("%(days)s days late") % {"days": days}


@register.filter
def p_words(p: float) -> str:
    """A p-value as it stands in a sentence: "p 0.0123", "p < 0.0001"."""
    return wording.p_words(p)


@register.filter
def full_stop(text: Any) -> str:
    """Ends a sentence of which the last words were typed by somebody, or made elsewhere with their own full stop."""
    return wording.full_stop(str(text))


@register.filter
def share(value: float | None) -> str:
    """A share between 0 and 1 in percent: 0.97 -> "97 %"."""
    return _("not known") if value is None else f"{100 * value:.0f} %"


@register.filter
def day_written(bound: forms.BoundField) -> str:
    """The day in a box as the site writes it: the browser shows day and month in an order of its own."""
    if not isinstance(bound.field, forms.DateField | forms.DateTimeField):
        return ""
    try:
        day = dt.date.fromisoformat(str(bound.value() or "")[:10])
    except ValueError:
        return _("Day and month stand in your browser's order; its calendar names the month.")
    return f"= {date_format(day, 'j M Y')}"
