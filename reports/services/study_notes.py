"""Notes that stay with a comparison: written once, put right or taken back by a further row."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from installs.models import Installation
from plant.errors import Refused
from plant.services.records import correct_entry, create_record, known_row
from reports.models import StudyNote


def checked_text(text: str) -> str:
    """The note without blank ends; raises Refused where nothing is left."""
    if not text.strip():
        words = _("The note is empty. Say what somebody who reads the verdict should know.")
        raise Refused(words, code="empty", fields={"text": words})
    return text.strip()


@transaction.atomic
def write_note(*, installation: Installation, by: Any, text: str, client_key: uuid.UUID | None = None) -> StudyNote:
    """Write a note on the comparison of one installation.

    Raises
    ------
    Refused
        If it is empty or too long.
    """
    return create_record(StudyNote, by=by, client_key=client_key, installation=installation, text=checked_text(text))


@transaction.atomic
def correct_note(*, row: StudyNote, by: Any, text: str, reason: str, client_key: uuid.UUID | None = None) -> StudyNote:
    """Write the note as it should read; the earlier one stays visible.

    Raises
    ------
    Refused
        If it is empty, no reason is given, or somebody put it right before.
    """
    known = known_row(StudyNote, client_key)
    if known is not None:
        return known
    return correct_entry(row, by=by, reason=reason, client_key=client_key, text=checked_text(text))


def withdraw_note(*, row: StudyNote, by: Any, reason: str, client_key: uuid.UUID | None = None) -> StudyNote:
    """Take a note back: it no longer counts and stays readable."""
    return correct_entry(row, by=by, reason=reason, client_key=client_key, withdraw=True)
