"""Part changes: which part, on which side, why and when; put right by a row that takes its place."""

from __future__ import annotations

import datetime as dt
import uuid
from functools import partial
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.models import Installation, PartChange
from installs.services.installations import check_moment, refuse
from installs.signals import part_changed
from plant.services.records import correct_entry, create_record, known_row
from plant.words.moments import moment_words


def check_within(installation: Installation, field: str, moment: dt.datetime, now: dt.datetime) -> None:
    """Raises Refused where the device did not stand there at that moment."""
    check_moment(field, moment, now)
    if moment < installation.installed_at:
        words = _("%(when)s lies before the installation on %(start)s. Give a later time.")
        refuse(
            field,
            "before_installation",
            words % {"when": moment_words(moment), "start": moment_words(installation.installed_at)},
        )
    if installation.removed_at is not None and moment > installation.removed_at:
        words = _("%(when)s lies after the removal on %(end)s. Give an earlier time.")
        refuse(
            field, "after_removal", words % {"when": moment_words(moment), "end": moment_words(installation.removed_at)}
        )


@transaction.atomic
def record_part_change(
    *,
    installation: Installation,
    part: str,
    why: str,
    changed_at: dt.datetime,
    by: Any,
    side: str = "",
    note: str = "",
    client_key: uuid.UUID | None = None,
    now: dt.datetime | None = None,
) -> PartChange:
    """Write that a part was changed; apps above hear of it after the commit.

    Parameters
    ----------
    part, why : str
        One of `PartChange.Part` and `PartChange.Why`.
    changed_at : datetime
        With a zone; while the device stood there, not in the future.
    side : str
        Empty for both sides.

    Raises
    ------
    Refused
        If a value is not allowed or the time does not fit, with the field at fault.
    """
    known = known_row(PartChange, client_key)
    if known is not None:
        return known
    check_within(installation, "changed_at", changed_at, now or timezone.now())
    row = create_record(
        PartChange,
        by=by,
        client_key=client_key,
        installation=installation,
        part=part,
        side=side,
        why=why,
        changed_at=changed_at,
        note=note,
    )
    tell(row)
    return row


@transaction.atomic
def correct_part_change(
    change: PartChange,
    *,
    by: Any,
    reason: str,
    client_key: uuid.UUID | None = None,
    withdraw: bool = False,
    now: dt.datetime | None = None,
    **values: Any,
) -> PartChange:
    """Write the row that takes the place of `change`, or withdraw it: part, side, why, changed_at, note.

    Raises
    ------
    Refused
        If no reason is given, it was corrected before, or a value is not allowed.
    """
    known = known_row(PartChange, client_key)
    if known is not None:
        return known
    if not withdraw and "changed_at" in values:
        check_within(change.installation, "changed_at", values["changed_at"], now or timezone.now())
    row = correct_entry(change, by=by, reason=reason, client_key=client_key, withdraw=withdraw, **values)
    tell(row)
    return row


def tell(row: PartChange) -> None:
    send = partial(part_changed.send, sender=PartChange, installation=row.installation, part_change=row)
    transaction.on_commit(send, robust=True)
