"""What a plant sets for itself."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from plant.models import Plant
from plant.services.conveyors import refuse_field
from plant.services.records import change_record


@transaction.atomic
def change_plant(plant: Plant, *, by: Any, version: int, reason: str = "", **values: Any) -> Plant:
    """Change a plant's clock, procedure and start values.

    Raises
    ------
    ChangedMeanwhile
        If somebody else changed them since they were opened.
    Refused
        If a value is not allowed, with the field at fault.
    """
    low = values.get("margin_low", plant.margin_low)
    high = values.get("margin_high", plant.margin_high)
    if low is not None and high is not None and not low < high:
        words = _("The upper ratio %(high)s is not above the lower one %(low)s. Give a larger one, such as 1.25.") % {
            "high": high,
            "low": low,
        }
        refuse_field("margin_high", words, code="margin_order")
    if low is not None and high is not None and not low < 1 < high:
        words = _("No change at all is a ratio of 1: it has to lie between %(low)s and %(high)s.") % {
            "low": low,
            "high": high,
        }
        refuse_field("margin_low" if low >= 1 else "margin_high", words, code="margin_without_one")
    return change_record(plant, by=by, version=version, reason=reason, **values)
