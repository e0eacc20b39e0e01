"""Backups in words: why one was not made, or is not taken, with what to do about it."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.calc.backups import BackupOccasion, BackupRule
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence

TEXTS: Texts = {
    BackupOccasion.NIGHT: _("by night"),
    BackupOccasion.BY_HAND: _("by hand"),
    BackupOccasion.UPGRADE: _("before an upgrade"),
    BackupRule.FOLDER_MISSING: _(
        "The folder for backups %(folder)s is not there. Is its disk connected? If it is a new one, make the folder "
        "by hand: Driftbook makes none, so that no backup lands where a disk should be."
    ),
    BackupRule.FOLDER_CLOSED: _(
        "The folder for backups %(folder)s cannot be written (%(why)s). Give it to the account that runs the site, or "
        "name another in DRIFTBOOK_BACKUP_FOLDER."
    ),
    BackupRule.FOLDER_AMONG_FILES: _(
        "The folder for backups %(folder)s lies among the files that are backed up. Name one outside of %(files)s in "
        "DRIFTBOOK_BACKUP_FOLDER."
    ),
    BackupRule.NO_ROOM: _(
        "A backup needs up to %(needed)s MB and %(free)s MB are free in %(folder)s. Free some space there, keep fewer "
        "backups (DRIFTBOOK_BACKUP_MONTHS), or name a folder on another disk in DRIFTBOOK_BACKUP_FOLDER."
    ),
    BackupRule.DISK_FULL: _(
        "The disk of %(folder)s became full while the backup was written. Nothing half is left of it. Free some space "
        "there, or name a folder on another disk in DRIFTBOOK_BACKUP_FOLDER."
    ),
    BackupRule.NO_BOOK: _("There is no book in %(folder)s yet. Start the site once, or name its data folder."),
    BackupRule.BOOK_DAMAGED: _(
        "The book cannot be backed up, because it is damaged (%(why)s). Older backups are left as they are. Stop the "
        "site, keep a copy of its folder and put back the newest good backup: deploy/restore lists them."
    ),
    BackupRule.BOOK_OUT_OF_REACH: _(
        "The book could not be read for the backup (%(why)s). Look at the data base, then make one by hand: "
        "deploy/backup."
    ),
    BackupRule.FILE_UNREADABLE: _(
        "%(file)s could not be read for the backup (%(why)s). Give it to the account that runs the site, or look at "
        "the disk, then make a backup by hand: deploy/backup."
    ),
    BackupRule.BUSY: _("Another backup is being written into %(folder)s. Wait until it is there."),
    BackupRule.DATABASE_REFUSED: _(
        "The data base server cannot be reached, or does not let the site in (%(why)s). Look at host, port, user and "
        "password in DATABASE_URL, and whether the server runs."
    ),
    BackupRule.PROGRAM_MISSING: _(
        "%(program)s is not on this machine, and a data base of PostgreSQL is backed up and put back with it. Install "
        "PostgreSQL's programs for clients, of the server's version or a later one (on Debian: postgresql-client)."
    ),
    BackupRule.PROGRAM_FAILED: _(
        "%(program)s failed: %(why)s. Nothing half is left. Where it speaks of versions, install the one of the server."
    ),
    BackupRule.NOT_THERE: _("%(file)s is not there. deploy/restore without a name lists the backups at hand."),
    BackupRule.NOT_READABLE: _("%(file)s cannot be read (%(why)s). Run the command as the account that owns it."),
    BackupRule.NO_BACKUP: _(
        "%(file)s is no backup of this site, or its end is missing. deploy/restore without a name lists the backups "
        "at hand."
    ),
    BackupRule.MEMBER_CHANGED: _(
        "%(file)s is damaged: %(member)s is no longer what was written. Nothing was taken from it. Take another one: "
        "deploy/restore without a name lists the backups at hand."
    ),
    BackupRule.MEMBER_STRANGE: _(
        "%(file)s holds %(member)s, which no backup of this site does. Nothing was taken from it."
    ),
    BackupRule.LATER_FORM: _(
        "%(file)s was written by version %(version)s in a form that this version does not know. Use that version or a "
        "later one."
    ),
    BackupRule.BOOK_NOT_WHOLE: _(
        "The book in %(file)s is not whole (%(why)s). Take another backup: deploy/restore without a name lists them."
    ),
    BackupRule.LATER_BOOK: _(
        "%(file)s was written by version %(version)s, with steps that this version does not know: %(steps)s. Put it "
        "back with that version or a later one. Nothing was changed."
    ),
    BackupRule.BOOK_THERE: _(
        "%(folder)s holds a book. Nothing was changed. To keep that one aside and put the backup in its place: "
        "deploy/restore %(file)s --data %(folder)s --set-aside. Or name an empty folder with --data."
    ),
    BackupRule.NO_ROOM_TO_UNPACK: _(
        "The backup needs %(needed)s MB when it is unpacked, and %(free)s MB are free in %(folder)s. Free some space "
        "there, or name a folder on another disk with --data. Nothing was changed."
    ),
    BackupRule.DATA_CLOSED: _(
        "The data folder %(folder)s cannot be written (%(why)s). Run the command as the account that runs the site, or "
        "name another folder with --data."
    ),
    BackupRule.DATA_DISK_FULL: _(
        "The disk of %(folder)s became full while the backup was unpacked. Free some space there, then run the same "
        "command again."
    ),
    BackupRule.NEEDS_POSTGRES: _(
        "%(file)s is of a data base of PostgreSQL. Make an empty one, name it in DATABASE_URL, and run the command "
        "again."
    ),
    BackupRule.DATABASE_NOT_EMPTY: _(
        "The data base %(name)s holds tables already. Nothing was changed. Make an empty one, name it in DATABASE_URL, "
        "and run the command again; the old one stays as it is."
    ),
    BackupRule.ROW_NOT_TAKEN: _(
        "PostgreSQL does not take the rows of %(table)s (%(why)s). Nothing is left in the data base. Put the backup "
        "back on SQLite, correct that there, and make a new backup."
    ),
    BackupRule.CARRIED_DIFFERS: _(
        "The rows of %(table)s came out different on PostgreSQL, so that nothing was left there. This is a fault of "
        "the product: stay on SQLite and report it."
    ),
    BackupRule.UPGRADE_FAILED: _(
        "The book could not be brought up to date (%(step)s: %(why)s). It is as it was before: start the version that "
        "you had, and go on working with it. The backup that was made first: %(backup)s. What went wrong, for whoever "
        "mends it: %(report)s."
    ),
    BackupRule.BOOK_OPEN: _(
        "Another program has the book %(book)s open, so that it cannot be brought up to date. Nothing was changed. End "
        "that program (a second site, a program for SQLite), then start again."
    ),
    BackupRule.ROWS_DIFFER: _(
        "The table %(table)s in %(file)s has %(found)s rows and should have %(wanted)s. Take another backup: "
        "deploy/restore without a name lists them."
    ),
}


def backup_words(reason: Reason) -> str:
    """What stood in the way, and what to do."""
    return sentence(reason, TEXTS, UnitSystem.METRIC)


def occasion_words(occasion: str) -> str:
    """Why a backup was made; one of a later version keeps its code."""
    return str(TEXTS.get(occasion, occasion))
