"""When checks became late and for how long: the spells, who is told of them, and when planners are told again.

Every function may run twice, or on two workers at once, and leaves the same rows: a late spell is unique by task and
beginning, a notice by person and key.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspections.models import OverdueSpell, Task
from inspections.selectors.wanted_tasks import (
    local_day,
)
from plant.calc.calendar import overdue_from
from plant.models import Notice, Plant
from plant.permissions import PLANNER, TECHNICIAN
from plant.selectors.people import people_in
from plant.words.moments import day_words

# How long after its end a closed task is still looked at for a late spell that no night noted.
HEAL_DAYS = 60

# Checks that become late in one night are told one by one up to this number, and in one sentence beyond.
MOST_SINGLE_NOTICES = 10


def end_spells(tasks: Iterable[Task], *, at: datetime, closes_on: date | None = None) -> None:
    """End the late spells of tasks that were closed or put off. One that no night had noted is written now.

    Parameters
    ----------
    tasks : iterable of Task
    at : datetime
        When they were closed or put off.
    closes_on : date, optional
        The end of the window before it was put off.
    """
    those = list(tasks)
    missing = []
    for task in those:
        began_at = overdue_from(closes_on or task.closes_on, task.plant.zone)
        if began_at < at:
            missing.append(OverdueSpell(task=task, began_at=began_at, noted_at=at, ended_at=at))
    OverdueSpell.objects.filter(task__in=those, ended_at__isnull=True, began_at__lt=at).update(ended_at=at)
    OverdueSpell.objects.bulk_create(missing, ignore_conflicts=True)


def note_overdue(plant: Plant, now: datetime) -> dict[str, int]:
    """Write when open tasks became late, end spells that are over, tell technicians and planners, escalate.

    The beginning is 00:00 plant time of the day after the window closed, however late this runs.
    """
    today = local_day(now, plant)
    late = Task.objects.of_plant(plant).overdue(today)
    unnoted = late.exclude(Exists(OverdueSpell.objects.filter(task=OuterRef("pk"), ended_at__isnull=True)))
    spells = [
        OverdueSpell(task_id=pk, began_at=overdue_from(closes_on, plant.zone), noted_at=now)
        for pk, closes_on in unnoted.values_list("pk", "closes_on")
    ]
    OverdueSpell.objects.bulk_create(spells, ignore_conflicts=True, batch_size=500)
    heal_spells(plant, now, today)
    told = tell_of_late(plant, now, today)
    escalated = escalate_late(plant, now, today)
    return {"late": late.count(), "noted": len(spells), "told": told, "escalated": escalated}


def heal_spells(plant: Plant, now: datetime, today: date) -> None:
    """Put right what a close-out between two nights left: spells without an end, and late closings without a spell."""
    still_open = OverdueSpell.objects.filter(task__plant=plant, ended_at__isnull=True).select_related("task")
    for spell in still_open.filter(Q(task__closed_at__isnull=False) | Q(task__closes_on__gte=today)):
        OverdueSpell.objects.filter(pk=spell.pk, ended_at__isnull=True).update(
            ended_at=max(spell.began_at, spell.task.closed_at or now)
        )
    closed = Task.objects.filter(
        plant=plant, closed_at__gte=now - timedelta(days=HEAL_DAYS), overdue_spells__isnull=True
    ).values_list("pk", "closes_on", "closed_at")
    missed = [
        OverdueSpell(task_id=pk, began_at=overdue_from(closes_on, plant.zone), noted_at=now, ended_at=closed_at)
        for pk, closes_on, closed_at in closed
        if closed_at and closed_at > overdue_from(closes_on, plant.zone)
    ]
    OverdueSpell.objects.bulk_create(missed, ignore_conflicts=True, batch_size=500)


def open_spells(plant: Plant) -> Any:
    return OverdueSpell.objects.filter(
        task__plant=plant, task__closed_at__isnull=True, ended_at__isnull=True
    ).select_related("task__check_kind", "task__installation__conveyor", "task__installation__device")


def tell(
    plant: Plant,
    people: Sequence[int],
    spells: Sequence[OverdueSpell],
    *,
    key: str,
    words: Callable[[Task], str],
    summary: str,
    today: date,
) -> None:
    """A notice for each person and spell, or one for all where they are many; the key tells nobody twice."""
    if len(spells) > MOST_SINGLE_NOTICES:
        # "all" keeps it apart from the key of a single task whose number is the plant's.
        told = [(f"{key}:all:{plant.pk}:{today.isoformat()}", summary, f"{reverse('task-list')}?state=late")]
    else:
        told = [
            (f"{key}:{spell.task_id}:{spell.began_at:%Y-%m-%d}", words(spell.task), spell.task.get_absolute_url())
            for spell in spells
        ]
    Notice.objects.bulk_create(
        [
            Notice(person_id=person, plant=plant, key=each, text=text[:300], url=url)
            for each, text, url in told
            for person in people
        ],
        ignore_conflicts=True,
        batch_size=500,
    )


def tell_of_late(plant: Plant, now: datetime, today: date) -> int:
    fresh = list(open_spells(plant).filter(notified_at__isnull=True))

    def words(task: Task) -> str:
        return _("%(device)s: %(kind)s is late, its window closed %(day)s.") % {
            "device": task.installation,
            "kind": task.check_kind,
            "day": day_words(task.closes_on),
        }

    summary = _("%(n)s more checks are late.") % {"n": len(fresh)}
    people = people_in(plant, TECHNICIAN, PLANNER)
    tell(plant, people, fresh, key="late", words=words, summary=summary, today=today)
    OverdueSpell.objects.filter(pk__in=[spell.pk for spell in fresh], notified_at__isnull=True).update(notified_at=now)
    return len(fresh)


def escalate_late(plant: Plant, now: datetime, today: date) -> int:
    """Tell the planners of tasks that have been late for the plant's number of days."""
    long_since = today - timedelta(days=plant.escalate_after_days)
    fresh = list(open_spells(plant).filter(escalated_at__isnull=True, task__closes_on__lte=long_since))

    def words(task: Task) -> str:
        days = task.days_late(today)
        return ngettext(
            "%(device)s: %(kind)s is %(days)s day late. Plan it, put it off with a reason or withdraw it.",
            "%(device)s: %(kind)s is %(days)s days late. Plan it, put it off with a reason or withdraw it.",
            days,
        ) % {"device": task.installation, "kind": task.check_kind, "days": days}

    summary = _("%(n)s more checks are late by %(days)s days or longer. Plan them, put them off or withdraw them.") % {
        "n": len(fresh),
        "days": plant.escalate_after_days,
    }
    tell(plant, people_in(plant, PLANNER), fresh, key="late-long", words=words, summary=summary, today=today)
    OverdueSpell.objects.filter(pk__in=[spell.pk for spell in fresh], escalated_at__isnull=True).update(
        escalated_at=now
    )
    return len(fresh)
