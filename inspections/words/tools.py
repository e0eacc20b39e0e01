"""Words for torque tools: whether their calibration is in date."""

from __future__ import annotations

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _


def calibration_words(due: date | None, on: date) -> str:
    """What a calibration that is due on a day (None: none is in the book) says of a tool on a day."""
    if due is None:
        return _("no calibration is in the book")
    words = {"on": date_format(due, "j M Y")}
    return (_("out of calibration since %(on)s") if due < on else _("in date to %(on)s")) % words
