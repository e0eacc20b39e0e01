"""What the import desk can take in of this app: device models, devices with their installations."""

from __future__ import annotations

import dataclasses
import difflib
import re
import uuid
from typing import Any, NoReturn

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Device, DeviceModel, Installation
from installs.services.device_models import add_device_model, add_fastener, change_device_model, change_fastener
from installs.services.devices import add_device, change_device
from installs.services.installations import change_installation, install_device, remove_installation
from plant.calc.import_columns import Column, ColumnKind
from plant.calc.reasons import NotAccepted
from plant.calc.typed_quantities import parse_quantity
from plant.calc.units import QuantityKind, UnitSystem
from plant.errors import Refused
from plant.services.import_subjects.shape import (
    CHANGED,
    STRAND_CHOICES,
    TAG,
    UNCHANGED,
    WRITTEN,
    ImportContext,
    ImportSubject,
    choices_of,
    note_record,
    quantity,
    register_import_subject,
    same,
    write_record,
)
from plant.words.typing import why_not_read

MM, M = QuantityKind.LENGTH_MM, QuantityKind.DISTANCE_M


def outcome_of(*outcomes: str) -> str:
    """One word for a row that touched several records."""
    return next((each for each in (WRITTEN, CHANGED) if each in outcomes), UNCHANGED)


def refuse(field: str, words: str) -> None:
    raise Refused(words, fields={field: words})


# --- device models ----------------------------------------------------------------------------------------------------
FASTENER = re.compile(
    r"(?P<place>[^:]+):\s*(?:(?P<count>\d+)\s*[x×]\s*)?(?P<size>[^@±]*?)\s*(?:@\s*(?P<torque>[^±]+?))?\s*"
    r"(?:±\s*(?P<tolerance>\d+(?:\.\d+)?)\s*%?)?"
)


def read_fasteners(text: str) -> list[dict[str, Any]]:
    """Groups of like fasteners: "clamp: 4 x M12 8.8 @ 75 N·m; pivot: 1 x M16 @ 130 N·m ± 15 %".

    Raises
    ------
    Refused
        Naming the group that was not understood.
    """
    groups: list[dict[str, Any]] = []
    for part in filter(None, (each.strip() for each in re.split(r"[;\n]", text))):
        match = FASTENER.fullmatch(part)
        if match is None:
            refuse_group(part, _("it has no place before a colon"))
        group: dict[str, Any] = {"place": match["place"].strip(), "count": int(match["count"] or 1)}
        group["size"] = match["size"].strip()
        if match["torque"]:
            try:
                torque = parse_quantity(match["torque"].strip(), QuantityKind.TORQUE_NM, UnitSystem.METRIC)
            except NotAccepted as problem:
                refuse_group(part, why_not_read(problem))
            group["torque_nm"] = torque.value
        if match["tolerance"]:
            group["tolerance_pct"] = float(match["tolerance"])
        groups.append(group)
    return groups


def refuse_group(part: str, why: str) -> NoReturn:
    words = _("Fasteners “%(part)s” were not understood: %(why)s. Write clamp: 4 x M12 @ 75 N·m; pivot: 1 x M16.")
    said = words % {"part": part, "why": why.rstrip(".")}
    raise Refused(said, fields={"fasteners": said})


def write_fasteners(context: ImportContext, model: DeviceModel, groups: list[dict[str, Any]]) -> str:
    outcomes = []
    known = {each.place.casefold(): each for each in model.fasteners.all()}
    for group in groups:
        fastener = known.get(group["place"].casefold())
        if fastener is None:
            note_record(context, add_fastener(device_model=model, by=context.by, **group))
            outcomes.append(CHANGED)
            continue
        changes = {name: value for name, value in group.items() if value and not same(getattr(fastener, name), value)}
        changes.pop("place", None)
        if changes and not context.is_repeat:
            before = {name: getattr(fastener, name) for name in changes}
            changed = change_fastener(fastener, by=context.by, version=fastener.version, **changes)
            note_record(context, changed, before)
            outcomes.append(CHANGED)
    return outcome_of(*outcomes)


