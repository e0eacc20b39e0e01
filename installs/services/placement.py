"""Stations at which people log the wander, and reasons to place a device before a cause is cured."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import CauseOverride, LoggedStation
from installs.services.installations import check_place, refuse, refuse_bound
from installs.words.bounds import BoundRule
from plant.models import Conveyor
from plant.services.records import CONSTRAINT_WORDS, change_record, create_record, known_row
from plant.words.moments import day_words

CONSTRAINT_WORDS.update(
    {
        "logged_station_order": gettext_lazy("The last day comes after the first one."),
        "cause_override_order": gettext_lazy("Give the end nearer to the tail first."),
    }
)


def check_station_days(from_on: dt.date, to_on: dt.date | None) -> None:
    if from_on > timezone.localdate():
        refuse(
            "from_on",
            "future",
            _("%s has not come yet; give the first day on which it was logged.") % day_words(from_on),
        )
    if to_on is not None and to_on < from_on:
        words = _("Logged since %(start)s and until %(end)s, before that. Give a later day, or leave it empty.")
        refuse("to_on", "order", words % {"start": day_words(from_on), "end": day_words(to_on)})


@transaction.atomic
def log_station(
    *,
    conveyor: Conveyor,
    strand: str,
    chainage_m: float,
    from_on: dt.date,
    logged_by: str,
    by: Any,
    to_on: dt.date | None = None,
    note: str = "",
    client_key: uuid.UUID | None = None,
) -> LoggedStation:
    """Write that people log the wander at a place.

    Parameters
    ----------
    chainage_m : float
        From the tail pulley's centre, 0 to the length of the belt [m].
    from_on, to_on : date
        First and last day; no last day while it goes on.
    logged_by : str
        Who logs there: a role or a round, not a person's name.

    Raises
    ------
    Refused
        If the place is off the belt, a day lies ahead or they are in the wrong order, or nobody is named.
    """
    known = known_row(LoggedStation, client_key)
    if known is not None:
        return known
    check_place(conveyor, strand, chainage_m)
    check_station_days(from_on, to_on)
    return create_record(
        LoggedStation,
        by=by,
        client_key=client_key,
        conveyor=conveyor,
        strand=strand,
        chainage_m=chainage_m,
        from_on=from_on,
        to_on=to_on,
        logged_by=logged_by.strip(),
        note=note.strip(),
    )


@transaction.atomic
def change_station(station: LoggedStation, *, by: Any, version: int, **values: Any) -> LoggedStation:
    """Put a logged station right, or write the day on which the logging ended.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record` and `log_station`.
    """
    new = {name: values.get(name, getattr(station, name)) for name in ("strand", "chainage_m", "from_on", "to_on")}
    check_place(station.conveyor, new["strand"], new["chainage_m"])
    check_station_days(new["from_on"], new["to_on"])
    return change_record(station, by=by, version=version, **values)


def check_override(conveyor: Conveyor, strand: str, low_m: float, high_m: float, reason: str) -> None:
    for name, at in (("low_m", low_m), ("high_m", high_m)):
        if not 0 <= at <= conveyor.length_m:
            known: dict[str, float | str] = {"at_m": at, "tag": conveyor.tag, "length_m": conveyor.length_m}
            refuse_bound(name, "off_the_belt", BoundRule.STRETCH_OFF_BELT, **known)
    check_place(conveyor, strand, low_m)
    if high_m < low_m:
        refuse_bound("high_m", "order", BoundRule.STRETCH_ORDER, low_m=low_m, high_m=high_m)
    if not reason.strip():
        refuse("reason", "reason", _("Say why a device may be placed before the cause is cured; it stays visible."))


@transaction.atomic
def override_cause(
    *,
    conveyor: Conveyor,
    strand: str,
    low_m: float,
    high_m: float,
    reason: str,
    by: Any,
    client_key: uuid.UUID | None = None,
) -> CauseOverride:
    """Let a place be ranked as any other although a cause in its reach should be cured first; the reason is shown.

    Parameters
    ----------
    low_m, high_m : float
        Places of a device for which it holds [m].

    Raises
    ------
    Refused
        If the stretch is off the belt or the wrong way round, or no reason is given.
    """
    known = known_row(CauseOverride, client_key)
    if known is not None:
        return known
    check_override(conveyor, strand, low_m, high_m, reason)
    return create_record(
        CauseOverride,
        by=by,
        client_key=client_key,
        conveyor=conveyor,
        strand=strand,
        low_m=low_m,
        high_m=high_m,
        reason=reason.strip(),
    )


@transaction.atomic
def change_override(
    override: CauseOverride,
    *,
    by: Any,
    version: int,
    strand: str,
    low_m: float,
    high_m: float,
    reason: str,
    ended_on: dt.date | None = None,
) -> CauseOverride:
    """Put a reason right, or write the day since which it holds no longer; the history keeps what stood there."""
    check_override(override.conveyor, strand, low_m, high_m, reason)
    return change_record(
        override,
        by=by,
        version=version,
        strand=strand,
        low_m=low_m,
        high_m=high_m,
        ended_on=ended_on,
        fields={"reason": reason.strip()},
    )
