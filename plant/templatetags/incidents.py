"""When an incident happened, in words."""

from __future__ import annotations

from django import template
from django.utils.translation import gettext as _

from plant.models import Incident
from plant.words.incidents import when_words

register = template.Library()


@register.filter
def when(incident: Incident) -> str:
    words = when_words(incident.happened_at, incident.time_is_known)
    return words if incident.time_is_known else _("%(day)s, time not known") % {"day": words}
