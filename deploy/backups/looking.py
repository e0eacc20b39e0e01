"""Backups that were whole when they were written are looked over again, two a night: a disk forgets without a word."""

from __future__ import annotations

import datetime as dt
import json
import logging
from pathlib import Path

from deploy.backups.archive import NotKept
from deploy.backups.making import Site, look_over, named_faults, site_of_settings
from deploy.backups.outcomes import add_line
from plant.calc.backups import BackupRule, is_due, to_be_looked_over
from plant.selectors.backups import BackupLook, backups_in, last_looks
from plant.words.backups import backup_words

log = logging.getLogger(__name__)

HOUR = 4  # UTC, when the backup of the night is there


def look_again_if_due(now: dt.datetime | None = None) -> list[BackupLook] | None:
    """Look two backups over, once a night or as soon as the site runs; None where it was done."""
    now = now or dt.datetime.now(dt.UTC)
    if not is_due(now, max((each.at for each in last_looks()), default=None), hour=HOUR):
        return None
    return look_again(site_of_settings(), now)


def look_again(site: Site, now: dt.datetime) -> list[BackupLook]:
    """Look over the newest backup and an older one, by the day of the calendar, and keep what was found.

    Each of the others has its turn before one comes again. One that was thinned out meanwhile is passed over.
    """
    at_hand = {each.path: each for each in backups_in(site.folder)}
    looks = []
    for path in to_be_looked_over(list(at_hand), now.date()):
        try:
            with named_faults(site.folder):
                look_over(path, site.folder)
            look = BackupLook(now, path.name)
        except NotKept as fault:
            if fault.reason.rule == BackupRule.NOT_THERE:
                continue
            log.error("a backup was looked over again: %s", backup_words(fault.reason))
            look = BackupLook(now, path.name, fault.reason)
        keep_look(site.looks, look)
        looks.append(look)
    return looks


def keep_look(path: Path, look: BackupLook) -> None:
    fault = look.fault.kept() if look.fault else None
    add_line(path, json.dumps({"at": look.at.isoformat(), "name": look.name, "fault": fault}))
