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


def open_words(n: int, late: int) -> str:
    """31 actions are open, 1 of them late."""
    if not n:
        return _("No action is open.")
    if n == 1:
        return _("1 action is open, and it is late.") if late else _("1 action is open, and it is not late.")
    words = _("%(n)s actions are open") % {"n": n}
    if not late:
        return _("%(words)s, none of them late.") % {"words": words}
    return _("%(words)s, %(late)s of them late.") % {"words": words, "late": late}
