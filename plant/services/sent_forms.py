"""The same form sent twice: by a double click, from two tabs, or typed again because nobody saw that it was taken.

A form brings the key that its page made, and the same key makes one row. What comes with another key, or without one,
is known by its content: a form is noted before it is acted on and named done after, so that the second of two that
come at the same moment finds the first.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from plant.models import SentForm

# How long the same content by the same person is taken for the same event until they say otherwise; own rule.
SAME_FOR = dt.timedelta(minutes=10)
# Boxes that differ though nothing else does.
NO_CONTENT = {"csrfmiddlewaretoken", "client_key", "again", "lockout_at"}


def digest_of(address: str, values: Mapping[str, Iterable[str]], files: Iterable[tuple[str, str, int | None]]) -> str:
    """A checksum of what a form says.

    Parameters
    ----------
    address : str
        Where it was sent.
    values : mapping of str to iterable of str
        By the name of the box.
    files : iterable of (box, name, size)
        Its files.
    """
    said = {name: list(each) for name, each in values.items() if name not in NO_CONTENT}
    text = json.dumps([address, said, sorted(map(list, files))], sort_keys=True)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


@transaction.atomic
def note_sent(*, person: Any, digest: str, client_key: str = "", now: dt.datetime | None = None) -> SentForm:
    """Write that a form came, before it is acted on."""
    return SentForm.objects.create(
        person=person, digest=digest, client_key=client_key[:40], sent_at=now or timezone.now()
    )


@transaction.atomic
def name_done(sent: SentForm, url: str) -> None:
    """Write that something was written of it, and where that stands."""
    sent.url = url[:300]
    sent.save(update_fields=["url"])


@transaction.atomic
def forget_sent(sent: SentForm) -> None:
    """Nothing was written of it."""
    sent.delete()


def same_before(sent: SentForm, *, is_done: bool = True) -> SentForm | None:
    """The same form by the same person a few minutes before; `is_done` leaves out one that is being written still."""
    rows = SentForm.objects.filter(person_id=sent.person_id, digest=sent.digest, sent_at__gt=sent.sent_at - SAME_FOR)
    rows = rows.filter(pk__lt=sent.pk)
    if is_done:
        rows = rows.exclude(url="")
    return rows.order_by("-pk").first()


def clear_sent(before: dt.datetime) -> int:
    """Delete what nobody will send again."""
    return SentForm.objects.filter(sent_at__lt=before).delete()[0]
