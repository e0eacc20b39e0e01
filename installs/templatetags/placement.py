"""Tags for the words and marks of places."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from installs.calc.placement import Judged
from installs.tables.placement import incidents_url
from installs.words import placement
from plant.calc.reasons import Reason
from plant.templatetags.quantities import units_of

register = template.Library()
register.filter(placement.line_mark)
register.filter(placement.fit_mark)
register.filter(placement.rate_with_range)
register.filter(placement.strand_word)
register.filter(placement.rule_word)
register.filter(placement.per_100_m)


@register.filter
def incidents_in_zone_url(judged: Judged, study: Any) -> str:
    """The list of incidents in the zone of a trial."""
    return incidents_url(study, judged)


@register.simple_tag(takes_context=True)
def placing_words(context: Any, reasons: Reason | Iterable[Reason]) -> str:
    """Why a place fits, is offered or must wait: {% placing_words line.why %}."""
    return placement.placing_words(reasons, units_of(context))
