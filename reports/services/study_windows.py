"""Windows of a comparison that an engineer sets in place of the rule, with the reason."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.models import Installation
from plant.errors import Refused
from plant.services.records import correct_entry, create_record, known_row
from plant.words.moments import day_words
from reports.models import StudyWindow


def check_window(installation: Installation, after_from: dt.date | None, after_until: dt.date | None) -> None:
    """Raises Refused where a date does not go with the installation."""
    zone = installation.plant.zone
    installed_on = timezone.localdate(installation.installed_at, timezone=zone)
    today = timezone.localdate(timezone=zone)
    for name, day in (("after_from", after_from), ("after_until", after_until)):
        if day is None:
            continue
        if day < installed_on:
            words = _("%(day)s lies before the installation on %(installed)s. Give a later day.") % {
                "day": day_words(day),
                "installed": day_words(installed_on),
            }
            raise Refused(words, code="before_installation", fields={name: words})
        if day > today:
            words = _("%(day)s is in the future. Leave it empty to compare until today.") % {"day": day_words(day)}
            raise Refused(words, code="future", fields={name: words})
    if after_from is not None and after_until is not None and after_until <= after_from:
        words = _("The window after would end on %(until)s, not after it starts on %(start)s.") % {
            "until": day_words(after_until),
            "start": day_words(after_from),
        }
        raise Refused(words, code="order", fields={"after_until": words})


@transaction.atomic
def set_window(
    *,
    installation: Installation,
    by: Any,
    reason: str,
    before_months: int = 12,
    after_from: dt.date | None = None,
    after_until: dt.date | None = None,
    client_key: uuid.UUID | None = None,
    set_at: dt.datetime | None = None,
) -> StudyWindow:
    """Set the windows of one comparison, now or as at `set_at`; what was set before stays in the book.

    Raises
    ------
    Refused
        If no reason is given, a date does not go with the installation, or a value is not allowed.
    """
    known = known_row(StudyWindow, client_key)
    if known is not None:
        return known
    if not reason.strip():
        words = _("Say why the rule's windows do not fit here.")
        raise Refused(words, code="reason", fields={"reason": words})
    check_window(installation, after_from, after_until)
    values: dict[str, Any] = {
        "before_months": before_months,
        "after_from": after_from,
        "after_until": after_until,
        "reason": reason.strip(),
        **({} if set_at is None else {"created_at": set_at}),
    }
    earlier = StudyWindow.objects.current().filter(installation=installation).order_by("-created_at").first()
    if earlier is not None:
        values |= {"corrects": earlier, "correction_reason": reason.strip()}
    return create_record(StudyWindow, by=by, client_key=client_key, installation=installation, **values)


@transaction.atomic
def go_back_to_rule(*, window: StudyWindow, by: Any, reason: str, client_key: uuid.UUID | None = None) -> StudyWindow:
    """Take a set window away again; both rows stay in the book."""
    return correct_entry(window, by=by, reason=reason, client_key=client_key, withdraw=True)
