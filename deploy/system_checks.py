"""Start-up checks: `manage.py check` and every start say what is wrong with the settings, and the remedy."""

from __future__ import annotations

import tempfile
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import DatabaseError, connections
from django.db.migrations.loader import MigrationLoader

from deploy.celery_app import app
from deploy.data_folder import make_private
from deploy.timetable import TIMETABLE
from plant.selectors.backups import backups_in
from plant.services.book_faults import is_full_disk

OWN_APPS = ("plant", "installs", "inspections", "reports")
LOCAL_HOSTS = {"localhost", "127.0.0.1", "[::1]", "testserver"}


@register()
def check_data_folder(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    try:
        make_private(settings.DATA_DIR)
        with tempfile.NamedTemporaryFile(dir=settings.DATA_DIR):
            return []
    except OSError as error:
        return [
            Error(
                f"The data folder {settings.DATA_DIR} cannot be written ({error.strerror}).",
                hint="Make it writable or name another in DRIFTBOOK_DATA.",
                id="driftbook.E001",
            )
        ]


@register()
def check_debug_is_local(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    if settings.DEBUG and not set(settings.ALLOWED_HOSTS) <= LOCAL_HOSTS:
        return [
            Error(
                "DRIFTBOOK_DEBUG is on for a site that others reach: error pages would show its inside.",
                hint="Leave DRIFTBOOK_DEBUG out, or answer to localhost only (DRIFTBOOK_HOSTS).",
                id="driftbook.E002",
            )
        ]
    return []


@register()
def check_addresses_agree(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    host = settings.SITE_ADDRESS.split("//")[-1].rsplit(":", 1)[0] if "//" in settings.SITE_ADDRESS else ""
    if not host:
        return [
            Error(
                f"DRIFTBOOK_ADDRESS is {settings.SITE_ADDRESS!r}, which is no address.",
                hint="Give it with its scheme, for example https://driftbook.plant.example.",
                id="driftbook.E003",
            )
        ]
    if host not in settings.ALLOWED_HOSTS and "*" not in settings.ALLOWED_HOSTS:
        return [
            Warning(
                f"DRIFTBOOK_ADDRESS names the host {host}, which DRIFTBOOK_HOSTS does not.",
                hint=f"Add {host} to DRIFTBOOK_HOSTS, or links in e-mails lead nowhere.",
                id="driftbook.W001",
            )
        ]
    return []


@register()
def check_mail_sender(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    if settings.EMAIL_HOST and settings.DEFAULT_FROM_EMAIL.endswith("@localhost"):
        return [
            Warning(
                "A mail server is named, but mails would come from driftbook@localhost.",
                hint="Give the sender in DRIFTBOOK_MAIL_FROM.",
                id="driftbook.W002",
            )
        ]
    return []


@register()
def check_timetable(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """A misspelt task would simply never run."""
    # Not app.loader.import_default_modules(): it runs the checks of the site, and so this one, again.
    for each in apps.get_app_configs():
        if find_spec(f"{each.name}.jobs"):
            import_module(f"{each.name}.jobs")
    unknown = sorted(entry["task"] for entry in TIMETABLE.values() if entry["task"] not in app.tasks)
    return [
        Error(
            f"The timetable names {name}, which no jobs.py defines.",
            hint="Correct the name in deploy/timetable.py.",
            id="driftbook.E004",
        )
        for name in unknown
    ]


@register(Tags.database)
def check_book(app_configs: Any, databases: Any = None, **kwargs: Any) -> list[CheckMessage]:
    """Asked by `migrate`, and so by every start, before anything is changed or served."""
    return book_faults(connections["default"]) if "default" in (databases or ()) else []


def book_faults(connection: Any) -> list[CheckMessage]:
    """Why this code cannot serve the book: it is damaged, or another version wrote it."""
    try:
        damage = damage_of(connection)
        unknown = [] if damage else unknown_steps(connection)
    except DatabaseError as error:
        if is_full_disk(error):  # a full disk looks like a damaged file, and its remedy is another one
            return [Error(DISK_FULL, hint=f"Free space where {settings.DATA_DIR} lies.", id="driftbook.E007")]
        if connection.vendor != "sqlite" or not any(mark in str(error) for mark in DAMAGE):
            raise
        damage = str(error)
    if damage:
        name = connection.settings_dict["NAME"]
        return [
            Error(
                f"The book {name} is damaged ({damage}). It is not served, so that nothing more is lost.",
                hint=what_to_do(name),
                id="driftbook.E005",
            )
        ]
    if unknown:
        return [
            Error(
                f"This version does not know steps that the book has: {', '.join(unknown)}. Another version wrote it, "
                "a newer one or one from before the first release. Nothing was changed.",
                hint="Start the version that wrote it, or name another folder with --data (DRIFTBOOK_DATA).",
                id="driftbook.E006",
            )
        ]
    return []


def what_to_do(name: str) -> str:
    """The command that puts the newest good backup back, where there is one."""
    at_hand = backups_in(Path(settings.BACKUP_FOLDER))
    if at_hand:
        newest = at_hand[0]
        return (
            f"Put back the newest good backup, of {newest.made_at:%Y-%m-%d %H:%M} UTC; the damaged book is kept aside: "
            f"deploy/restore {newest.path} --data {settings.DATA_DIR} --set-aside"
        )
    return (
        f"There is no backup in {settings.BACKUP_FOLDER}. With one from elsewhere: deploy/restore FILE --data "
        f"{settings.DATA_DIR} --set-aside. Where there is none, keep a copy of the folder; 'sqlite3 {name} .recover' "
        "writes out what can still be read."
    )


DISK_FULL = "The disk is full, so the book cannot be opened. Nothing of what was saved is lost by that."
# What SQLite says of a file that is no longer what it was.
DAMAGE = ("malformed", "not a database", "disk I/O error", "corrupt")


def damage_of(connection: Any) -> str:
    """What is wrong with the file of the book; PostgreSQL looks after its own."""
    if connection.vendor != "sqlite":
        return ""
    with connection.cursor() as cursor:
        found = str(cursor.execute("PRAGMA quick_check(1)").fetchone()[0])
    return "" if found == "ok" else " ".join(found.split())


def unknown_steps(connection: Any) -> list[str]:
    """Migrations of our apps that are written into the book and stand nowhere in the code."""
    return unknown_of(set(MigrationLoader(connection, replace_migrations=False).applied_migrations))


def unknown_of(applied: set[tuple[str, str]]) -> list[str]:
    """Those of our apps among the steps that stand nowhere in the code."""
    loader = MigrationLoader(None, replace_migrations=False)
    known = set(loader.disk_migrations)
    known |= {old for each in loader.disk_migrations.values() for old in each.replaces}
    return sorted(f"{app}.{name}" for app, name in applied - known if app in OWN_APPS)
