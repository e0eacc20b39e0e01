"""Sentences about the disk that the book stands on."""

from __future__ import annotations

from django.utils.translation import gettext as _

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
