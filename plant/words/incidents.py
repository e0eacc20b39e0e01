"""Incidents in words."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone
from django.utils.formats import date_format


def when_words(moment: dt.datetime, time_is_known: bool, *, day: str = "j M Y", with_time: str = "j M Y, H:i") -> str:
    """When it happened, by the plant's clock; the day alone where nobody knows the time."""
    return str(date_format(timezone.localtime(moment), with_time if time_is_known else day))
