"""What is kept how long: the one table of it. The book itself is kept for good and stands in no row of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

MOST_DAYS = 36_500
UNFINISHED = ".unfinished-"  # how the name of a file begins until it is whole


class KeptFor(StrEnum):
    """What the night clears away once it is old enough."""

    SESSIONS = "kept_for.sessions"
    TRIES = "kept_for.tries"
    SIGN_INS = "kept_for.sign_ins"
    SENT_FORMS = "kept_for.sent_forms"
    LIFE_SIGNS = "kept_for.life_signs"
    RESULTS = "kept_for.results"
    JOBS = "kept_for.jobs"
    IMPORT_FILES = "kept_for.import_files"
    EXPORTS = "kept_for.exports"
    MAIL_FILES = "kept_for.mail_files"
    HALVES = "kept_for.halves"


@dataclass(frozen=True)
class RetentionRule:
    """How long one kind of thing is kept.

    Attributes
    ----------
    what : KeptFor
    days : int
        Kept for so long after it is over [d]; 0: until it is over.
    setting : str
        Name of the setting that says otherwise; empty where nothing depends on it but the site's own work.
    """

    what: KeptFor
    days: int
    setting: str = ""


RULES = (
    RetentionRule(KeptFor.SESSIONS, 0),
    RetentionRule(KeptFor.TRIES, 1),
    RetentionRule(KeptFor.SIGN_INS, 90, "DRIFTBOOK_KEEP_SIGN_INS_DAYS"),
    RetentionRule(KeptFor.SENT_FORMS, 1),
    RetentionRule(KeptFor.LIFE_SIGNS, 1),
    RetentionRule(KeptFor.RESULTS, 1),
    RetentionRule(KeptFor.JOBS, 90, "DRIFTBOOK_KEEP_JOBS_DAYS"),
    RetentionRule(KeptFor.IMPORT_FILES, 90, "DRIFTBOOK_KEEP_IMPORT_DAYS"),
    RetentionRule(KeptFor.EXPORTS, 7, "DRIFTBOOK_KEEP_EXPORT_DAYS"),
    RetentionRule(KeptFor.MAIL_FILES, 365, "DRIFTBOOK_KEEP_MAIL_FILES_DAYS"),
    RetentionRule(KeptFor.HALVES, 1),
)
