"""Puts a backup of the site back, checks one, or lists those at hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from deploy.backups.archive import NotKept
from deploy.backups.making import look_over, named_faults, site_of_settings
from deploy.backups.restoring import Restored, restore
from plant.selectors.backups import backups_in
from plant.words.backups import backup_words


class Command(BaseCommand):
    help = "Puts a backup of the site back; without a file it lists the backups at hand."
    # There may be no book yet, or a damaged one.
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", nargs="?", type=Path, help="the backup")
        parser.add_argument("--check", action="store_true", help="only look it over")
        parser.add_argument("--set-aside", action="store_true", help="move a book that is there aside")

    def handle(self, *args: Any, **given: Any) -> None:
        site, path = site_of_settings(), given["file"]
        try:
            if path is None:
                self.list_those_at_hand(site.folder, site.data)
            elif given["check"]:
                with named_faults(site.data):
                    manifest = look_over(path, site.data)
                n_rows = sum(manifest.rows.values())
                self.stdout.write(f"{path} is whole: {n_rows:,} rows and {manifest.n_files:,} files.")
                self.stdout.write(f"It was made on {words_of(manifest.made_at)} by version {manifest.version}.")
            else:
                done = restore(site, path, may_set_aside=given["set_aside"], say=self.stdout.write)
                for line in restored_lines(done, site.data):
                    self.stdout.write(line)
        except NotKept as fault:
            self.stderr.write(backup_words(fault.reason))
            raise SystemExit(2) from None

    def list_those_at_hand(self, folder: Path, data: Path) -> None:
        at_hand = backups_in(folder)
        if not at_hand:
            self.stdout.write(f"There is no backup in {folder}. Name the file of one: deploy/restore FILE")
            return
        for each in at_hand:
            self.stdout.write(f"{each.made_at:%Y-%m-%d %H:%M} UTC  {each.n_bytes / 1e6:8.1f} MB  {each.path}")
        self.stdout.write(f"To put one back, stop the site and type: deploy/restore FILE --data {data} --set-aside")


def words_of(made_at: str) -> str:
    return f"{made_at[:10]} at {made_at[11:16]} UTC"


def restored_lines(done: Restored, data: Path) -> list[str]:
    """What is there now, and what people have to know."""
    manifest = done.manifest
    lines = [
        f"The book of {words_of(manifest.made_at)} is back in {data}: {sum(manifest.rows.values()):,} rows and "
        f"{manifest.n_files:,} files, written by version {manifest.version}.",
        "Everybody signs in anew. What was entered after that moment is not in it, and phones do not send it again.",
    ]
    if done.aside is not None:
        lines.append(f"The book that was there lies in {done.aside}. Delete it when nobody needs it any more.")
    if done.is_behind:
        lines.append("This version brings it up to date when it starts.")
    return lines
