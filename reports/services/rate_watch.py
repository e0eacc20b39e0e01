"""The rate watch asks for a check where a device begins to fade, once for each alarm."""

from __future__ import annotations

import datetime as dt
import uuid

from django.utils import timezone

from inspections.models import CheckKind, Task
from inspections.services.tasks import ask_for_task
from plant.errors import Refused
from plant.models import Plant
from reports.selectors.rate_watch import fading_in
from reports.selectors.studies import book_of
from reports.words.rate_watch import why_checked

SPACE = uuid.UUID("0f3b7b55-5c0b-4d8f-8d47-6d0f5a1c9e21")
CHECK = "pivot-freedom"  # a pivot that seizes is the first thing to rule out
DUE_DAYS = 7


def watch_plant(*, plant: Plant, now: dt.datetime | None = None) -> list[Task]:
    """Ask for a check on each device that fades and has none asked for yet; the tasks that were made."""
    now = now or timezone.now()
    kind = CheckKind.objects.filter(plant=None, code=CHECK).first()
    if kind is None:
        return []
    made = []
    for each in fading_in(book_of(plant, now)):
        for installation in each.study.members:
            key = uuid.uuid5(SPACE, f"{installation.pk}|{each.alarm_at:%Y-%m-%d}")
            if Task.objects.filter(client_key=key).exists():
                continue
            due_on = timezone.localdate(now, timezone=plant.zone) + dt.timedelta(days=DUE_DAYS)
            try:
                made.append(
                    ask_for_task(
                        installation=installation,
                        check_kind=kind,
                        by=None,
                        due_on=due_on,
                        why=why_checked(each),
                        origin=Task.Origin.RATE_WATCH,
                        client_key=key,
                    )
                )
            except Refused:
                # Its check for an earlier alarm is open still, or the device has left its place.
                continue
    return made


def watch_plants() -> None:
    """Every plant, as the timetable asks each night."""
    for plant in Plant.objects.all():
        watch_plant(plant=plant)
