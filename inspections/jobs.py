"""Work of this app that runs by itself: ids in, one service call."""

from __future__ import annotations

from typing import Any

from celery import shared_task
from django.utils.translation import gettext_lazy as _

from inspections.selectors.plan_years import YEAR
from inspections.selectors.rounds import LAY_ROUNDS
from inspections.services import digests, nightly, plan_years, rounds
from plant.services.job_kinds import JobHandle, job_kind
from plant.services.jobs import NIGHTLY


@job_kind(NIGHTLY, _("the night: checks and notices"))
def night(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    return nightly.do_night(handle, args)


@job_kind(LAY_ROUNDS, _("laying of rounds"))
def lay_rounds(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    return rounds.do_lay_rounds(handle, args)


@job_kind(YEAR, _("the year under a plan"))
def year(handle: JobHandle, args: dict[str, Any]) -> dict[str, Any]:
    return plan_years.do_year(handle, args)


@shared_task(name="inspections.ask_for_nightly", ignore_result=True)
def ask_for_nightly() -> None:
    """Make the night's job of each plant where it is missing."""
    nightly.ask_for_nightly()


@shared_task(name="inspections.send_digests", ignore_result=True)
def send_digests() -> None:
    """Send the daily mails that were not sent yet."""
    digests.send_digests()
