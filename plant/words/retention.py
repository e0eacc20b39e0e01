"""What is kept how long, in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from plant.calc.retention import RULES, KeptFor
from plant.selectors.retention import Cleared

NAMES: dict[KeptFor, Any] = {
    KeptFor.SESSIONS: _("Sign-ins in browsers"),
    KeptFor.TRIES: _("Wrong tries to sign in"),
    KeptFor.SIGN_INS: _("Who signed in when, from where"),
    KeptFor.SENT_FORMS: _("Marks by which a form that is sent twice is known"),
    KeptFor.LIFE_SIGNS: _("Life signs of workers that ended"),
    KeptFor.RESULTS: _("Results that one person asked for, and the jobs that made results"),
    KeptFor.JOBS: _("Jobs that are over; the last one of each kind stays"),
    KeptFor.IMPORT_FILES: _("Files that were sent to the import desk; their rows stay"),
    KeptFor.EXPORTS: _("Files with everything of a plant, made for whoever asked"),
    KeptFor.MAIL_FILES: _("Mails that are written as files"),
    KeptFor.HALVES: _("Halves of files that a power cut left"),
}


@dataclass(frozen=True)
class RuleShown:
    """A row of the keeper's table."""

    what: str
    kept_for: str
    setting: str
    gone: str


def rules_shown(cleared: Cleared) -> list[RuleShown]:
    """The table of rules as the keeper reads it, with what went when it was cleared last."""
    return [
        RuleShown(
            what=str(NAMES[each.what]),
            kept_for=days_words(settings.KEEP_DAYS[each.what]),
            setting=each.setting,
            gone=_now("could not be cleared") if each.what in cleared.failed else str(cleared.gone.get(each.what, "–")),
        )
        for each in RULES
    ]


def days_words(days: int) -> str:
    return ngettext("%(n)s day", "%(n)s days", days) % {"n": days} if days else _now("until they end")
