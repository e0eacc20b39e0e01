"""Celery tasks of the site itself."""

from __future__ import annotations

from celery import shared_task

from deploy.backups import looking, nightly


@shared_task(name="deploy.back_up_by_night", ignore_result=True)
def back_up_by_night() -> None:
    """Make the backup of the night where it is still to be made."""
    nightly.back_up_if_due()


@shared_task(name="deploy.look_at_backups", ignore_result=True)
def look_at_backups() -> None:
    """Look two backups over again, once a night."""
    looking.look_again_if_due()
