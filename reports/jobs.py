"""Work of this app that runs by itself: one service call each."""

from __future__ import annotations

from celery import shared_task

from reports.files.month_pdf import month_pdf
from reports.services import decision_mails, months, rate_watch


@shared_task(name="reports.draft_and_send_months", ignore_result=True)
def draft_and_send_months() -> None:
    """Draft last month where it is missing, and mail what is published to its subscribers."""
    months.draft_months()
    months.send_months(month_pdf)


@shared_task(name="reports.watch_rates", ignore_result=True)
def watch_rates() -> None:
    """Ask for a check where a device begins to fade."""
    rate_watch.watch_plants()


@shared_task(name="reports.send_decisions", ignore_result=True)
def send_decisions() -> None:
    """Send the managers' daily mails that were not sent yet."""
    decision_mails.send_decisions()
