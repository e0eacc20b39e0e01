"""Tags for the words of fittings: {% job_place fitting %}."""

from __future__ import annotations

from typing import Any

from django import template

from installs.words import fittings
from plant.templatetags.quantities import units_of

register = template.Library()


@register.simple_tag(takes_context=True)
def job_place(context: Any, job: Any) -> str:
    """Where a fitting or a survey is, in the person's units: S-12, return strand, 120 m."""
    return fittings.job_words(job, units_of(context))
