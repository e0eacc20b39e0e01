"""Moments in words."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone
from django.utils.formats import date_format


def moment_words(moment: dt.datetime, zone: dt.tzinfo | None = None) -> str:
    """Day and time, by the plant's clock."""
    return str(date_format(timezone.localtime(moment, zone), "j M Y, H:i"))


def day_words(day: dt.date) -> str:
    """A day as the site writes it: 3 Dec 2026."""
    return str(date_format(day, "j M Y"))


def day_of(moment: dt.datetime) -> str:
    """The day of a moment, by the plant's clock."""
    return day_words(timezone.localtime(moment).date())
