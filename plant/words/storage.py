"""Sentences about the disk that the book stands on."""

from __future__ import annotations

from enum import StrEnum

from django.utils.translation import gettext as _


class BookFault(StrEnum):
    """What stands in the way; only the first goes by itself."""

    BUSY = "busy"
    FULL = "full"
    DAMAGED = "damaged"
    BEHIND = "behind"  # a table or a column is missing
    OUT_OF_REACH = "out_of_reach"  # the file or the server cannot be reached, or not be written
    UNKNOWN = "unknown"


MB = 1024 * 1024
LEAST_FREE_MB = 100


def full_disk() -> str:
    return _(
        "The disk of this site is full, so nothing can be saved and few pages can be shown. Nothing of what you had "
        "saved is lost. What you typed on this page was not saved: keep the page open, or write it down."
    )


def full_disk_remedy() -> str:
    return _("Tell the keeper of this site: space has to be freed where the data folder lies.")


def nearly_full(free_bytes: int) -> str:
    """A warning while little is free; empty while enough is."""
    if free_bytes >= LEAST_FREE_MB * MB:
        return ""
    return _(
        "The disk of this site is nearly full (%(free)d MB free). Tell its keeper: on a full disk nothing can be saved."
    ) % {"free": free_bytes // MB}


def folder_gone() -> str:
    return _(
        "The data folder of this site cannot be reached, so no photo or file can be saved or shown. The keeper of this "
        "site has to put it back: is its disk mounted?"
    )


def not_held_against_the_book(fault: BookFault) -> str:
    """Why the rows of a file could not be tried out, and who does what."""
    return {
        BookFault.BUSY: _(
            "The book is busy with other writing, so that the cells were read but the rows not held against the "
            "book. Read the file again in a minute."
        ),
        BookFault.FULL: _(
            "The disk of this site is full, so that the cells were read but the rows not held against the book. Tell "
            "the keeper of this site: space has to be freed where the data folder lies. Then read the file again."
        ),
        BookFault.DAMAGED: _(
            "The data base says that the book is damaged. Do not import anything: tell the keeper of this site now. "
            "They stop it, keep a copy of its folder and put back the last backup."
        ),
        BookFault.BEHIND: _(
            "The book lacks a table or a column that this version of the site needs, so that the rows were not held "
            "against it. Tell the keeper of this site: they start it again, which brings the book up to date."
        ),
        BookFault.OUT_OF_REACH: _(
            "The book cannot be reached or not be written, so that the cells were read but the rows not held against "
            "it. Read the file again in a minute. If it stays so, tell the keeper of this site: the disk, the rights "
            "of its folder or the data base server has to be looked at."
        ),
        BookFault.UNKNOWN: _(
            "The data base refused to try the rows out, and it is not known why; the cells were read. Do not import "
            "the file yet: tell the keeper of this site, the log has what the data base said."
        ),
    }[fault]
