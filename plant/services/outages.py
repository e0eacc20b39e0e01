"""When a belt may be locked out, and what was changed on it."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.calc.moments import CLOCK_TOLERANCE, MomentKind, is_in_calendar
from plant.errors import ChangedMeanwhile
from plant.models import BeltChange, Conveyor, OutageWindow
from plant.services.conveyors import check_place, refuse_field
from plant.services.records import all_but, change_record, check_moment, create_record
from plant.words.moments import moment_words


def in_clock_of(conveyor: Conveyor, moment: dt.datetime) -> str:
    return moment_words(moment, conveyor.plant.zone)


def check_window(
    conveyor: Conveyor, starts_at: dt.datetime, ends_at: dt.datetime, *, but: OutageWindow | None = None
) -> None:
    """A window ends after it starts and lies beside the others of its belt.

    Raises
    ------
    Refused
        If it does not.
    """
    if ends_at <= starts_at:
        words = _("The window ends %(end)s, which is not after its start %(start)s. Give a later end.") % {
            "end": in_clock_of(conveyor, ends_at),
            "start": in_clock_of(conveyor, starts_at),
        }
        refuse_field("ends_at", words, code="ends_before_start")
    shared = conveyor.outage_windows.filter(starts_at__lt=ends_at, ends_at__gt=starts_at)
    other = all_but(shared, but).first()
    if other:
        words = _("%(tag)s has a window from %(start)s to %(end)s already. Change that one instead.") % {
            "tag": conveyor.tag,
            "start": in_clock_of(conveyor, other.starts_at),
            "end": in_clock_of(conveyor, other.ends_at),
        }
        refuse_field("starts_at", words, code="window_overlaps")


@transaction.atomic
def plan_outage(
    *,
    conveyor: Conveyor,
    starts_at: dt.datetime,
    ends_at: dt.datetime,
    by: Any,
    client_key: uuid.UUID | None = None,
    **values: Any,
) -> OutageWindow:
    """Write down when a belt may be locked out. It is a plan, never a permit."""
    known = OutageWindow.objects.filter(client_key=client_key).first() if client_key else None
    if known is not None:
        return known
    check_window(conveyor, starts_at, ends_at)
    return create_record(
        OutageWindow, by=by, client_key=client_key, conveyor=conveyor, starts_at=starts_at, ends_at=ends_at, **values
    )


@transaction.atomic
def change_outage(
    window: OutageWindow, *, by: Any, version: int, reason_of_change: str = "", **values: Any
) -> OutageWindow:
    new = {name: values.get(name, getattr(window, name)) for name in ("conveyor", "starts_at", "ends_at")}
    check_window(**new, but=window)
    # What the window is for is a field of its own, beside the reason of the change.
    return change_record(window, by=by, version=version, reason=reason_of_change, fields=values)


@transaction.atomic
def cancel_outage(window: OutageWindow, *, by: Any, version: int, why: str) -> None:
    """Take a window out of the plan. Its history stays, with who did it and why.

    Raises
    ------
    ChangedMeanwhile
        If somebody else changed it since it was opened.
    Refused
        If no reason is given.
    """
    if not why.strip():
        refuse_field("why", _("Say why the window is taken out: people may count on it."), code="reason")
    current = OutageWindow.objects.select_for_update().get(pk=window.pk)
    if current.version != version:
        words = _("Somebody else changed this window meanwhile. Look at it again before you take it out.")
        raise ChangedMeanwhile(words, current=current)
    current._history_user = by
    current._change_reason = why[:100]
    current.delete()


# --- changes to a belt ------------------------------------------------------------------------------------------------
def check_change(conveyor: Conveyor, changed_at: dt.datetime, chainage_m: float | None) -> None:
    check_place(conveyor, chainage_m)
    now = timezone.now()
    if is_in_calendar(changed_at) and changed_at > now + CLOCK_TOLERANCE:
        words = _("%(when)s lies ahead. Write a change down when it is done; plan an outage window for work to come.")
        refuse_field("changed_at", words % {"when": in_clock_of(conveyor, changed_at)}, code="time_ahead")
    check_moment("changed_at", changed_at, MomentKind.HAPPENED, now)


@transaction.atomic
def record_belt_change(
    *, conveyor: Conveyor, changed_at: dt.datetime, by: Any, client_key: uuid.UUID | None = None, **values: Any
) -> BeltChange:
    """Write down work that changes how a belt tracks by itself.

    Raises
    ------
    Refused
        If it lies ahead, its place is beyond the belt, or a value is not allowed.
    """
    known = BeltChange.objects.filter(client_key=client_key).first() if client_key else None
    if known is not None:
        return known
    check_change(conveyor, changed_at, values.get("chainage_m"))
    return create_record(BeltChange, by=by, client_key=client_key, conveyor=conveyor, changed_at=changed_at, **values)


@transaction.atomic
def change_belt_change(change: BeltChange, *, by: Any, version: int, reason: str = "", **values: Any) -> BeltChange:
    new = {name: values.get(name, getattr(change, name)) for name in ("conveyor", "changed_at", "chainage_m")}
    check_change(**new)
    return change_record(change, by=by, version=version, reason=reason, **values)
