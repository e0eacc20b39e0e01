"""Celery tasks of the site itself."""

from __future__ import annotations

from celery import shared_task

from deploy.backups import nightly


@shared_task(name="deploy.back_up_by_night", ignore_result=True)
def back_up_by_night() -> None:
    """Make the backup of the night where it is still to be made."""
    nightly.back_up_if_due()
