"""What the safety lead on pages about work at a belt needs to know."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import template
from django.utils import timezone

from plant.words import energies

register = template.Library()
register.filter(energies.energies_of)


@register.simple_tag(takes_context=True)
def care_plant(context: Any, conveyor: Any = None) -> Any:
    """The plant whose procedure leads: the conveyor's own, else the one at hand."""
    if conveyor:
        return conveyor.plant
    request = context.get("request")
    return getattr(request, "plant", None)


@register.filter
def is_over_a_year_ago(day: dt.date) -> bool:
    return (timezone.localdate() - day).days > 365
