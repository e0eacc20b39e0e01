"""Incidents in words."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant.models import Incident


def when_words(moment: dt.datetime, time_is_known: bool, *, day: str = "j M Y", with_time: str = "j M Y, H:i") -> str:
    """When it happened, by the plant's clock; the day alone where nobody knows the time."""
    return str(date_format(timezone.localtime(moment), with_time if time_is_known else day))


def when(incident: Incident) -> str:
    """When an incident happened; of one whose time nobody knows that is said."""
    words = when_words(incident.happened_at, incident.time_is_known)
    return words if incident.time_is_known else _("%(day)s, time not known") % {"day": words}
