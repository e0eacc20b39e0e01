"""Who works when, what each carries, who is away, and the secret address of a person's calendar."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.models import Shift, TechnicianProfile
from inspections.models.rounds import new_calendar_key
from plant.errors import Refused
from plant.models import Area, Membership, Person, Plant
from plant.services.records import change_record, create_record

LONGEST_SHIFT = timedelta(hours=14)


def check_shift(
    plant: Plant,
    person: Person,
    starts_at: datetime,
    ends_at: datetime,
    break_starts_at: datetime | None,
    break_minutes: int,
    but: Shift | None = None,
) -> None:
    """A shift has an order, a sane length, its break inside, and no second one of the same person across it."""
    if not starts_at < ends_at <= starts_at + LONGEST_SHIFT:
        words = _("A shift ends after it begins, 14 hours later at most.")
        raise Refused(words, code="shift_length", fields={"ends_at": words})
    if break_starts_at is not None:
        rest_ends = break_starts_at + timedelta(minutes=break_minutes)
        if not starts_at <= break_starts_at < rest_ends <= ends_at:
            words = _("The break lies inside the shift and has at least a minute.")
            raise Refused(words, code="break", fields={"break_starts_at": words})
    if not Membership.objects.filter(plant=plant, person=person).exists():
        words = _("%(who)s does not belong to this plant.") % {"who": person}
        raise Refused(words, code="stranger", fields={"person": words})
    across = Shift.objects.filter(person=person, starts_at__lt=ends_at, ends_at__gt=starts_at)
    if (across.exclude(pk=but.pk) if but else across).exists():
        words = _("%(who)s has a shift at that time already.") % {"who": person}
        raise Refused(words, code="shift_across", fields={"starts_at": words})


def add_shift(
    *,
    plant: Plant,
    by: Any,
    person: Person,
    starts_at: datetime,
    ends_at: datetime,
    start_area: Area | None = None,
    break_starts_at: datetime | None = None,
    break_minutes: int = 30,
    client_key: uuid.UUID | None = None,
) -> Shift:
    """Write down when a person works.

    Raises
    ------
    Refused
        If the times are not in order, the person is a stranger, or works then already.
    """
    known = Shift.objects.filter(client_key=client_key).first() if client_key else None
    if known is not None:
        return known
    check_shift(plant, person, starts_at, ends_at, break_starts_at, break_minutes)
    return create_record(
        Shift,
        by=by,
        client_key=client_key,
        plant=plant,
        person=person,
        day=starts_at.astimezone(plant.zone).date(),
        starts_at=starts_at,
        ends_at=ends_at,
        start_area=start_area,
        break_starts_at=break_starts_at,
        break_minutes=break_minutes,
    )


def change_shift(shift: Shift, *, by: Any, version: int, **values: Any) -> Shift:
    """Change times, break or start place of a shift."""
    names = ("person", "starts_at", "ends_at", "break_starts_at", "break_minutes")
    after = {name: values.get(name, getattr(shift, name)) for name in names}
    check_shift(shift.plant, **after, but=shift)
    if after["person"].pk != shift.person_id and shift.rounds.exists():
        words = _("This shift has a round already; move its stops to the other person instead.")
        raise Refused(words, code="has_round", fields={"person": words})
    day = after["starts_at"].astimezone(shift.plant.zone).date()
    return change_record(shift, by=by, version=version, **values, day=day)


def mark_away(shift: Shift, *, by: Any, from_at: datetime | None = None, version: int | None = None) -> Shift:
    """Somebody is away for the rest of a shift, from its beginning at the earliest. No reason is kept."""
    away_from = max(from_at or timezone.now(), shift.starts_at)
    if away_from >= shift.ends_at:
        raise Refused(_("That shift is over."), code="over")
    return change_record(shift, by=by, version=version or shift.version, away_from=away_from)


def mark_back(shift: Shift, *, by: Any, version: int | None = None) -> Shift:
    """Somebody is there after all."""
    return change_record(shift, by=by, version=version or shift.version, away_from=None)


@transaction.atomic
def profile_of(plant: Plant, person: Person) -> TechnicianProfile:
    """The skills and tools of a person in a plant; with the usual tools where none were written yet."""
    return TechnicianProfile.objects.get_or_create(plant=plant, person=person)[0]


def set_profile(profile: TechnicianProfile, *, by: Any, version: int, skills: str, tools: str) -> TechnicianProfile:
    """Write what a person can do and carries."""
    return change_record(profile, by=by, version=version, skills=skills, tools=tools)


def renew_calendar_key(profile: TechnicianProfile, *, by: Any) -> TechnicianProfile:
    """Give the calendar a new secret address; the old one leads nowhere from now on."""
    return change_record(profile, by=by, version=profile.version, calendar_key=new_calendar_key())
