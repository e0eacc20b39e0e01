"""Makes the tables of a new book, or takes an older one to this version: a backup first, then all steps or none."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import connection

from deploy.backups.archive import NotKept
from deploy.backups.making import site_of_settings
from deploy.backups.upgrading import bring_up_to_date
from deploy.system_checks import book_faults
from plant.words.backups import backup_words


class Command(BaseCommand):
    help = "Makes the tables of a new book, or takes an older one to this version: a backup first, then all or nothing."
    requires_system_checks = []

    def handle(self, *args: Any, **given: Any) -> None:
        # Damaged, or of a newer version: said before anything is changed, and before another check falls over it.
        for fault in book_faults(connection):
            self.stderr.write(f"{fault.msg} {fault.hint}")
            raise SystemExit(2)
        self.check(databases=["default"])
        try:
            bring_up_to_date(site_of_settings(), without_backup=settings.UPGRADE_WITHOUT_BACKUP, say=self.say)
        except NotKept as reason:
            self.stderr.write(backup_words(reason.reason))
            raise SystemExit(2) from None

    def say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()
