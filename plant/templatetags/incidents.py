"""When an incident happened, in words."""

from __future__ import annotations

from django import template

from plant.words import incidents

register = template.Library()
register.filter(incidents.when)
