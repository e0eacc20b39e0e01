"""Belt offset measured again after the hand-over: tasks of its own after 1, 3 and 6 months, one open at a time.

A follow-up compares with what was measured before: a device without offsets at its survey or acceptance gets none. A
follow-up whose window has passed without a task is left out; the next one is made in its place.
"""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Max, Q

from inspections.models import CheckKind, Task
from installs.models import BeltOffset, Installation
from plant.models import Plant

# Months after the hand-over, and the window around each: common practice, no source.
MONTHS = (1, 3, 6)
OPENS_DAYS_BEFORE, CLOSES_DAYS_AFTER = 5, 10
# A device that stood longer than this has no follow-up left to ask for.
LONGEST_DAYS = 220


@dataclass(frozen=True)
class FollowUp:
    """A follow-up that should be open and is not: so many months after the installation, due on a day."""

    installation: Installation
    kind: CheckKind
    months: int
    due_on: date


def months_after(day: date, months: int) -> date:
    """The same day of a later month, or that month's last day where it has no such day."""
    year, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + year, month + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def next_follow_up(installed_on: date, today: date, last_due_on: date | None) -> tuple[int, date] | None:
    """Months and day of the follow-up that comes next; None where all are done or past."""
    for months in MONTHS:
        due_on = months_after(installed_on, months)
        # The day of the installation may have been put right since: nearer than a window is the same follow-up.
        is_done = last_due_on is not None and due_on <= last_due_on + timedelta(days=CLOSES_DAYS_AFTER)
        if not is_done and due_on + timedelta(days=CLOSES_DAYS_AFTER) >= today:
            return months, due_on
    return None


def follow_ups_wanted(plant: Plant, installations: Sequence[Installation], today: date) -> list[FollowUp]:
    """Follow-ups that should be open and are not."""
    young = {
        each.pk: each
        for each in installations
        if (today - each.installed_at.astimezone(plant.zone).date()).days <= LONGEST_DAYS
    }
    if not young:
        return []
    kind = CheckKind.objects.for_plant(plant).filter(plant=None, rule=CheckKind.Rule.OFFSETS).first()
    if kind is None:
        return []
    before = BeltOffset.objects.current().filter(
        Q(installation__in=young) | Q(survey__fittings__installation__in=young),
        occasion__in=[BeltOffset.Occasion.SURVEY, BeltOffset.Occasion.ACCEPTANCE],
    )
    measured = {pk for pair in before.values_list("installation", "survey__fittings__installation") for pk in pair}
    rows = Task.objects.filter(installation__in=young, check_kind=kind, origin=Task.Origin.FOLLOW_UP)
    is_open = set(rows.open().values_list("installation_id", flat=True))
    # What a rule withdrew (the device was out of service) was not measured: asked for again while its window is open.
    by_rule = Q(outcome=Task.Outcome.WITHDRAWN, closed_by__isnull=True)
    closed = rows.filter(~by_rule, closed_at__isnull=False).order_by().values_list("installation_id")
    last_due = dict(closed.annotate(last=Max("due_on")))
    wanted = []
    for pk, each in young.items():
        if pk in is_open or pk not in measured:
            continue
        following = next_follow_up(each.installed_at.astimezone(plant.zone).date(), today, last_due.get(pk))
        if following is not None:
            wanted.append(FollowUp(each, kind, *following))
    return wanted
