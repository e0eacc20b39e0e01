"""Actions: raise one, change its owner or date, say that it is done."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.calc.grading import Grade
from inspections.models import Action, CheckKind, Reading, Task, Visit
from installs.models import Installation
from plant.errors import Refused
from plant.models import Notice, Person, Photo
from plant.services.records import change_record, create_record, known_row


@dataclass(frozen=True)
class NewAction:
    """An action that a person raises together with a visit."""

    title: str
    due_on: date
    owner: Person | None = None


@dataclass(frozen=True)
class Part:
    """One thing that the work needs, and whether it is at hand."""

    name: str
    count: int = 1
    is_at_hand: bool = False


def kinds_in_hand(installation: Installation, visits: Collection[Visit] = ()) -> set[int]:
    """Kinds of check whose finding of act has an action at a device; an action for another check stands for none.

    An action stands for the check that it names; one that was raised with a visit for those that the visit found at
    act, or for all of the visit where it found none. Open ones count, and of these `visits` those that are done too.
    """
    rows = Action.objects.filter(Q(done_at__isnull=True) | Q(visit__in=visits), installation=installation)
    kinds: set[int] = set()
    raised_with: set[int] = set()
    for kind, visit in rows.values_list("check_kind_id", "visit_id"):
        if kind is not None:
            kinds.add(kind)
        elif visit is not None:
            raised_with.add(visit)
    at_act: dict[int, set[int]] = {pk: set() for pk in raised_with}
    read: dict[int, set[int]] = {pk: set() for pk in raised_with}
    readings = Reading.objects.filter(visit__in=raised_with).order_by().distinct()
    for visit_id, task_kind, grade in readings.values_list("visit_id", "task__check_kind_id", "grade"):
        read[visit_id].add(task_kind)
        if grade == Grade.ACT.value:
            at_act[visit_id].add(task_kind)
    # A check may be at act by what its readings say together, without one that is.
    for visit_id, task_kind in Task.objects.filter(visit__in=raised_with, grade=Grade.ACT.value).values_list(
        "visit_id", "check_kind_id"
    ):
        at_act[visit_id].add(task_kind)
    return kinds.union(*(at_act[pk] or read[pk] for pk in raised_with))


@transaction.atomic
def raise_action(
    *,
    installation: Installation,
    by: Person,
    title: str,
    due_on: date,
    owner: Person | None = None,
    parts: Sequence[Part] = (),
    visit: Visit | None = None,
    check_kind: CheckKind | None = None,
    photos: Collection[Photo] = (),
    client_key: uuid.UUID | None = None,
) -> Action:
    """Write down corrective work. The owner is told, unless they raised it themselves.

    Raises
    ------
    Refused
        If a value is missing, a count is below 1, or the owner does not belong to the plant.
    """
    check_parts(parts)
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
        check_kind=check_kind,
        title=title,
        due_on=due_on,
        owner=owner,
        parts=[asdict(part) for part in parts],
    )
    action.photos.add(*photos)
    tell_owner(action, by)
    return action


@transaction.atomic
def change_action(
    action: Action,
    *,
    by: Person,
    version: int,
    title: str,
    due_on: date,
    owner: Person | None,
    check_kind: CheckKind | None = None,
    parts: Sequence[Part] | None = None,
) -> Action:
    """Give an action another owner, date, wording, check or parts. What it was before stays in its history.

    Raises
    ------
    ChangedMeanwhile
        If somebody else changed it since this person opened it.
    Refused
        If it is done already, or a value is not allowed.
    """
    if action.done_at is not None:
        raise Refused(_("This action is done; raise a new one where more is to be done."), code="done")
    check_parts(parts or ())
    check_owner(action.plant, owner)
    owner_before = action.owner_id
    more: dict[str, Any] = {} if parts is None else {"parts": [asdict(part) for part in parts]}
    changed = change_record(
        action, by=by, version=version, title=title, due_on=due_on, owner=owner, check_kind=check_kind, **more
    )
    if changed.owner_id != owner_before:
        tell_owner(changed, by)
    return changed


@transaction.atomic
def finish_action(
    action: Action,
    *,
    by: Person,
    note: str,
    done_at: datetime | None = None,
    visit: Visit | None = None,
    as_left: Sequence[Mapping[str, Any]] = (),
    photos: Collection[Photo] = (),
) -> Action:
    """Say that the work was done, and what was done. Saying it twice changes nothing.

    Who reported the finding learns what became of it, once.

    Parameters
    ----------
    visit : Visit, optional
        The visit that read the device again afterwards.
    as_left : sequence of mapping
        Readings as left that were typed here: label, quantity, value (SI) and the text as typed.

    Raises
    ------
    Refused
        If the note is empty, the time lies ahead, or the visit was made elsewhere.
    """
    if visit is not None and visit.installation_id != action.installation_id:
        raise Refused(_("This visit was made at another device."), code="invalid")
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
    done = change_record(
        current,
        by=by,
        version=current.version,
        done_at=when,
        done_by=by,
        done_note=note.strip(),
        done_visit=visit,
        as_left=[dict(each) for each in as_left],
    )
    done.photos.add(*photos)
    tell_reporter(done, by)
    return done


def check_parts(parts: Sequence[Part]) -> None:
    for part in parts:
        if part.count < 1:
            words = _("%(part)s: %(count)s is needed; give a count from 1.") % {"part": part.name, "count": part.count}
            raise Refused(words, code="invalid")


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


def tell_reporter(action: Action, by: Person) -> None:
    """Who found it learns what became of it; the key says it once however often it is asked for."""
    reporter = action.visit.visited_by if action.visit is not None else None
    if reporter is None or reporter == by:
        return
    text = _("Your finding at %(place)s was dealt with: %(title)s. %(note)s") % {
        "place": action.installation,
        "title": action.title,
        "note": action.done_note,
    }
    Notice.objects.get_or_create(
        person=reporter,
        key=f"action-{action.pk}-done",
        defaults={"plant": action.plant, "text": text[:300], "url": action.get_absolute_url()},
    )
