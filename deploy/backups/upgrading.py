"""Brings a book up to date: a backup first, then all steps or none of them.

On SQLite the steps are done on a copy beside the book, which takes its place in one move when it was looked over. Until
then the book itself is only read, so a step that fails, Ctrl-C and a power cut all leave it as it was; a start that
finds a copy left over says so, drops it and begins anew. On PostgreSQL all steps and the look over are one transaction.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.core.management.commands.migrate import Command as Migrate
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from deploy.backups import sqlite_book
from deploy.backups.archive import NotKept
from deploy.backups.making import Site, back_up, sync_folder
from deploy.system_checks import OWN_APPS
from deploy.version import version
from plant.calc.backups import BackupOccasion, BackupRule
from plant.services.book_faults import is_full_disk

Say = Callable[[str], object]
DRAFT_ENDING = ".upgrading"
REPORT = "upgrade-failed.txt"
MOST_STEPS_NAMED = 6
# Another program that is just ending.
WAIT_MS = 5000
ONE_AT_A_TIME = 0x6472_6966  # any number, the same in every process


class NotSound(Exception):
    """What the look over found after the steps; its words are for the report."""


class Steps(Migrate):
    """`migrate`, which remembers where it is."""

    step = ""

    def migration_progress_callback(self, action: str, migration: Any = None, fake: bool = False) -> None:
        if action == "apply_start":
            self.step = f"{migration.app_label}.{migration.name}"


def bring_up_to_date(site: Site, *, without_backup: bool = False, say: Say) -> None:
    """Make the tables of a new book, or take an older one to this version.

    Parameters
    ----------
    without_backup : bool
        Whether it may go without a backup, because somebody keeps the data base otherwise.

    Raises
    ------
    NotKept
        If there is no backup or a step fails; the book is then as it was.
    """
    drop_draft(site, say)
    steps = steps_to_do()
    if not steps or not is_begun():
        call_command("migrate", verbosity=0)
        return
    say(steps_words(steps))
    backup = "none, as it was asked for"
    if not without_backup:
        say("Making a backup first ...")
        backup = back_up(site, occasion=BackupOccasion.UPGRADE).path
        say(f"The backup is {backup}")
    say("Doing the steps ..." if connection.vendor != "sqlite" else "Doing the steps on a copy of the book ...")
    migrate = Steps()
    try:
        if connection.vendor == "sqlite":
            by_a_copy(site, migrate)
        else:
            in_one_transaction(migrate)
    except NotKept:
        raise
    except Exception as error:
        report = site.data / REPORT
        with contextlib.suppress(OSError):
            report.write_text(traceback.format_exc(), encoding="utf-8")
        why = "the disk is full" if is_full_disk(error) else " ".join(str(error).split()) or type(error).__name__
        step = migrate.step or "look"
        raise NotKept(BackupRule.UPGRADE_FAILED, step=step, why=why, backup=backup, report=report) from error
    say(f"The book is up to date with version {version()}.")


def steps_to_do() -> list[str]:
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{each.app_label}.{each.name}" for each, _backwards in plan]


def is_begun() -> bool:
    """Whether the book has tables of ours: one that is made now has nothing to be backed up."""
    return any(app in OWN_APPS for app, _name in MigrationLoader(connection).applied_migrations)


def steps_words(steps: list[str]) -> str:
    named = ", ".join(steps[:MOST_STEPS_NAMED])
    more = f" and {len(steps) - MOST_STEPS_NAMED} more" if len(steps) > MOST_STEPS_NAMED else ""
    how_many = "one step brings" if len(steps) == 1 else f"{len(steps)} steps bring"
    return f"This book is of an earlier version; {how_many} it to version {version()}: {named}{more}."


def in_one_transaction(migrate: Steps) -> None:
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_AT_A_TIME])
            # A table with checks that wait for the commit could not be changed any more.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        call_command(migrate, verbosity=0)
        look_over()


def by_a_copy(site: Site, migrate: Steps) -> None:
    draft = Path(f"{site.book}{DRAFT_ENDING}")
    connection.close()
    with held_still(site.book) as book:
        n_loose = len(loose_ends(book))
        try:
            os.close(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
            with sqlite_book.opened(draft) as copy:
                book.backup(copy)
            with connected_to(draft):
                call_command(migrate, verbosity=0)
                migrate.step = ""
                look_over()
            with sqlite_book.opened(draft) as copy:
                damage = sqlite_book.damage(copy)
                loose = loose_ends(copy)
                if damage or len(loose) > n_loose:
                    raise NotSound(damage or f"rows of {loose[0]} name rows that are not there")
                # All of it in one file.
                copy.execute("PRAGMA journal_mode=DELETE")
            with draft.open("rb+") as file:
                os.fsync(file.fileno())
            draft.rename(site.book)
            sync_folder(site.data)
        finally:
            delete(draft)


@contextlib.contextmanager
def held_still(path: Path) -> Iterator[sqlite3.Connection]:
    """The book with nothing beside it, and nobody able to write to it."""
    with sqlite_book.opened(path) as book:
        book.execute(f"PRAGMA busy_timeout={WAIT_MS}")
        try:
            mode = book.execute("PRAGMA journal_mode=DELETE").fetchone()[0]
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                raise
            mode = "of somebody else"
        if mode != "delete":
            raise NotKept(BackupRule.BOOK_OPEN, book=path)
        book.execute("BEGIN")
        book.execute("SELECT count(*) FROM sqlite_master").fetchone()
        yield book


@contextlib.contextmanager
def connected_to(path: Path) -> Iterator[None]:
    """Let the site's own connection lead there."""
    name = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict["NAME"] = str(path)
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = name


def look_over() -> None:
    """Every step is done, and every table can be read as the code means it.

    Raises
    ------
    NotSound
        If a step is missing.
    """
    left = steps_to_do()
    if left:
        raise NotSound(f"{left[0]} was not done")
    for model in apps.get_models(include_auto_created=True):
        if model._meta.managed and not model._meta.proxy:
            list(model._base_manager.order_by()[:1])


def loose_ends(book: sqlite3.Connection) -> list[str]:
    """Tables of the rows that name a row which is not there, one a row."""
    return [str(each[0]) for each in book.execute("PRAGMA foreign_key_check")]


def drop_draft(site: Site, say: Say) -> None:
    if connection.vendor == "sqlite" and delete(Path(f"{site.book}{DRAFT_ENDING}")):
        say("An upgrade was broken off the last time. The book is as it was before it; the upgrade begins anew.")


def delete(draft: Path) -> bool:
    """Delete a copy and what stands beside it; whether there was one."""
    was_there = draft.exists()
    for ending in ("", "-wal", "-shm", "-journal"):
        Path(f"{draft}{ending}").unlink(missing_ok=True)
    return was_there
