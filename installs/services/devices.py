"""Devices: single pieces of hardware, each with a number and a label."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Device, DeviceModel
from plant.errors import Refused
from plant.models import Plant
from plant.services.records import CONSTRAINT_WORDS, all_but, change_record, create_record, known_row
from plant.words.moments import day_words

CONSTRAINT_WORDS.update(
    {"device_number_once": gettext_lazy("A device with this number is in the book already. Give another number.")}
)


def check_device(plant: Plant, values: Mapping[str, Any], *, but: Device | None = None) -> None:
    """Raises Refused, with the field, where a number is taken, a model is another plant's, or it still stands."""
    number = str(values.get("number", but.number if but else "")).strip()
    known = all_but(Device.objects.filter(plant=plant, number__iexact=number), but).first()
    if known is not None:
        words = _("Device %(number)s is in the book already (%(model)s). Give another number.") % {
            "number": known.number,
            "model": known.device_model,
        }
        raise Refused(words, code="number_known", fields={"number": words})
    model: DeviceModel | None = values.get("device_model")
    if model is not None and model.plant_id != plant.pk:
        words = _("That device model belongs to another plant. Choose one of %(plant)s.") % {"plant": plant}
        raise Refused(words, code="other_plant", fields={"device_model": words})
    scrapped_on: dt.date | None = values.get("scrapped_on")
    if scrapped_on is None:
        return
    if scrapped_on > timezone.localdate(timezone=plant.zone):
        words = _("%(day)s is in the future. Give the day on which it was scrapped.") % {"day": day_words(scrapped_on)}
        raise Refused(words, code="future", fields={"scrapped_on": words})
    standing = but.installations.in_place().select_related("conveyor").first() if but else None
    if standing is not None:
        words = _("Device %(number)s stands on %(tag)s. Record its removal there first.") % {
            "number": but.number if but else number,
            "tag": standing.conveyor.tag,
        }
        raise Refused(words, code="in_place", fields={"scrapped_on": words})


@transaction.atomic
def add_device(*, plant: Plant, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> Device:
    """Write a device into the book; its label code is made here.

    Raises
    ------
    Refused
        If its number is known or a value is not allowed.
    """
    known = known_row(Device, client_key)
    if known is not None:
        return known
    check_device(plant, values)
    return create_record(Device, by=by, client_key=client_key, plant=plant, **values)


@transaction.atomic
def change_device(device: Device, *, by: Any, version: int, reason: str = "", **values: Any) -> Device:
    """Change what is known of a device; the label code stays."""
    check_device(device.plant, values, but=device)
    return change_record(device, by=by, version=version, reason=reason, **values)


@transaction.atomic
def scrap_device(device: Device, *, by: Any, version: int, scrapped_on: dt.date, reason: str) -> Device:
    """Write that a device is no longer to be fitted anywhere, and why; its history and places stay.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; if no reason is given, it was scrapped before, it still stands somewhere, or the day lies
        in the future or before its last removal.
    """
    if not reason.strip():
        words = _("Say why it is scrapped.")
        raise Refused(words, code="reason", fields={"reason": words})
    if device.scrapped_on is not None:
        raise Refused(
            _("It was scrapped on %(day)s already.") % {"day": day_words(device.scrapped_on)}, code="scrapped"
        )
    check_device(device.plant, {"scrapped_on": scrapped_on}, but=device)
    last = device.installations.order_by("-removed_at").first()
    removed_on = last and timezone.localdate(last.removed_at, timezone=device.plant.zone)
    if removed_on and scrapped_on < removed_on:
        words = _("It was removed from its place on %(day)s. Give that day or a later one.") % {
            "day": day_words(removed_on)
        }
        raise Refused(words, code="order", fields={"scrapped_on": words})
    return change_record(
        device, by=by, version=version, reason=reason.strip(), scrapped_on=scrapped_on, scrapped_reason=reason.strip()
    )
