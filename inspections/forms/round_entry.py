"""What a phone sends of one stop, read strictly: each part is what it has to be, or the sentence names the part.

The form of the desktop page reads the fields of an entry afterwards; it is made for texts, so nothing else gets there.
"""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NoReturn

from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _

from inspections.models import SetAside
from inspections.services.visits import PhoneClock
from plant.calc.addresses import moment_in
from plant.errors import Refused

# Text of one entry, as a phone sets it aside; a stop has a hundredth of it.
MOST_TEXT = 200_000
# A stop has a handful of checks and photos; a phone that sends more has lost count.
MOST_OF_A_KIND = 500
MOST_COUNTED = 100_000


@dataclass(frozen=True)
class RoundEntry:
    """One stop, or one action, as a phone kept it."""

    key: uuid.UUID
    kind: str
    person: int
    installation: int
    clock: PhoneClock
    system: str
    photos: tuple[uuid.UUID, ...]
    fields: MultiValueDict[str, Any]
    lockout_at: datetime  # by the phone's clock; as the entry was made where it does not say

    def tasks(self) -> list[int]:
        """Keys of checks; those below 0 are keys of kinds of check with a minus."""
        return [int(each) for each in self.fields.getlist("task") if re.fullmatch(r"-?[0-9]{1,18}", each)]


def read_entry(body: bytes) -> RoundEntry:
    """An entry out of the body of a request.

    Raises
    ------
    Refused
        If it cannot be read, with the part that is at fault.
    """
    entry = read_object(body)
    fields = read_fields(entry.get("fields"))
    clock = PhoneClock(at=read_moment(entry, "made_at"), sent_at=read_moment(entry, "sent_at"))
    photos = entry.get("photos")
    if photos is not None and not isinstance(photos, list):
        raise unreadable("photos")
    if len(photos or ()) > MOST_OF_A_KIND:
        raise unreadable("photos")
    return RoundEntry(
        key=read_key(entry.get("key"), "key"),
        kind=read_text(entry.get("kind") or "visit", "kind"),
        person=read_number(entry, "person"),
        installation=read_number(entry, "installation"),
        clock=clock,
        system=read_text(entry.get("system") or "", "system"),
        photos=tuple(read_key(each, "photos") for each in photos or ()),
        fields=fields,
        lockout_at=moment_in(fields.get("lockout_at")) or clock.at,
    )


@dataclass(frozen=True)
class RoundSetAside:
    """What a phone says of an entry that it set aside; the entry itself is text that nobody reads on the way."""

    key: uuid.UUID
    kind: str
    person: int
    installation: int
    made_at: datetime
    answer: str
    tries: int
    n_photos: int
    content: str


def read_set_aside(body: bytes) -> RoundSetAside:
    """What was set aside, out of the body of a request.

    Raises
    ------
    Refused
        If it cannot be read, with the part that is at fault.
    """
    told = read_object(body)
    kind, content = read_text(told.get("kind"), "kind"), read_text(told.get("content"), "content")
    if kind not in SetAside.Kind.values:
        raise unreadable("kind")
    if len(content) > MOST_TEXT:
        raise unreadable("content")
    return RoundSetAside(
        key=read_key(told.get("key"), "key"),
        kind=kind,
        person=read_number(told, "person"),
        installation=read_number(told, "installation"),
        made_at=read_moment(told, "made_at"),
        answer=read_text(told.get("answer"), "answer")[:40],
        tries=min(read_number(told, "tries"), MOST_COUNTED),
        n_photos=min(read_number(told, "n_photos"), MOST_COUNTED),
        content=content,
    )


def unreadable(part: str) -> Refused:
    words = _("This entry cannot be read (%(part)s). Show it to a planner: its text and photos are on this phone.")
    return Refused(words % {"part": part}, code="unreadable")


def read_object(body: bytes) -> dict[str, Any]:
    try:
        told = json.loads(body, parse_constant=refuse_constant)
    except (ValueError, RecursionError) as error:
        raise unreadable("JSON") from error
    if not isinstance(told, dict):
        raise unreadable("JSON")
    return told


def refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number of JSON")


def read_text(value: Any, part: str) -> str:
    """Text that any data base keeps: no half of a pair of characters, no null."""
    if not isinstance(value, str) or "\x00" in value:
        raise unreadable(part)
    try:
        value.encode()
    except UnicodeEncodeError as error:
        raise unreadable(part) from error
    return value


def read_key(value: Any, part: str) -> uuid.UUID:
    try:
        return uuid.UUID(read_text(value, part))
    except ValueError as error:
        raise unreadable(part) from error


def read_number(entry: Mapping[str, Any], part: str) -> int:
    """The key of a row."""
    value = entry.get(part)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**63:
        raise unreadable(part)
    return value


def read_moment(entry: Mapping[str, Any], part: str) -> datetime:
    moment = moment_in(entry.get(part))
    if moment is None:
        raise unreadable(part)
    return moment


def read_fields(given: Any) -> MultiValueDict[str, Any]:
    """The boxes of the page: texts, or several texts under one name."""
    if not isinstance(given, dict):
        raise unreadable("fields")
    fields: MultiValueDict[str, Any] = MultiValueDict()
    for name, value in given.items():
        values = value if isinstance(value, list) else [value]
        if len(values) > MOST_OF_A_KIND:
            raise unreadable(f"fields, {name[:40]}")
        part = read_text(name[:40], "fields")
        fields.setlist(read_text(name, "fields"), [read_text(each, f"fields, {part}") for each in values])
    return fields
