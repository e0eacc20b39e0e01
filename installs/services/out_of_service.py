"""Spells out of service: a device stands in its place but does not work, until it is back."""

from __future__ import annotations

import datetime as dt
import uuid
from functools import partial
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Installation, OutOfService
from installs.services.installations import refuse
from installs.services.part_changes import check_within
from installs.signals import service_changed
from plant.errors import Refused
from plant.services.records import CONSTRAINT_WORDS, all_but, change_record, create_record, known_row
from plant.words.moments import moment_words

CONSTRAINT_WORDS.update(
    {
        "out_of_service_one_open": gettext_lazy("It is out of service already. Write first when it came back."),
        "out_of_service_order": gettext_lazy("It must be back after it went out of service."),
    }
)


def check_spell(
    installation: Installation,
    begins_at: dt.datetime,
    ends_at: dt.datetime | None,
    reason: str,
    now: dt.datetime,
    *,
    but: OutOfService | None = None,
) -> None:
    """Raises Refused where a spell has no reason, lies outside the installation's time or overlaps another one."""
    if not reason.strip():
        refuse("reason", "reason", _("Say why it is out of service."))
    check_within(installation, "begins_at", begins_at, now)
    if ends_at is not None:
        check_within(installation, "ends_at", ends_at, now)
        if ends_at <= begins_at:
            words = _("Back %(end)s is not after out of service %(start)s. Check both times.")
            refuse("ends_at", "order", words % {"end": moment_words(ends_at), "start": moment_words(begins_at)})
    elif installation.removed_at is not None:
        words = _("It was removed %(when)s. Give a time before that at which it was back.")
        raise Refused(words % {"when": moment_words(installation.removed_at)}, code="removed")
    rows = all_but(OutOfService.objects.filter(installation=installation), but)
    if ends_at is not None:
        rows = rows.filter(begins_at__lt=ends_at)
    other = rows.filter(Q(ends_at__isnull=True) | Q(ends_at__gt=begins_at)).first()
    if other is not None:
        if other.ends_at is None:
            words = _("It is out of service since %(start)s already (%(reason)s). Write first when it came back.")
        else:
            words = _("It was out of service from %(start)s to %(end)s (%(reason)s). The two overlap.")
        known = {
            "start": moment_words(other.begins_at),
            "end": moment_words(other.ends_at) if other.ends_at else "",
            "reason": other.reason,
        }
        refuse("begins_at", "overlap", words % known)


@transaction.atomic
def take_out_of_service(
    *,
    installation: Installation,
    begins_at: dt.datetime,
    reason: str,
    by: Any,
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> OutOfService:
    """Write that a device stands but does not work. Apps above hear of it after the commit: its checks rest.

    Raises
    ------
    Refused
        If no reason is given, the time does not fit, or it is out of service already.
    """
    known = known_row(OutOfService, client_key)
    if known is not None:
        return known
    check_spell(installation, begins_at, None, reason, now or timezone.now())
    row = create_record(
        OutOfService,
        by=by,
        client_key=client_key,
        installation=installation,
        begins_at=begins_at,
        reason=reason.strip(),
    )
    tell(row)
    return row


@transaction.atomic
def back_in_service(
    spell: OutOfService, *, by: Any, version: int, ends_at: dt.datetime, now: dt.datetime | None = None
) -> OutOfService:
    """Write when a device worked again; its checks are asked for from then on.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; if it is back already or the time does not fit.
    """
    if spell.ends_at is not None:
        raise Refused(_("It is back since %(when)s already.") % {"when": moment_words(spell.ends_at)}, code="back")
    check_spell(spell.installation, spell.begins_at, ends_at, spell.reason, now or timezone.now(), but=spell)
    row = change_record(spell, by=by, version=version, ends_at=ends_at)
    tell(row)
    return row


@transaction.atomic
def change_out_of_service(
    spell: OutOfService,
    *,
    by: Any,
    version: int,
    begins_at: dt.datetime,
    ends_at: dt.datetime | None,
    reason: str,
    now: dt.datetime | None = None,
) -> OutOfService:
    """Put right when a spell began or ended, or why; the history keeps what stood there."""
    check_spell(spell.installation, begins_at, ends_at, reason, now or timezone.now(), but=spell)
    row = change_record(
        spell, by=by, version=version, begins_at=begins_at, ends_at=ends_at, fields={"reason": reason.strip()}
    )
    tell(row)
    return row


def tell(row: OutOfService) -> None:
    send = partial(service_changed.send, sender=OutOfService, installation=row.installation)
    transaction.on_commit(send, robust=True)
