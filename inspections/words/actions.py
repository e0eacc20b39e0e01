"""Words for actions: what, by when, whose, how late."""

from __future__ import annotations

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.models import Action
from plant.words.quantities import days_late


def action_words(action: Action) -> str:
    """An open action in a line: what, by when, and whose it is."""
    return _("%(title)s, due %(due)s, %(owner)s") % {
        "title": action.title,
        "due": date_format(action.due_on, "j M Y"),
        "owner": action.owner or _("nobody owns this yet"),
    }


def action_late_words(action: Action, today: date) -> str:
    days = (today - action.due_on).days if action.done_at is None else 0
    return str(days_late(days)) if days > 0 else ""
