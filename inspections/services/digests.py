"""The daily mail: what is late, due in the week that begins and to be put right, to each person who wants it.

A row is claimed before the mail is sent and marked after. If the process dies between the two, an hour later another
run claims the row again and sends: in the one bad case, where it died after the mail had left, a person gets the mail
twice. That is chosen over a mail that never comes.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.models import Action, Digest, Task
from inspections.models.tasks import week_end
from plant.models import Membership, Person, Plant
from plant.permissions import ENGINEER, MANAGER, PLANNER
from plant.selectors.health import register_waiting_mails
from plant.services.mails import message_id

log = logging.getLogger(__name__)

MAIL_HOUR = 6  # local time from which the mail may go out
CLAIM_LASTS = timedelta(hours=1)
DAYS_AHEAD = 7
MOST_ROWS = 20  # rows of each list that a mail shows; the rest is counted and linked


@dataclass(frozen=True)
class Due:
    """What a plant's mail says of checks, the same for all its people."""

    late: list[Task]
    n_late: int
    due: list[Task]
    n_due: int
    longest_late: int
    week_ends_on: date


@register_waiting_mails
def digests_waiting(now: datetime) -> int:
    """Of the last day; what did not go on its day is said anew in the next day's mail."""
    return Digest.objects.filter(sent_at__isnull=True, claimed_at__gt=now - timedelta(days=1)).count()


def send_digests(now: datetime | None = None) -> int:
    """Send today's mails that were not sent yet, in every plant where it is past six; returns how many went out."""
    now = now or timezone.now()
    sent = 0
    with get_connection() as connection:
        for plant in Plant.objects.all():
            local = now.astimezone(plant.zone)
            if local.hour >= MAIL_HOUR:
                with timezone.override(plant.zone):
                    sent += send_for_plant(plant, local.date(), now, connection)
    return sent


def send_for_plant(plant: Plant, day: date, now: datetime, connection: Any) -> int:
    managers = {each.pk for each in managers_of(plant)}
    people = [each for each in readers_of(plant, day) if each.pk not in managers]
    if not people:
        return 0
    due = due_in(plant, day)
    actions = list(
        Action.objects.of_plant(plant)
        .open()
        .filter(due_on__lte=day + timedelta(days=DAYS_AHEAD))
        .select_related("installation__conveyor", "installation__device")
        .order_by("due_on", "pk")
    )
    overseers = set(
        Membership.objects.filter(plant=plant, role__name__in=[PLANNER, ENGINEER]).values_list("person_id", flat=True)
    )
    sent = 0
    for person in people:
        theirs = [each for each in actions if each.owner_id == person.pk or person.pk in overseers]
        if (due.n_late or due.n_due or theirs) and claim(person, plant, day, now):
            sent += send_one(person, plant, day, due, theirs, connection)
    return sent


def readers_of(plant: Plant, day: date) -> list[Person]:
    """People of a plant who want a daily mail and did not get that of the day."""
    already = Digest.objects.filter(plant=plant, day=day, sent_at__isnull=False).values("person_id")
    return list(
        Person.objects.filter(memberships__plant=plant, is_active=True, wants_digest=True)
        .exclude(email="")
        .exclude(pk__in=already)
        .order_by("pk")
        .distinct()
    )


def managers_of(plant: Plant) -> list[Person]:
    """Those whose only role in a plant is manager: their mail holds decisions and no checks."""
    others = Membership.objects.filter(plant=plant).exclude(role__name=MANAGER).values("person_id")
    return list(
        Person.objects.filter(memberships__plant=plant, memberships__role__name=MANAGER)
        .exclude(pk__in=others)
        .distinct()
    )


def due_in(plant: Plant, day: date) -> Due:
    late = Task.objects.of_plant(plant).overdue(day).with_place().order_by("closes_on", "pk")
    due = Task.objects.of_plant(plant).due_this_week(day).with_place().order_by("due_on", "pk")
    first = late.first()
    return Due(
        late=list(late[:MOST_ROWS]),
        n_late=late.count(),
        due=list(due[:MOST_ROWS]),
        n_due=due.count(),
        longest_late=first.days_late(day) if first else 0,
        week_ends_on=week_end(day),
    )


def claim(person: Person, plant: Plant, day: date, now: datetime) -> bool:
    """True for the one run that may send this mail: it made the row, or found a claim that was given up."""
    try:
        with transaction.atomic():
            Digest.objects.create(person=person, plant=plant, day=day, claimed_at=now)
        return True
    except IntegrityError:
        given_up = Digest.objects.filter(
            person=person, plant=plant, day=day, sent_at__isnull=True, claimed_at__lt=now - CLAIM_LASTS
        )
        return given_up.update(claimed_at=now) == 1


def send_one(person: Person, plant: Plant, day: date, due: Due, actions: Iterable[Action], connection: Any) -> bool:
    those = list(actions)
    context = {
        "person": person,
        "plant": plant,
        "day": day,
        "due": due,
        "actions": those[:MOST_ROWS],
        "n_actions": len(those),
        "late": [(task, task.days_late(day)) for task in due.late],
        "address": settings.SITE_ADDRESS,
        "words": subject_words(due, len(those)),
    }
    return send_claimed(person, plant, day, "inspections/mail/digest", context, connection)


def send_claimed(
    person: Person, plant: Plant, day: date, template: str, context: dict[str, Any], connection: Any
) -> bool:
    """Send a mail whose claim this run holds, as text and HTML of one template; the subject ends with `words`."""
    mail = EmailMultiAlternatives(
        subject=_("%(plant)s, %(day)s: %(words)s")
        % {"plant": plant, "day": date_format(day, "j M"), "words": context["words"]},
        body=render_to_string(f"{template}.txt", context),
        to=[person.email],
        connection=connection,
        headers={"Message-ID": message_id("daily", plant.pk, person.pk, day.isoformat())},
    )
    mail.attach_alternative(render_to_string(f"{template}.html", context), "text/html")
    try:
        mail.send()
    except Exception:
        # The claim stays; an hour later it is taken up again. One address that fails must not stop the others.
        log.exception("daily mail to person %s could not be sent", person.pk)
        return False
    Digest.objects.filter(person=person, plant=plant, day=day).update(sent_at=timezone.now())
    return True


def subject_words(due: Due, n_actions: int) -> str:
    told = []
    if due.n_late:
        told.append(_("%(n)s late") % {"n": due.n_late})
    if due.n_due:
        told.append(_("%(n)s due by %(day)s") % {"n": due.n_due, "day": date_format(due.week_ends_on, "j M")})
    if n_actions:
        told.append(_("%(n)s to put right") % {"n": n_actions})
    return ", ".join(told)
