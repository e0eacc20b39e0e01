"""Moments in words."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone
from django.utils.formats import date_format


def moment_words(moment: dt.datetime) -> str:
    """Day and time, by the plant's clock."""
    return str(date_format(timezone.localtime(moment), "j M Y, H:i"))
