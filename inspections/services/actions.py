"""Actions: raise one, change its owner or date, say that it is done."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.models import Action, ActionNote, CheckKind, Visit
from inspections.selectors.actions import alike_open
from installs.models import Installation
from plant.calc.moments import MomentKind
from plant.errors import Refused
from plant.models import Notice, Person, Photo
from plant.permissions import PLANNER
from plant.selectors.people import people_in
from plant.services.records import change_record, check_moment, create_record, known_row


@dataclass(frozen=True)
class NewAction:
    """An action that a person raises.

    Where one is open for the same finding, the person says whether to add to that one (`add_to`), or that another is
    wanted all the same. A title that the page suggested and nobody touched (`is_suggested`) goes with the finding that
    called for it.
    """

    title: str
    due_on: date
    owner: Person | None = None
    add_to: Action | None = None
    is_another: bool = False
    is_suggested: bool = False


@dataclass(frozen=True)
class NeededPart:
    """One thing that the work needs, and whether it is at hand."""

    name: str
    count: int = 1
    is_at_hand: bool = False


def choice_faults(new: NewAction, alike: Sequence[Action]) -> dict[str, str]:
    """What is said where an action is raised beside one that is open for the same finding."""
    if not alike or new.add_to is not None or new.is_another:
        return {}
    words = _("An action for this is open here already: %(title)s, due %(due)s. Add to it, or raise another knowingly.")
    first = alike[0]
    return {"action_choice": words % {"title": first.title, "due": date_format(first.due_on, "j M Y")}}


@transaction.atomic
def raise_or_add(
    new: NewAction,
    *,
    installation: Installation,
    by: Person,
    kinds: Collection[int] = (),
    visit: Visit | None = None,
    check_kind: CheckKind | None = None,
    parts: Sequence[NeededPart] = (),
    photos: Collection[Photo] = (),
    client_key: uuid.UUID | None = None,
    may_ask: bool = True,
) -> Action:
    """Raise an action, or add to the one that is open for the same finding, as the person chose.

    Parameters
    ----------
    kinds : collection of int
        Kinds of check whose findings it answers.
    may_ask : bool
        Whether the person is there to choose. What a phone kept without knowing of the open one is raised beside it,
        named on both, and the planners are told.

    Raises
    ------
    Refused
        If one is open and nobody chose, or as `raise_action`.
    """
    known = known_row(Action, client_key)
    if known is not None:
        return known
    added = known_row(ActionNote, client_key)
    if added is not None:  # sent again, perhaps after the action was done and could be chosen no more
        return added.action
    if new.add_to is not None:
        return add_to_action(
            new.add_to, installation=installation, by=by, text=new.title, visit=visit, photos=photos,
            client_key=client_key,
        )  # fmt: skip
    alike = alike_open(installation, kinds, new.title)
    faults = choice_faults(new, alike)
    if faults and may_ask:
        raise Refused(" ".join(faults.values()), code="open_already", fields=faults)
    action = raise_action(
        installation=installation,
        by=by,
        title=new.title,
        due_on=new.due_on,
        owner=new.owner,
        visit=visit,
        check_kind=check_kind,
        parts=parts,
        photos=photos,
        beside=alike[0] if alike else None,
        client_key=client_key,
    )
    if faults:
        tell_of_two(action, alike[0], by)
    return action


@transaction.atomic
def add_to_action(
    action: Action,
    *,
    installation: Installation,
    by: Person,
    text: str,
    visit: Visit | None = None,
    photos: Collection[Photo] = (),
    client_key: uuid.UUID | None = None,
) -> Action:
    """Write down on an open action what was found again; its owner is told, or the planners where nobody owns it.

    Raises
    ------
    Refused
        If the action is done already or is one of another device.
    """
    if known_row(ActionNote, client_key) is not None:
        return action
    current = Action.objects.select_related("plant", "installation").get(pk=action.pk)
    if current.installation_id != installation.pk:
        raise Refused(_("That action is one of another device."), code="invalid")
    if current.done_at is not None:
        words = _("That action is done meanwhile; raise a new one.")
        raise Refused(words, code="done", fields={"action_choice": words})
    note = create_record(ActionNote, by=by, client_key=client_key, action=current, visit=visit, text=text.strip()[:400])
    note.photos.add(*photos)
    words = _("%(by)s added to the action “%(title)s” at %(place)s: %(text)s") % {
        "by": by,
        "title": current.title,
        "place": current.installation,
        "text": note.text,
    }
    people = [current.owner_id] if current.owner_id is not None else people_in(current.plant, PLANNER)
    tell(current, people, by, key=f"action-{current.pk}-note-{note.pk}", words=words)
    return current


@transaction.atomic
def raise_action(
    *,
    installation: Installation,
    by: Person,
    title: str,
    due_on: date,
    owner: Person | None = None,
    parts: Sequence[NeededPart] = (),
    visit: Visit | None = None,
    check_kind: CheckKind | None = None,
    photos: Collection[Photo] = (),
    beside: Action | None = None,
    client_key: uuid.UUID | None = None,
) -> Action:
    """Write down corrective work. The owner is told, unless they raised it themselves; where nobody is named, planners.

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
        beside=beside,
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
    parts: Sequence[NeededPart] | None = None,
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
        If the note is empty, the time lies ahead or before the finding, or the visit was made elsewhere.
    """
    if visit is not None and visit.installation_id != action.installation_id:
        raise Refused(_("This visit was made at another device."), code="invalid")
    if not note.strip():
        raise Refused(_("Say what was done."), code="invalid", fields={"done_note": _("Say what was done.")})
    when = done_at or timezone.now()
    check_moment("done_at", when, MomentKind.HAPPENED, timezone.now())
    current = Action.objects.get(pk=action.pk)
    if current.done_at is not None:
        return current
    # A box for a moment holds no seconds.
    if current.visit is not None and when < current.visit.visited_at.replace(second=0, microsecond=0):
        found = date_format(timezone.localtime(current.visit.visited_at), "DATETIME_FORMAT")
        words = _("It was found on %(found)s; the work came after that. Give the time when it was done.")
        words = words % {"found": found}
        raise Refused(words, code="invalid", fields={"done_at": words})
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


def check_parts(parts: Sequence[NeededPart]) -> None:
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


@transaction.atomic
def give_action(action: Action, *, by: Person, version: int, owner: Person | None) -> Action:
    """Give an action to somebody, who is told; nothing else of it changes.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_action`.
    """
    return change_action(
        action,
        by=by,
        version=version,
        title=action.title,
        due_on=action.due_on,
        owner=owner,
        check_kind=action.check_kind,
    )


def tell_owner(action: Action, by: Person) -> None:
    """The owner learns that it is theirs; the planners, that nobody owns it yet."""
    values = {"by": by, "place": action.installation, "title": action.title}
    if action.owner_id is None:
        words = _("Nobody owns this yet, give it to somebody: %(title)s at %(place)s, raised by %(by)s.") % values
        tell(
            action,
            people_in(action.plant, PLANNER),
            by,
            key=f"action-{action.pk}-unowned-{action.version}",
            words=words,
        )
        return
    words = _("%(by)s gave you an action at %(place)s: %(title)s") % values
    tell(action, [action.owner_id], by, key=f"action-{action.pk}-owner-{action.version}", words=words)


def tell_of_two(action: Action, beside: Action, by: Person) -> None:
    words = _("Two actions for one finding at %(place)s: “%(title)s”, and “%(other)s”, which was open. Keep one.") % {
        "place": action.installation,
        "title": action.title,
        "other": beside.title,
    }
    tell(action, people_in(action.plant, PLANNER), None, key=f"action-{action.pk}-beside-{beside.pk}", words=words)


def tell(action: Action, people: Iterable[int], by: Person | None, *, key: str, words: str) -> None:
    """A notice for each person but the one who did it; the key tells nobody twice."""
    for person_id in people:
        if by is None or person_id != by.pk:
            Notice.objects.get_or_create(
                person_id=person_id,
                key=key,
                defaults={"plant": action.plant, "text": words[:300], "url": action.get_absolute_url()},
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
