"""Actions: raise one, change its owner or date, say that it is done."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.models import Action, Visit
from installs.models import Installation
from plant.errors import Refused
from plant.models import Notice, Person
from plant.services.records import change_record, create_record, known_row


@dataclass(frozen=True)
class NewAction:
    """An action that a person raises together with a visit."""

    title: str
    due_on: date
    owner: Person | None = None


@transaction.atomic
def raise_action(
    *,
    installation: Installation,
    by: Person,
    title: str,
    due_on: date,
    owner: Person | None = None,
    visit: Visit | None = None,
    client_key: uuid.UUID | None = None,
) -> Action:
    """Write down corrective work. The owner is told, unless they raised it themselves.

    Raises
    ------
    Refused
        If a value is missing, or the owner does not belong to the plant.
    """
    check_owner(installation.plant, owner)
    if visit is not None and visit.installation_id != installation.pk:
        raise Refused(_("This visit was made at another device."), code="invalid")
    known = known_row(Action, client_key)
    if known is not None:
        return known
    action = create_record(
        Action,
        by=by,
        client_key=client_key,
        plant=installation.plant,
        installation=installation,
        visit=visit,
        title=title,
        due_on=due_on,
        owner=owner,
    )
    tell_owner(action, by)
    return action


@transaction.atomic
def change_action(
    action: Action, *, by: Person, version: int, title: str, due_on: date, owner: Person | None
) -> Action:
    """Give an action another owner, date or wording. What it was before stays in its history.

    Raises
    ------
    ChangedMeanwhile
        If somebody else changed it since this person opened it.
    Refused
        If it is done already, or a value is not allowed.
    """
    if action.done_at is not None:
        raise Refused(_("This action is done; raise a new one where more is to be done."), code="done")
    check_owner(action.plant, owner)
    owner_before = action.owner_id
    changed = change_record(action, by=by, version=version, title=title, due_on=due_on, owner=owner)
    if changed.owner_id != owner_before:
        tell_owner(changed, by)
    return changed


@transaction.atomic
def finish_action(action: Action, *, by: Person, note: str, done_at: datetime | None = None) -> Action:
    """Say that the work was done, and what was done. Saying it twice changes nothing.

    Raises
    ------
    Refused
        If the note is empty or the time lies ahead.
    """
    if not note.strip():
        raise Refused(_("Say what was done."), code="invalid", fields={"done_note": _("Say what was done.")})
    when = done_at or timezone.now()
    if when > timezone.now() + timedelta(minutes=5):
        raise Refused(
            _("This time lies ahead; give when it was done."),
            code="invalid",
            fields={"done_at": _("This time lies ahead; give when it was done.")},
        )
    current = Action.objects.get(pk=action.pk)
    if current.done_at is not None:
        return current
    return change_record(current, by=by, version=current.version, done_at=when, done_by=by, done_note=note.strip())


def check_owner(plant: Any, owner: Person | None) -> None:
    if owner is not None and not owner.memberships.filter(plant=plant).exists():
        words = _("%(owner)s does not belong to %(plant)s; choose somebody who does.") % {
            "owner": owner,
            "plant": plant,
        }
        raise Refused(words, code="invalid", fields={"owner": words})


def tell_owner(action: Action, by: Person) -> None:
    if action.owner_id is None or action.owner_id == by.pk:
        return
    text = _("%(by)s gave you an action at %(place)s: %(title)s") % {
        "by": by,
        "place": action.installation,
        "title": action.title,
    }
    Notice.objects.get_or_create(
        person_id=action.owner_id,
        key=f"action-{action.pk}-owner-{action.version}",
        defaults={"plant": action.plant, "text": text[:300], "url": action.get_absolute_url()},
    )
