"""Areas, conveyors and what sits on them."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.chainage import tag_key
from plant.calc.reasons import Reason
from plant.errors import Refused
from plant.models import Area, Conveyor, ConveyorPart, Plant
from plant.services.records import CONSTRAINT_WORDS, all_but, change_record, create_record
from plant.words.conveyors import TEXTS, PlaceRule
from plant.words.moments import day_words
from plant.words.refusals import refused

Kind = ConveyorPart.Kind

# Parts that stand on one strand; a pulley or a switch stands at both.
ON_ONE_STRAND = frozenset({Kind.LOADING_POINT, Kind.SCRAPER, Kind.BELT_SCALE})
# A conveyor has one of each.
ONE_A_CONVEYOR = frozenset({Kind.HEAD_PULLEY, Kind.TAIL_PULLEY})

TAG_KNOWN = gettext_lazy("A conveyor with this tag is in the book already.")
CODE_KNOWN = gettext_lazy("An area with this code is in the book already.")
CONSTRAINT_WORDS.update(
    {
        # PostgreSQL names the constraint, SQLite the columns.
        "conveyor_tag_once": TAG_KNOWN,
        "plant_conveyor.tag_key": TAG_KNOWN,
        "area_code_once": CODE_KNOWN,
        "plant_area.code": CODE_KNOWN,
    }
)


def refuse_field(field: str, words: str, *, code: str) -> None:
    raise Refused(words, code=code, fields={field: words})


def check_place(conveyor: Conveyor, chainage_m: float | None, field: str = "chainage_m") -> None:
    """A place lies between the pulleys.

    Raises
    ------
    Refused
        If it lies before the tail or beyond the head.
    """
    if chainage_m is not None and not 0 <= chainage_m <= conveyor.length_m:
        known: dict[str, float | str] = {"given_m": chainage_m, "tag": conveyor.tag, "length_m": conveyor.length_m}
        raise refused(Reason(PlaceRule.OFF_BELT, known), TEXTS, code="chainage_beyond_belt", fields=[field])


# --- areas ------------------------------------------------------------------------------------------------------------
def check_area(plant: Plant, code: str, *, but: Area | None = None) -> None:
    known = all_but(Area.objects.filter(plant=plant, code__iexact=code.strip()), but).first()
    if known:
        words = _("Code %(code)s belongs to %(name)s already. Give another one.") % {
            "code": known.code,
            "name": known.name,
        }
        refuse_field("code", words, code="area_known")


@transaction.atomic
def add_area(*, plant: Plant, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> Area:
    """Write an area into the book.

    Raises
    ------
    Refused
        If its code is known already or a value is not allowed.
    """
    if client_key is None or not Area.objects.filter(client_key=client_key).exists():
        check_area(plant, values.get("code", ""))
    return create_record(Area, by=by, client_key=client_key, plant=plant, **values)


@transaction.atomic
def change_area(area: Area, *, by: Any, version: int, **values: Any) -> Area:
    if "code" in values:
        check_area(area.plant, values["code"], but=area)
    return change_record(area, by=by, version=version, **values)


# --- conveyors --------------------------------------------------------------------------------------------------------
def check_tag(plant: Plant, tag: str, *, but: Conveyor | None = None) -> str:
    """The key of a tag that is free in this plant.

    Raises
    ------
    Refused
        If it holds neither letter nor digit, or a conveyor has it already in any spelling.
    """
    key = tag_key(tag)
    if not key:
        refuse_field(
            "tag", _("“%(tag)s” is no tag; give letters and digits such as S-12.") % {"tag": tag}, code="tag_empty"
        )
    known = all_but(Conveyor.objects.by_tag(plant, tag), but).first()
    if known:
        words = _(
            "%(tag)s is in the book already as %(known)s (%(name)s). One tag stands for one conveyor, "
            "however it is spelt: open that one or give another tag."
        ) % {"tag": tag, "known": known.tag, "name": known.name or known.area}
        refuse_field("tag", words, code="tag_known")
    return key


def check_area_is_here(plant: Plant, area: Area | None) -> None:
    if area is not None and area.plant_id != plant.pk:
        refuse_field("area", _("This area belongs to another plant. Choose one of %s.") % plant, code="area_elsewhere")


@transaction.atomic
def add_conveyor(*, plant: Plant, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> Conveyor:
    """Write a conveyor into the book.

    Raises
    ------
    Refused
        If its tag is known in any spelling, its area belongs elsewhere, or a value is not allowed.
    """
    known = Conveyor.objects.filter(client_key=client_key).first() if client_key else None
    if known is not None:
        return known
    key = check_tag(plant, values.get("tag", ""))
    check_area_is_here(plant, values.get("area"))
    return create_record(Conveyor, by=by, client_key=client_key, plant=plant, tag_key=key, **values)


@transaction.atomic
def change_conveyor(conveyor: Conveyor, *, by: Any, version: int, reason: str = "", **values: Any) -> Conveyor:
    """Change a conveyor that was opened at `version`.

    Raises
    ------
    ChangedMeanwhile
        If somebody else changed it since.
    Refused
        If the tag is known, or the belt would end before a part that sits on it.
    """
    if "tag" in values:
        values["tag_key"] = check_tag(conveyor.plant, values["tag"], but=conveyor)
    check_area_is_here(conveyor.plant, values.get("area"))
    length_m = values.get("length_m")
    if length_m is not None and length_m < conveyor.length_m:
        beyond = conveyor.parts.filter(removed_on__isnull=True, chainage_m__gt=length_m).order_by("-chainage_m").first()
        if beyond:
            known = {"part": str(beyond).capitalize(), "place_m": beyond.chainage_m, "length_m": length_m}
            raise refused(Reason(PlaceRule.PART_BEYOND, known), TEXTS, code="part_beyond_belt", fields=["length_m"])
    return change_record(conveyor, by=by, version=version, reason=reason, **values)


# --- parts ------------------------------------------------------------------------------------------------------------
def check_part(conveyor: Conveyor, kind: str, strand: str, chainage_m: float | None, *, but: Any = None) -> None:
    check_place(conveyor, chainage_m)
    if kind in ON_ONE_STRAND and not strand:
        words = _("A %(kind)s sits on one strand: say which.") % {"kind": Kind(kind).label}
        refuse_field("strand", words, code="strand_needed")
    if kind in ONE_A_CONVEYOR:
        known = all_but(conveyor.parts.filter(kind=kind, removed_on__isnull=True), but).first()
        if known:
            values = {"tag": conveyor.tag, "kind": str(Kind(kind).label), "place_m": known.chainage_m}
            raise refused(Reason(PlaceRule.PART_KNOWN, values), TEXTS, code="part_known", fields=["kind"])


@transaction.atomic
def add_part(*, conveyor: Conveyor, by: Any, client_key: uuid.UUID | None = None, **values: Any) -> ConveyorPart:
    """Put a pulley, loading point, scraper, switch or the like on a conveyor.

    Raises
    ------
    Refused
        If it lies beyond the belt, its strand is missing, or a second head or tail pulley is given.
    """
    known = ConveyorPart.objects.filter(client_key=client_key).first() if client_key else None
    if known is not None:
        return known
    check_part(conveyor, values.get("kind", ""), values.get("strand", ""), values.get("chainage_m"))
    return create_record(ConveyorPart, by=by, client_key=client_key, conveyor=conveyor, **values)


@transaction.atomic
def change_part(part: ConveyorPart, *, by: Any, version: int, reason: str = "", **values: Any) -> ConveyorPart:
    new = {name: values.get(name, getattr(part, name)) for name in ("kind", "strand", "chainage_m")}
    check_part(part.conveyor, **new, but=part)
    return change_record(part, by=by, version=version, reason=reason, **values)


@transaction.atomic
def remove_part(part: ConveyorPart, *, by: Any, version: int, removed_on: dt.date, reason: str = "") -> ConveyorPart:
    """Take a part off the conveyor. The row stays: what its switch saw stays true.

    Raises
    ------
    Refused
        If it was removed before, or the day lies ahead.
    """
    if part.removed_on is not None:
        raise Refused(_("This part was removed on %s already.") % day_words(part.removed_on), code="removed_before")
    check_not_ahead(part.plant, removed_on)
    return change_record(part, by=by, version=version, reason=reason, removed_on=removed_on)


def check_not_ahead(plant: Plant, day: dt.date) -> None:
    today = dt.datetime.now(plant.zone).date()
    if day > today:
        words = _("%(day)s lies ahead; today is %(today)s. Write it down when it is done.") % {
            "day": day_words(day),
            "today": day_words(today),
        }
        refuse_field("removed_on", words, code="day_ahead")
