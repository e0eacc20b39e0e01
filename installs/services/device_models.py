"""Spec sheets of device types and their fasteners."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import DeviceModel, Fastener
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.errors import Refused
from plant.models import Plant
from plant.services.records import CONSTRAINT_WORDS, all_but, change_record, create_record, known_row

CONSTRAINT_WORDS.update(
    {
        "device_model_name_once": gettext_lazy("A device model of this name is in the book already."),
        "device_model_limit_below_new": gettext_lazy(
            "The limit diameter of the sensor roller must be below the new one."
        ),
        "fastener_place_once": gettext_lazy("This model has fasteners at that place already; change those."),
    }
)


def check_device_model(plant: Plant, values: Mapping[str, Any], *, but: DeviceModel | None = None) -> None:
    """Raises Refused, with the field, where figures of a model do not go together."""

    def given(name: str) -> Any:
        return values.get(name, getattr(but, name, None))

    name = (given("name") or "").strip()
    known = all_but(DeviceModel.objects.filter(plant=plant, name__iexact=name), but).first()
    if known is not None:
        words = _("Device model %(name)s is in the book already. Give another name.") % {"name": known.name}
        raise Refused(words, code="name_known", fields={"name": words})
    check_order(
        given("belt_width_least_mm"),
        given("belt_width_most_mm"),
        field="belt_width_least_mm",
        may_equal=True,
        words=_("Belt widths run from %(low)s to %(high)s; give the narrow one first."),
    )
    check_order(
        given("sensor_limit_mm"),
        given("sensor_new_mm"),
        field="sensor_limit_mm",
        may_equal=False,
        words=_("The sensor roller's limit is %(low)s, its new diameter %(high)s; the limit must be below it."),
    )
    for field in DeviceModel._meta.concrete_fields:
        value = given(field.name) if field.get_internal_type() == "FloatField" else None
        if value is not None and value < 0:
            words = _("%(given)g is negative; give 0 or more, or leave it empty.") % {"given": value}
            raise Refused(words, code="negative", fields={field.name: words})


def check_order(low: float | None, high: float | None, *, field: str, may_equal: bool, words: str) -> None:
    if low is None or high is None or low < high or (may_equal and low == high):
        return
    shown = {
        key: format_quantity(value, QuantityKind.LENGTH_MM, UnitSystem.METRIC)
        for key, value in (("low", low), ("high", high))
    }
    raise Refused(words % shown, code="order", fields={field: words % shown})


@transaction.atomic
def add_device_model(
    *,
    plant: Plant,
    by: Any,
    client_key: uuid.UUID | None = None,
    fasteners: Iterable[Mapping[str, Any]] = (),
    **values: Any,
) -> DeviceModel:
    """Write the spec sheet of a type, with its fasteners.

    Parameters
    ----------
    fasteners : iterable of mappings, optional
        Each with place, count, and where known size, torque_nm, tolerance_pct.

    Raises
    ------
    Refused
        If the name is known, figures do not go together, or a value is not allowed.
    """
    known = known_row(DeviceModel, client_key)
    if known is not None:
        return known
    check_device_model(plant, values)
    made = create_record(DeviceModel, by=by, client_key=client_key, plant=plant, **values)
    for fastener in fasteners:
        add_fastener(device_model=made, by=by, **fastener)
    return made


@transaction.atomic
def change_device_model(
    device_model: DeviceModel, *, by: Any, version: int, reason: str = "", **values: Any
) -> DeviceModel:
    """Change figures of a type; the old ones stay in its history.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; and if figures do not go together.
    """
    check_device_model(device_model.plant, values, but=device_model)
    return change_record(device_model, by=by, version=version, reason=reason, **values)


def check_fastener(device_model: DeviceModel, place: str, *, but: Fastener | None = None) -> None:
    others = all_but(device_model.fasteners.filter(place__iexact=place.strip()), but)
    if others.exists():
        words = _("%(model)s has fasteners at “%(place)s” already; change those.") % {
            "model": device_model.name,
            "place": place.strip(),
        }
        raise Refused(words, code="place_known", fields={"place": words})


@transaction.atomic
def add_fastener(*, device_model: DeviceModel, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> Fastener:
    """Write a group of like fasteners of a type."""
    known = known_row(Fastener, client_key)
    if known is not None:
        return known
    check_fastener(device_model, values.get("place", ""))
    return create_record(Fastener, by=by, client_key=client_key, device_model=device_model, **values)


@transaction.atomic
def change_fastener(fastener: Fastener, *, by: Any, version: int, **values: Any) -> Fastener:
    """Change a group of fasteners; what stood there stays in the history."""
    check_fastener(fastener.device_model, values.get("place", fastener.place), but=fastener)
    return change_record(fastener, by=by, version=version, **values)
