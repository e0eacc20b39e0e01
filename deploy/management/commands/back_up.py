"""Makes a backup of the site and looks it over."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from deploy.backups.archive import NotKept
from deploy.backups.making import back_up, site_of_settings
from plant.calc.backups import BackupOccasion
from plant.selectors.backups import BackupOutcome
from plant.words.backups import backup_words


class Command(BaseCommand):
    help = "Makes a backup of the site, while people work or not, and looks it over."
    # A site that has another fault gets its backup too.
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--into", type=Path, help="another folder than the site's; nothing is thinned out there")

    def handle(self, *args: Any, **given: Any) -> None:
        try:
            outcome = back_up(
                site_of_settings(), occasion=BackupOccasion.BY_HAND, into=given["into"], say=self.stdout.write
            )
        except NotKept as fault:
            self.stderr.write(backup_words(fault.reason))
            raise SystemExit(2) from None
        for line in outcome_lines(outcome):
            self.stdout.write(line)


def outcome_lines(outcome: BackupOutcome) -> list[str]:
    """What was made, and what went."""
    lines = [
        f"{outcome.path}: {outcome.n_rows:,} rows and {outcome.n_files:,} files in {outcome.n_bytes / 1e6:.1f} MB.",
        "It was opened anew and is whole.",
    ]
    if outcome.missing:
        lines.append(f"Files that the book names and that were not there: {outcome.missing}; its manifest lists them.")
    if outcome.thinned:
        lines.append(f"Thinned out by the rule: {', '.join(outcome.thinned)}.")
    return lines
