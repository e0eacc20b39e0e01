"""What the parts of the site write of themselves: that they are alive, and how what they did ended."""

from __future__ import annotations

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from plant.models import LifeSign, Tally


def sign_of_life(part: LifeSign.Part, name: str) -> None:
    """Write that a process is alive now."""
    now = timezone.now()
    if not LifeSign.objects.filter(part=part, name=name).update(at=now):
        LifeSign.objects.update_or_create(part=part, name=name, defaults={"at": now})


def sign_off(part: LifeSign.Part, name: str) -> None:
    """A process that ends in good order is missed by nobody."""
    LifeSign.objects.filter(part=part, name=name).delete()


def tally(what: Tally.What, outcome: str, *, kind: str = "", words: str = "", n: int = 1) -> None:
    """Count what ended in a way."""
    now, words = timezone.now(), words[:300]
    rows = Tally.objects.filter(what=what, kind=kind, outcome=outcome)
    if rows.update(n=F("n") + n, last_at=now, last_words=words):
        return
    try:
        with transaction.atomic():
            Tally.objects.create(what=what, kind=kind, outcome=outcome, n=n, last_at=now, last_words=words)
    except IntegrityError:  # the first two at once
        rows.update(n=F("n") + n, last_at=now, last_words=words)
