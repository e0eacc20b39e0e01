"""What the safety lead on pages about work at a belt needs to know."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import template
from django.utils import timezone
from django.utils.translation import gettext as _

register = template.Library()


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


@register.filter
def energies_of(conveyor: Any) -> str:
    """The belt's energies in the plant's words, and those that its own figures tell."""
    told = [conveyor.energies.rstrip(". ")] if conveyor.energies.strip() else []
    lower = conveyor.energies.lower()
    if conveyor.lift_m and "incline" not in lower and "inclin" not in lower:
        told.append(_("incline, the belt can roll back"))
    if conveyor.is_reversing and "revers" not in lower:
        told.append(_("the drive runs both ways"))
    if not conveyor.energies.strip():
        ask = _("others are not in the book: find out how the belt is tensioned and what can start it")
        none = _("nothing is in the book yet: find out how the belt is tensioned and what can start it")
        told.append(ask if told else none)
    return "; ".join(told)
