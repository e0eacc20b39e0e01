"""Belts from a file."""

from __future__ import annotations

import difflib
import uuid
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.chainage import tag_key
from plant.calc.import_columns import Column, ColumnKind
from plant.calc.units import QuantityKind
from plant.errors import Refused
from plant.models import (
    Area,
    Conveyor,
)
from plant.services.conveyors import add_area, add_conveyor, change_conveyor
from plant.services.import_subjects.shape import (
    UNCHANGED,
    WRITTEN,
    ImportContext,
    ImportSubject,
    choices_of,
    nearest_tags,
    note_record,
    quantity,
    register_import_subject,
    write_record,
)


# --- conveyors --------------------------------------------------------------------------------------------------------
def area_for(context: ImportContext, text: str, name: str | None) -> Area:
    """The area of this code or name; a new one is added unless it may be a slip of the pen for one that exists."""
    areas: list[Area] = list(Area.objects.of_plant(context.plant))
    for each in areas:
        if text.casefold() in (each.code.casefold(), each.name.casefold(), str(each).casefold()):
            return each
    known = {word.casefold(): each for each in areas for word in (each.code, each.name) if len(word) > 3}
    near = difflib.get_close_matches(text.casefold(), known, n=1, cutoff=0.8)
    if near:
        words = _("There is no area “%(text)s”. The nearest is %(near)s. Write that one, or add the area first.")
        words %= {"text": text, "near": known[near[0]]}
        raise Refused(words, code="unknown_area", fields={"area": words})
    if len(text) > 12 and not name:
        words = _("There is no area “%(text)s”, and a code has at most 12 characters. Give the code of the area.")
        raise Refused(words % {"text": text}, code="unknown_area", fields={"area": words % {"text": text}})
    order = len(areas) + 1
    area = add_area(plant=context.plant, by=context.by, code=text, name=name or text, walking_order=order)
    note_record(context, area)
    return area


NEEDED_OF_NEW = {"area": "area", "belt_width_mm": "belt width", "speed_m_s": "belt speed", "length_m": "length"}


def lacking_of_conveyor(context: ImportContext, values: dict[str, Any], at_fault: set[str]) -> dict[str, str]:
    """What a conveyor that the book does not know lacks; nothing where it knows the tag or the file brought it."""
    key = tag_key(values.get("tag") or "")
    known = context.conveyors()
    if not key or key in known or key in context.coming:
        return {}
    lacking = [name for name in NEEDED_OF_NEW if values.get(name) is None and name not in at_fault]
    if not lacking:
        context.coming.add(key)
        return {}
    near = nearest_tags(key, known)
    remedy = _("Fill it in.")
    if near:
        remedy = _("Fill it in, or correct the tag: the nearest is %(near)s.") % {"near": known[near[0]].tag}
    words = _("There is no conveyor “%(tag)s” yet, and a new one needs its %(label)s.")
    return {name: f"{words % {'tag': values['tag'], 'label': _(NEEDED_OF_NEW[name])}} {remedy}" for name in lacking}


def write_conveyor(context: ImportContext, values: dict[str, Any], key: uuid.UUID) -> str:
    values = dict(values)
    area_name = values.pop("area_name", None)
    if values.get("area") or area_name:
        values["area"] = area_for(context, values.get("area") or area_name, area_name)
    known = Conveyor.objects.by_tag(context.plant, values["tag"]).first()
    if known is not None:
        values.pop("tag")  # another spelling of the same tag is no change
        outcome = write_record(context, known, values, change_conveyor)
    elif Conveyor.objects.filter(client_key=key).exists():
        outcome = UNCHANGED  # it was given another tag since
    else:
        given = {name: value for name, value in values.items() if value is not None}
        context.coming.discard(tag_key(given["tag"]))
        lacking = lacking_of_conveyor(context, given, set())
        if lacking:  # the row that was to bring it was refused itself
            raise Refused(" ".join(lacking.values()), code="lacking", fields=lacking)
        note_record(context, add_conveyor(plant=context.plant, by=context.by, client_key=key, **given))
        outcome = WRITTEN
    if outcome != UNCHANGED:
        context.forget()
    return outcome


register_import_subject(
    ImportSubject(
        name="conveyors",
        label=gettext_lazy("Conveyors"),
        right="plant.add_conveyor",
        order=10,
        key_fields=("tag",),
        write_row=write_conveyor,
        lacks=lacking_of_conveyor,
        help=gettext_lazy(
            "The register of belts. A conveyor that the book knows is changed where the file differs; for "
            "those the tag and the columns to change are enough."
        ),
        columns=(
            Column("tag", "tag", aliases=("conveyor", "belt", "belt tag"), required=True, example="A-1", longest=30),
            Column("name", "name", aliases=("description", "title"), longest=120, example="Crusher feed"),
            Column("area", "area", aliases=("area code", "section"), required=True, example="A", longest=80),
            Column("area_name", "name of the area", aliases=("area title",), longest=80, example="Crushing"),
            quantity(
                "belt_width_mm", "belt width", QuantityKind.LENGTH_MM, "width", "bw", required=True, example="1200"
            ),
            quantity(
                "speed_m_s", "belt speed", QuantityKind.SPEED_M_S, "speed", "velocity", required=True, example="2.5"
            ),
            quantity(
                "length_m",
                "length",
                QuantityKind.DISTANCE_M,
                "centres",
                "centers",
                "length centre to centre",
                required=True,
                example="200",
            ),
            quantity("lift_m", "lift", QuantityKind.DISTANCE_M, "height", allow_negative=True, example="10"),
            quantity("edge_clearance_mm", "edge clearance", QuantityKind.LENGTH_MM, "clearance", example="60"),
            Column("is_reversing", "reversing", ColumnKind.YES_NO, aliases=("reversible",), example="no"),
            Column("duty", "duty", ColumnKind.CHOICE, choices=choices_of(Conveyor.Duty), example="ordinary"),
            Column(
                "criticality",
                "criticality",
                ColumnKind.CHOICE,
                choices=choices_of(Conveyor.Criticality, high=("a", "1"), medium=("b", "2"), low=("c", "3")),
                example="medium",
            ),
            quantity("meter_rolls_over_at_h", "hour meter starts again at", QuantityKind.HOURS, "rollover", example=""),
            Column("energies", "stored energies", example="gravity take-up"),
        ),
    )
)
