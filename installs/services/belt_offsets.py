"""Belt offsets at stations: written once, corrected by a further row, never overwritten."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.models import BeltOffset, Installation, Survey
from installs.services.installations import check_moment, refuse_bound
from installs.words.bounds import BoundRule
from plant.models import Conveyor
from plant.services.records import correct_entry, create_record, known_row

SAME_MM = 1e-9


def offset_key(root: uuid.UUID, chainage_m: float, is_loaded: bool) -> uuid.UUID:
    """The key of the first row at a station, made from the key of the survey or visit that it belongs to."""
    return uuid.uuid5(root, f"offset {chainage_m:g} {'loaded' if is_loaded else 'empty'}")


def latest_of(row: BeltOffset) -> BeltOffset:
    """The row that took the place of this one, as it stands now."""
    while hasattr(row, "corrected_by"):
        row = row.corrected_by
    return row


def check_station(conveyor: Conveyor, chainage_m: float, offset_mm: float) -> None:
    if not 0 <= chainage_m <= conveyor.length_m:
        known: dict[str, float | str] = {"at_m": chainage_m, "tag": conveyor.tag, "length_m": conveyor.length_m}
        refuse_bound("stations", "station", BoundRule.STATION_OFF_BELT, **known)
    if abs(offset_mm) > conveyor.belt_width_mm:
        read = {"given_mm": offset_mm, "at_m": chainage_m, "width_mm": conveyor.belt_width_mm}
        refuse_bound("stations", "offset", BoundRule.OFFSET_BEYOND_BELT, **read)


@transaction.atomic
def set_offset(
    *,
    root: uuid.UUID,
    conveyor: Conveyor,
    strand: str,
    chainage_m: float,
    is_loaded: bool,
    offset_mm: float | None,
    taken_at: dt.datetime,
    occasion: str,
    by: Any,
    reason: str = "",
    survey: Survey | None = None,
    installation: Installation | None = None,
) -> BeltOffset | None:
    """Write the offset at one station, or correct or withdraw what stands there for the same survey or visit.

    Parameters
    ----------
    root : UUID
        Key of the survey or visit; the same root, station and load name the same reading.
    chainage_m : float
        The station [m].
    offset_mm : float or None
        Drive side positive [mm]; None withdraws what stands there.
    reason : str, optional
        Why it is corrected.

    Returns
    -------
    BeltOffset or None
        The row that counts; None where there is none.

    Raises
    ------
    Refused
        If the station is off the belt, the offset is more than the belt is wide, or the time lies in the future.
    """
    key = offset_key(root, chainage_m, is_loaded)
    first = known_row(BeltOffset, key)
    if first is None and offset_mm is None:
        return None
    if offset_mm is not None:
        check_station(conveyor, chainage_m, offset_mm)
    if first is None:
        check_moment("taken_at", taken_at, timezone.now())
        return create_record(
            BeltOffset,
            by=by,
            client_key=key,
            plant=conveyor.plant,
            conveyor=conveyor,
            strand=strand,
            chainage_m=chainage_m,
            offset_mm=offset_mm,
            is_loaded=is_loaded,
            taken_at=taken_at,
            occasion=occasion,
            survey=survey,
            installation=installation,
        )
    row = latest_of(first)
    why = reason.strip() or _("put right")
    if offset_mm is None:
        if not row.is_withdrawn:
            correct_entry(row, by=by, reason=why, withdraw=True)
        return None
    if not row.is_withdrawn and abs(row.offset_mm - offset_mm) <= SAME_MM:
        return row
    return correct_entry(row, by=by, reason=why, offset_mm=offset_mm)