def write_device_model(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    given = {name: value for name, value in values.items() if value is not None}
    groups = read_fasteners(given.pop("fasteners", ""))
    known = DeviceModel.objects.filter(plant=context.plant, name__iexact=given["name"]).first()
    if known is None:
        if DeviceModel.objects.filter(client_key=key).exists():
            return UNCHANGED  # it was given another name since
        made = add_device_model(plant=context.plant, by=context.by, client_key=key, fasteners=groups, **given)
        note_record(context, made)
        return WRITTEN
    given.pop("name")
    return outcome_of(write_record(context, known, given, change_device_model), write_fasteners(context, known, groups))


register_import_subject(
    ImportSubject(
        name="device_models",
        label=gettext_lazy("Device models"),
        right="installs.add_devicemodel",
        order=20,
        key_fields=("name",),
        write_row=write_device_model,
        help=gettext_lazy("Spec sheets of device types. An empty cell means that the maker does not state the figure."),
        columns=(
            Column("name", "name", aliases=("model", "device model", "type"), required=True, example="T-1", longest=60),
            Column("strand", "strand", ColumnKind.CHOICE, choices=STRAND_CHOICES, example="return"),
            Column(
                "suits_reversing", "made for reversing belts", ColumnKind.YES_NO, aliases=("reversing",), example="no"
            ),
            Column(
                "pivot",
                "frame",
                ColumnKind.CHOICE,
                choices=choices_of(DeviceModel.Pivot, two_way=("both",)),
                example="pivot",
            ),
            quantity("trough_angle_deg", "trough angle", QuantityKind.DEGREES, "trough", example="35"),
            quantity("belt_width_least_mm", "belt width from", MM, "least belt width", "width from", example="800"),
            quantity("belt_width_most_mm", "belt width to", MM, "most belt width", "width to", example="1400"),
            quantity("speed_most_m_s", "belt speed up to", QuantityKind.SPEED_M_S, "most speed", "speed", example="4"),
            quantity("clearance_below_mm", "least clearance below", MM, "clearance below", example="250"),
            quantity("clearance_beside_mm", "least clearance beside", MM, "clearance beside", example="80"),
            quantity("clearance_along_mm", "least room along the belt", MM, "room along", example="840"),
            quantity("mass_kg", "mass", QuantityKind.MASS_KG, "weight", example="71"),
            quantity("effect_length_m", "effect length", M, "effect length downstream", "effect", example="50"),
            quantity("sensor_new_mm", "sensor roller, new diameter", MM, "sensor new", "new diameter", example="76"),
            quantity(
                "sensor_limit_mm", "sensor roller, limit diameter", MM, "sensor limit", "limit diameter", example="68"
            ),
            quantity(
                "breakaway_limit_n", "pivot breakaway force up to", QuantityKind.FORCE_N, "breakaway", example="120"
            ),
            Column(
                "fasteners",
                "fasteners",
                example="clamp: 4 x M12 @ 75 N·m; pivot: 1 x M16 @ 130 N·m",
                longest=600,
            ),
            Column("note", "note", aliases=("remark", "comment")),
        ),
    )
)


# --- devices and installations ----------------------------------------------------------------------------------------
def model_for(context: ImportContext, name: str) -> DeviceModel:
    known = {each.name.casefold(): each for each in DeviceModel.objects.of_plant(context.plant)}
    found = known.get(name.casefold())
    if found is None:
        near = difflib.get_close_matches(name.casefold(), known, n=1, cutoff=0.5)
        words = _("There is no device model “%(name)s”.") % {"name": name} + " "
        words += (
            _("The nearest is %(near)s. Write that one, or add the model first.") % {"near": known[near[0]].name}
            if near
            else _("Correct the name, or add the model first.")
        )
        refuse("device_model", words)
    assert found is not None
    return found


def write_device(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    """The device of a row, and where the row names a belt, its installation there."""
    given = {name: value for name, value in values.items() if value is not None}
    own = {name: given[name] for name in ("serial",) if name in given}
    if "device_model" in given:
        own["device_model"] = model_for(context, given["device_model"])
    device = Device.objects.filter(plant=context.plant, number__iexact=given["number"]).first()
    if device is None:
        if "device_model" not in own:
            refuse("device_model", _("Device %s is new, and its model is empty. Write the model.") % given["number"])
        # Its key is the number's, as several rows may tell where one device stood.
        device_key = uuid.uuid5(context.plant.client_key, f"device|{given['number'].casefold()}")
        device = add_device(plant=context.plant, by=context.by, client_key=device_key, number=given["number"], **own)
        note_record(context, device)
        outcome = WRITTEN
    else:
        outcome = write_record(context, device, own, change_device)
    if "conveyor" not in given:
        stray = next((name for name in ("installed_at", "chainage_m", "removed_at") if name in given), "")
        if stray:
            refuse("conveyor", _("The row says where or when it was fitted, but not on which belt. Write the tag."))
        return outcome
    return outcome_of(outcome, write_installation(context, device, given, key))


def write_installation(context: ImportContext, device: Device, given: dict[str, Any], key: uuid.UUID) -> str:
    for name, words in (
        ("installed_at", _("Say since when it is in service there.")),
        ("strand", _("Say which strand it stands on: carry or return.")),
        ("chainage_m", _("Say at which chainage it stands, counted from the tail pulley.")),
    ):
        if name not in given:
            refuse(name, words)
    place: dict[str, Any] = {name: given[name] for name in ("strand", "chainage_m", "access", "note") if name in given}
    known = (
        Installation.objects.filter(
            device=device, conveyor=given["conveyor"], installed_at=given["installed_at"]
        ).first()
        or Installation.objects.filter(client_key=key).first()
    )
    gone = {name: given[name] for name in ("removed_at", "removal_reason") if name in given}
    if known is None:
        made = install_device(
            device=device,
            conveyor=given["conveyor"],
            installed_at=given["installed_at"],
            by=context.by,
            client_key=key,
            now=context.now,
            **place,
            **gone,
        )
        note_record(context, made)
        return WRITTEN
    outcome = write_record(context, known, place, change_installation)
    if "removed_at" in gone and known.removed_at is None and not context.is_repeat:
        before = {"removed_at": None, "removal_reason": known.removal_reason}
        removed = remove_installation(
            known,
            by=context.by,
            version=known.version,
            removed_at=gone["removed_at"],
            reason=gone.get("removal_reason", context.reason),
            now=context.now,
        )
        note_record(context, removed, before)
        return CHANGED
    return outcome


register_import_subject(
    ImportSubject(
        name="installations",
        label=gettext_lazy("Devices and installations"),
        right="installs.add_installation",
        order=30,
        key_fields=("number", "conveyor", "installed_at"),
        write_row=write_device,
        help=gettext_lazy("One row a device and place; several rows where a device moved. Without a belt: a spare."),
        columns=(
            Column(
                "number",
                "device number",
                aliases=("device", "device no", "no", "id"),
                required=True,
                example="1",
                longest=30,
            ),
            Column("device_model", "device model", aliases=("model", "type"), example="T-1", longest=60),
            Column("serial", "serial number", aliases=("serial no", "sn"), longest=60, example="40112"),
            dataclasses.replace(TAG, required=False),
            Column("strand", "strand", ColumnKind.CHOICE, choices=STRAND_CHOICES, example="return"),
            quantity("chainage_m", "chainage", M, "position", "metre", "place", example="100"),
            Column(
                "installed_at",
                "in service since",
                ColumnKind.MOMENT,
                aliases=("installed", "installed on", "fitted", "since", "in service"),
                example="2026-01-05 08:00",
            ),
            Column("removed_at", "removed", ColumnKind.MOMENT, aliases=("removed on", "until"), example=""),
            Column("removal_reason", "why it was removed", aliases=("reason",), longest=200),
            Column("access", "access", longest=200, example="drive side walkway"),
            Column("note", "note", aliases=("remark", "comment")),
        ),
    )
)
