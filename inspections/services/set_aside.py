"""Entries that a phone set aside: kept with their text, shown to the planners, settled by people or by arriving."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any, TypeVar

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inspections.models import Action, ActionNote, SetAside, Visit
from installs.models import Installation
from plant.errors import ChangedMeanwhile, Refused
from plant.models import Notice, Person, Photo
from plant.permissions import ENGINEER, PLANNER
from plant.selectors.people import people_in
from plant.services.records import change_record, create_record, known_row

T = TypeVar("T")
MOST_TRIES = 5  # each needs somebody else who writes the same row between two statements
# The rows that an entry of each kind becomes; they carry its key.
KEPT_AS: dict[str, tuple[Any, ...]] = {
    SetAside.Kind.VISIT: (Visit,),
    SetAside.Kind.ACTION: (Action, ActionNote),
    SetAside.Kind.PHOTO: (Photo,),
}


@transaction.atomic
def keep_set_aside(
    *,
    installation: Installation,
    by: Person,
    key: uuid.UUID,
    kind: str,
    made_at: dt.datetime,
    answer: str,
    tries: int,
    n_photos: int,
    content: str,
) -> SetAside:
    """Keep what a phone set aside and tell the planners, in a plant without one the reliability engineers.

    The same key again keeps the newer text and opens the row anew: it was sent once more and failed once more.

    Raises
    ------
    Refused
        If the key is that of another person's entry.
    """
    values: dict[str, Any] = {"answer": answer, "tries": tries, "n_photos": n_photos, "content": content}
    known = known_row(SetAside, key)
    if known is not None and known.created_by_id != by.pk:
        raise Refused(_("Another person's entry has this key. Show this phone to a planner."), code="other_person")
    if known is not None:
        values |= {"settled_at": None, "settled_by": None, "settled_note": ""}
        row = again_where_changed(
            lambda: change_record(
                current := SetAside.objects.get(pk=known.pk),
                by=by,
                version=current.version,
                reason=_("Set aside again."),
                **values,
            )
        )
        settle_if_arrived(row, by=by)
        return row
    row = create_record(
        SetAside,
        by=by,
        client_key=key,
        plant=installation.plant,
        installation=installation,
        kind=kind,
        made_at=made_at,
        **values,
    )
    if not settle_if_arrived(row, by=by):
        tell_planners(row)
    return row


def settle_if_arrived(row: SetAside, *, by: Person) -> bool:
    """Settle at once what is in the book: the site kept it and failed only over its answer."""
    if not any(model.objects.filter(client_key=row.client_key).exists() for model in KEPT_AS[row.kind]):
        return False
    settle_arrived(row.client_key, by=by)
    return True


def tell_planners(row: SetAside) -> None:
    words = _("%(what)s of %(who)s at %(place)s does not get into the book: the site fails on it. Its text is here.")
    text = words % {"what": row.get_kind_display().capitalize(), "who": row.created_by, "place": row.installation}
    for person_id in people_in(row.plant, PLANNER) or people_in(row.plant, ENGINEER):
        Notice.objects.get_or_create(
            person_id=person_id,
            key=f"set-aside-{row.pk}",
            defaults={"plant": row.plant, "text": text[:300], "url": row.get_absolute_url()},
        )


@transaction.atomic
def settle(row: SetAside, *, by: Any, version: int, note: str) -> SetAside:
    """Say what became of it: entered by hand, or not needed.

    Raises
    ------
    ChangedMeanwhile
        If somebody else settled it, or the phone sent it again, since the page was opened.
    Refused
        If nothing is said.
    """
    if not note.strip():
        words = _("Say what became of it, for example: entered by hand.")
        raise Refused(words, code="invalid", fields={"settled_note": words})
    return change_record(
        row, by=by, version=version, settled_note=note.strip(), settled_by=by, settled_at=timezone.now()
    )


@transaction.atomic
def settle_arrived(key: uuid.UUID, *, by: Person) -> None:
    """The entry came into the book after all: nothing of it waits for anybody.

    Whoever settled it at the same moment was first, and nothing is refused: the entry is in the book whatever is said
    of its text.
    """

    def settle_open() -> None:
        row = SetAside.objects.open().filter(client_key=key, created_by=by).first()
        if row is not None:
            settle(row, by=by, version=row.version, note=_("Sent again from the phone; it is in the book."))

    again_where_changed(settle_open)


def again_where_changed(act: Callable[[], T]) -> T:
    """Do it on the row as it stands now, where somebody changed it between reading and writing."""
    for _n in range(MOST_TRIES - 1):
        try:
            return act()
        except ChangedMeanwhile:
            continue
    return act()
