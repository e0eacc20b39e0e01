"""Incidents: recorded once, corrected or withdrawn by a further row."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.calc.calendar import local_day_bounds
from plant.calc.moments import MomentKind
from plant.calc.reasons import Reason
from plant.errors import Refused
from plant.models import Conveyor, Incident, Photo
from plant.services.records import check_moment, correct_entry, create_record, refused_by
from plant.words.conveyors import TEXTS, PlaceRule
from plant.words.refusals import refused


def kept_moment(conveyor: Conveyor, happened_at: dt.datetime, *, time_is_known: bool) -> dt.datetime:
    """The moment as it is kept: where only the day is known, the first instant of that day by the plant's clock."""
    if time_is_known:
        return happened_at
    zone = conveyor.plant.zone
    return local_day_bounds(happened_at.astimezone(zone).date(), zone)[0]


def check_incident(*, conveyor: Conveyor, happened_at: dt.datetime, now: dt.datetime, **values: Any) -> None:
    """Raises Refused where the time lies ahead or the place lies off the belt."""
    is_day = not values.get("time_is_known", True)
    check_moment("happened_at", happened_at, MomentKind.HAPPENED, now, is_day=is_day)
    chainage_m = values.get("chainage_m")
    if chainage_m is None:
        return
    if not 0 <= chainage_m <= conveyor.length_m:
        known: dict[str, float | str] = {"given_m": chainage_m, "tag": conveyor.tag, "length_m": conveyor.length_m}
        raise refused(
            Reason(PlaceRule.INCIDENT_OFF_BELT, known),
            TEXTS,
            code="refused",
            fields={"chainage_m": Reason(PlaceRule.FROM_ZERO, {"length_m": conveyor.length_m})},
        )
    if not values.get("strand"):
        raise Refused(
            _("A chainage needs its strand. Say carry strand or return strand, or leave the chainage empty."),
            fields={"strand": _("Say which strand.")},
        )


@transaction.atomic
def record_incident(
    *,
    conveyor: Conveyor,
    by: Any,
    happened_at: dt.datetime,
    client_key: uuid.UUID | None = None,
    photos: Sequence[Photo] = (),
    now: dt.datetime | None = None,
    **values: Any,
) -> Incident:
    """Write one episode of mistracking.

    Raises
    ------
    Refused
        If it lies in the future, off the belt, or a value is not allowed.
    """
    happened_at = kept_moment(conveyor, happened_at, time_is_known=values.get("time_is_known", True))
    check_incident(conveyor=conveyor, happened_at=happened_at, now=now or timezone.now(), **values)
    row = create_record(
        Incident,
        by=by,
        client_key=client_key,
        plant=conveyor.plant,
        conveyor=conveyor,
        happened_at=happened_at,
        **values,
    )
    row.photos.add(*photos)
    return row


@transaction.atomic
def record_incidents(rows: Iterable[Mapping[str, Any]], *, by: Any, now: dt.datetime | None = None) -> int:
    """Write many incidents at once; rows whose client key is known are left as they are.

    Parameters
    ----------
    rows : iterable of mappings
        Each as the keywords of `record_incident`; `client_key` is needed, photos cannot be given.

    Returns
    -------
    int
        How many were new.
    """
    now = now or timezone.now()
    fresh = []
    for row in rows:
        check_incident(now=now, **{name: value for name, value in row.items() if name != "client_key"})
        made = Incident(**row, plant=row["conveyor"].plant, created_by=by)
        made.happened_at = kept_moment(made.conveyor, made.happened_at, time_is_known=made.time_is_known)
        try:
            made.clean_fields(exclude=["plant", "conveyor", "created_by", "client_key", "import_batch"])
        except ValidationError as error:
            raise refused_by(error) from error
        fresh.append(made)
    same_keys = (
        Incident.objects.filter(client_key__in=[each.client_key for each in fresh])
        if len(fresh) <= 500
        else Incident.objects.filter(conveyor__in={each.conveyor_id for each in fresh})
    )
    known = set(same_keys.values_list("client_key", flat=True))
    new = [each for each in fresh if each.client_key not in known]
    Incident.objects.bulk_create(new, ignore_conflicts=True, batch_size=500)
    return len(new)


@transaction.atomic
def correct_incident(
    *,
    row: Incident,
    by: Any,
    reason: str,
    client_key: uuid.UUID | None = None,
    photos: Sequence[Photo] = (),
    **values: Any,
) -> Incident:
    """Write the incident as it really was; the old row stays visible. Photos go along."""
    names = ("conveyor", "happened_at", "time_is_known", "chainage_m", "strand")
    merged = {name: values.get(name, getattr(row, name)) for name in names}
    merged["happened_at"] = kept_moment(
        merged["conveyor"], merged["happened_at"], time_is_known=merged["time_is_known"]
    )
    values["happened_at"] = merged["happened_at"]
    check_incident(now=timezone.now(), **merged)
    if "conveyor" in values:
        values["plant"] = values["conveyor"].plant
    fresh = correct_entry(row, by=by, reason=reason, client_key=client_key, **values)
    fresh.photos.add(*row.photos.all(), *photos)
    return fresh


def withdraw_incident(*, row: Incident, by: Any, reason: str, client_key: uuid.UUID | None = None) -> Incident:
    """Say that it was no mistracking after all (a test actuation, a switch out of place). It no longer counts."""
    return correct_entry(row, by=by, reason=reason, client_key=client_key, withdraw=True)
