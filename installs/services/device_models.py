"""Spec sheets of device types and their fasteners."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import DeviceModel, Fastener, ModelPart, ModelSheet
from installs.services.installations import refuse_bound
from installs.words.bounds import BoundRule
from plant.calc.units import kind_of
from plant.calc.wording import figure
from plant.errors import Refused
from plant.models import Plant
from plant.services.records import CONSTRAINT_WORDS, all_but, change_record, create_record, known_row

CONSTRAINT_WORDS.update(
    {
        "device_model_name_once": gettext_lazy("A device model of this name is in the book already."),
        "device_model_limit_below_new": gettext_lazy(
            "The limit diameter of the sensor roller must be below the new one."
        ),
        "model_part_once": gettext_lazy("This model has a part or tool of that name already; change that one."),
        "fastener_place_once": gettext_lazy("This model has fasteners at that place already; change those."),
    }
)


# Least and most of the same thing.
ORDERED = (
    ("speed_least_m_s", "speed_most_m_s", BoundRule.SPEED_ORDER),
    ("frame_length_least_mm", "frame_length_most_mm", BoundRule.FRAME_ORDER),
    ("end_play_least_mm", "end_play_most_mm", BoundRule.END_PLAY_ORDER),
    ("belt_lift_least_mm", "belt_lift_most_mm", BoundRule.LIFT_ORDER),
    ("effect_length_least_m", "effect_length_m", BoundRule.LEAST_EFFECT),
    ("effect_length_m", "effect_length_most_m", BoundRule.MOST_EFFECT),
    ("effect_length_least_m", "effect_length_most_m", BoundRule.EFFECT_ORDER),
)
# Columns that say which row it is and who wrote it; all others are what the sheet states.
NOT_STATED = {"id", "client_key", "created_at", "created_by", "version", "plant", "device_model"}


def stated_of(row: Any) -> dict[str, Any]:
    """What a row of a sheet states, by field name."""
    return {each.name: getattr(row, each.name) for each in row._meta.concrete_fields if each.name not in NOT_STATED}


def content_of(device_model: DeviceModel) -> dict[str, Any]:
    """The sheet of a model as it stands now, with its fasteners and parts."""
    return {
        **stated_of(device_model),
        "fasteners": [stated_of(each) for each in device_model.fasteners.order_by("pk")],
        "parts": [stated_of(each) for each in device_model.parts.order_by("kind", "pk")],
    }


def known_of(content: Mapping[str, Any]) -> dict[str, Any]:
    """What a sheet states: a figure that the site learnt to ask for later is as little stated as an empty one."""
    return {name: value for name, value in content.items() if value is not None}


def keep_sheet(device_model: DeviceModel, *, by: Any, reason: str = "") -> ModelSheet:
    """Write a version of the sheet where it differs from the newest one; what installations were fitted to stays."""
    # Two changes at once would else both write the same number: the row is locked where the data base can.
    model = DeviceModel.objects.select_for_update().get(pk=device_model.pk)
    newest = model.sheets.order_by("-number").first()
    content = content_of(model)
    if newest is not None and known_of(newest.content) == known_of(content):
        same: ModelSheet = newest
        return same
    number = newest.number + 1 if newest else 1
    return create_record(
        ModelSheet, by=by, device_model=model, number=number, content=content, reason=reason.strip()[:200]
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
        rule=BoundRule.WIDTH_ORDER,
    )
    for low, high, rule in ORDERED:
        check_order(given(low), given(high), field=low, may_equal=True, rule=rule)
    check_order(
        given("sensor_limit_mm"),
        given("sensor_new_mm"),
        field="sensor_limit_mm",
        may_equal=False,
        rule=BoundRule.SENSOR_LIMIT,
    )
    for field in DeviceModel._meta.concrete_fields:
        value = given(field.name) if field.get_internal_type() == "FloatField" else None
        if value is not None and value < 0:
            words = _("%(given)s is negative; give 0 or more, or leave it empty.") % {"given": figure(value)}
            raise Refused(words, code="negative", fields={field.name: words})


def check_order(low: float | None, high: float | None, *, field: str, may_equal: bool, rule: BoundRule) -> None:
    if low is None or high is None or low < high or (may_equal and low == high):
        return
    kind = kind_of(field)
    unit = kind.value if kind is not None else ""
    refuse_bound(field, "order", rule, **{f"low_{unit}": low, f"high_{unit}": high})


@transaction.atomic
def add_device_model(
    *,
    plant: Plant,
    by: Any,
    client_key: uuid.UUID | None = None,
    fasteners: Iterable[Mapping[str, Any]] = (),
    parts: Iterable[Mapping[str, Any]] = (),
    **values: Any,
) -> DeviceModel:
    """Write the spec sheet of a type, with its fasteners.

    Parameters
    ----------
    fasteners : iterable of mappings, optional
        Each with place, count, and where known size, torque_nm, tolerance_pct.
    parts : iterable of mappings, optional
        Each with kind (part, tool, lifting), name, count.

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
        write_fastener(made, by=by, **fastener)
    for part in parts:
        create_record(ModelPart, by=by, device_model=made, **part)
    keep_sheet(made, by=by)
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
    row = change_record(device_model, by=by, version=version, reason=reason, **values)
    keep_sheet(row, by=by, reason=reason)
    return row


