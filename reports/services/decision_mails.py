"""The manager's daily mail: what needs a decision, and no list of checks. Once a person, plant and day.

It shares the rows of the other daily mail, so nobody gets both, and a run that died is taken up as there.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.conf import settings
from django.core.mail import get_connection
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspections.services.digests import MAIL_HOUR, claim, managers_of, readers_of, send_claimed
from plant.models import Person, Plant
from reports.models import MonthlyReport
from reports.selectors.months import decisions_today
from reports.selectors.studies import book_of
from reports.words.months import decision_told


def send_decisions(now: dt.datetime | None = None) -> int:
    """Send today's mails to managers that were not sent yet, where it is past six; returns how many went out."""
    now = now or timezone.now()
    sent = 0
    with get_connection() as connection:
        for plant in Plant.objects.all():
            local = now.astimezone(plant.zone)
            if local.hour >= MAIL_HOUR:
                with timezone.override(plant.zone):
                    sent += send_for_plant(plant, local.date(), now, connection)
    return sent


def send_for_plant(plant: Plant, day: dt.date, now: dt.datetime, connection: Any) -> int:
    managers = {each.pk for each in managers_of(plant)}
    people = [each for each in readers_of(plant, day) if each.pk in managers]
    if not people:
        return 0
    decide, n_more = decisions_of(plant, now)
    if not decide:
        return 0
    return sum(
        send_one(person, plant, day, decide, n_more, connection) for person in people if claim(person, plant, day, now)
    )


def decisions_of(plant: Plant, now: dt.datetime) -> tuple[list[dict[str, Any]], int]:
    """What needs a decision, with the month that waits to be published."""
    found, n_more = decisions_today(book_of(plant, now))
    decide = [decision_told(each) for each in found]
    waiting = MonthlyReport.objects.of_plant(plant).drafts().first()
    if waiting is not None:
        words = _("The report of %(month)s waits to be published.") % {"month": date_format(waiting.month, "F Y")}
        url = waiting.get_absolute_url()
        owner, costs = _("reliability engineer or manager"), _("nobody gets it by e-mail")
        decide = [*decide, {"words": words, "owner": owner, "due": "", "waiting": costs, "url": url}]
    return decide, n_more


def send_one(
    person: Person, plant: Plant, day: dt.date, decide: list[dict[str, Any]], n_more: int, connection: Any
) -> bool:
    n = len(decide) + n_more
    words = ngettext("%(n)s thing needs a decision", "%(n)s things need a decision", n) % {"n": n}
    context = {
        "person": person,
        "plant": plant,
        "day": day,
        "words": words,
        "decisions": decide,
        "n_more": n_more,
        "address": settings.SITE_ADDRESS,
        "late_url": f"{settings.SITE_ADDRESS}{reverse('task-list')}?state=late",
    }
    return send_claimed(person, plant, day, "reports/mail/decisions", context, connection)
