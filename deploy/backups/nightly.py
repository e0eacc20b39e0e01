"""The backup of the night, asked for every hour: made once, and tried again while it cannot be had."""

from __future__ import annotations

import datetime as dt
import logging
from pathlib import Path

from django.conf import settings

from deploy.backups.archive import NotKept
from deploy.backups.making import back_up, site_of_settings
from plant.calc.backups import BackupOccasion, BackupRule, is_due
from plant.selectors.backups import BackupOutcome, last_backups
from plant.words.backups import backup_words

log = logging.getLogger(__name__)

HOUR = 2


def back_up_if_due(now: dt.datetime | None = None) -> BackupOutcome | None:
    """Make it where none was good since two in the morning (UTC); None where none was made."""
    now = now or dt.datetime.now(dt.UTC)
    if not settings.BACKUP_NIGHTLY:
        return None
    there = (each.at for each in last_backups().outcomes if each.is_good and Path(each.path).exists())
    if not is_due(now, max(there, default=None), hour=HOUR):
        return None
    try:
        return back_up(site_of_settings(), occasion=BackupOccasion.NIGHT, now=now)
    except NotKept as fault:
        if fault.reason.rule != BackupRule.NO_BOOK:
            log.error("no backup was made: %s", backup_words(fault.reason))
        return None