def check_fastener(device_model: DeviceModel, place: str, *, but: Fastener | None = None) -> None:
    others = all_but(device_model.fasteners.filter(place__iexact=place.strip()), but)
    if others.exists():
        words = _("%(model)s has fasteners at “%(place)s” already; change those.") % {
            "model": device_model.name,
            "place": place.strip(),
        }
        raise Refused(words, code="place_known", fields={"place": words})


def write_fastener(
    device_model: DeviceModel, *, by: Any, client_key: uuid.UUID | None = None, **values: Any
) -> Fastener:
    check_fastener(device_model, values.get("place", ""))
    return create_record(Fastener, by=by, client_key=client_key, device_model=device_model, **values)


@transaction.atomic
def add_fastener(*, device_model: DeviceModel, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> Fastener:
    """Write a group of like fasteners of a type; the sheet gets a new version."""
    known = known_row(Fastener, client_key)
    if known is not None:
        return known
    row = write_fastener(device_model, by=by, client_key=client_key, **values)
    keep_sheet(device_model, by=by, reason=_("fasteners added: %s") % row.place)
    return row


@transaction.atomic
def change_fastener(fastener: Fastener, *, by: Any, version: int, **values: Any) -> Fastener:
    """Change a group of fasteners; what stood there stays in the history and in the earlier sheets."""
    check_fastener(fastener.device_model, values.get("place", fastener.place), but=fastener)
    row = change_record(fastener, by=by, version=version, **values)
    keep_sheet(row.device_model, by=by, reason=_("fasteners changed: %s") % row.place)
    return row


def check_part(device_model: DeviceModel, values: Mapping[str, Any], *, but: ModelPart | None = None) -> None:
    kind, name = (values.get(each, getattr(but, each, "")) for each in ("kind", "name"))
    if all_but(device_model.parts.filter(kind=kind, name__iexact=name.strip()), but).exists():
        words = _("%(model)s has “%(name)s” already; change that one.") % {
            "model": device_model.name,
            "name": name.strip(),
        }
        raise Refused(words, code="part_known", fields={"name": words})


@transaction.atomic
def add_part(*, device_model: DeviceModel, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> ModelPart:
    """Write a part, tool or lifting aid that the fitting of a type needs; the sheet gets a new version."""
    known = known_row(ModelPart, client_key)
    if known is not None:
        return known
    check_part(device_model, values)
    row = create_record(ModelPart, by=by, client_key=client_key, device_model=device_model, **values)
    keep_sheet(device_model, by=by, reason=_("added: %s") % row.name)
    return row


@transaction.atomic
def change_part(part: ModelPart, *, by: Any, version: int, **values: Any) -> ModelPart:
    """Change a part, tool or lifting aid; the earlier sheets keep what stood there."""
    check_part(part.device_model, values, but=part)
    row = change_record(part, by=by, version=version, **values)
    keep_sheet(row.device_model, by=by, reason=_("changed: %s") % row.name)
    return row
