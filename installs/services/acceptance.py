"""Acceptance and hand-over of a job.

Only the hand-over makes the installation, so that checks, plans and the comparison before and after begin with it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.models import BeltOffset, Fitting, Installation
from installs.selectors.commissioning import acceptance_of, current_runs, left_open, offsets_of
from installs.services.commissioning import check_fits
from installs.services.fittings import locked, refuse_if_accepted, refuse_if_over
from installs.services.installations import install_device, refuse
from installs.services.trial_runs import check_may_run
from installs.words.commissioning import TEXTS, CommissioningRule
from installs.words.torque import open_work_words
from plant.calc.reasons import Reason
from plant.errors import Refused
from plant.services.records import change_record, create_record
from plant.words.refusals import refused


@transaction.atomic
def accept_fitting(
    *, fitting: Fitting, by: Any, version: int, reason: str = "", now: dt.datetime | None = None
) -> Fitting:
    """Accept the job against its target; with a reason that stays visible where a line is not met or work is open.

    Raises
    ------
    ChangedMeanwhile, Refused
        If no device is named, no trial run stands, a hold point is open; or if a line is not met, the fit-up has open
        lines or a torque is not signed off, and no reason is given.
    """
    row, now = locked(fitting), now or timezone.now()
    if row.accepted_at is not None and row.accepted_by_id == by.pk:
        return row  # the same form sent twice
    refuse_if_accepted(row)
    if row.device is None:
        raise Refused(_("Say first which device is fitted: change the plan and choose it."), code="device")
    runs = current_runs(row)
    if not runs:
        raise Refused(_("No trial run is recorded; without one there is nothing to accept."), code="no_run")
    check_may_run(row)
    told = acceptance_of(row, runs)
    not_met = [line.why for line in told.lines if line.verdict != "sound"] if not told.is_met else []
    still_open = open_work_words(left_open(row))
    if (not_met or still_open) and not reason.strip():
        left = [Reason(CommissioningRule.OPEN_WORK, {"words": each}) for each in still_open]
        how = Reason(CommissioningRule.RUN_AGAIN if not_met else CommissioningRule.FINISH)
        why = Reason(CommissioningRule.NOT_ACCEPTED, {"said": (*not_met, *left, how)})
        raise refused(why, TEXTS, code="not_met" if not_met else "open", fields=["reason"])
    return change_record(
        row,
        by=by,
        version=version,
        reason=reason,
        accepted_at=now,
        accepted_by=by,
        accepted_reason=reason.strip(),
    )


@transaction.atomic
def hand_over_fitting(
    *,
    fitting: Fitting,
    by: Any,
    version: int,
    handed_over_to: str,
    open_points: str = "",
    now: dt.datetime | None = None,
) -> Installation:
    """Hand the device over: now it is an installation, its checks are planned and the clock before and after begins.

    The readings of the last runs are written once more as acceptance rows of the installation, because entries are
    never overwritten; the rows from before are found through `fitting.survey`.

    Raises
    ------
    ChangedMeanwhile, Refused
        If it is not accepted, nobody is named, the open points are too long, or the device or place is taken meanwhile.
    """
    row = locked(fitting)
    if row.installation is not None:
        return row.installation  # the same form sent twice
    refuse_if_over(row)
    now = now or timezone.now()
    if row.accepted_at is None or row.device is None:
        raise Refused(_("Accept the job first; then it is handed over."), code="not_accepted")
    if not handed_over_to.strip():
        refuse("handed_over_to", "to", _("Say who takes it over: a person, a shift or a crew."))
    check_fits(Fitting, "open_points", open_points.strip(), _("The open points"))
    installation = install_device(
        device=row.device,
        conveyor=row.conveyor,
        strand=row.strand,
        chainage_m=row.chainage_m,
        installed_at=now,
        by=by,
        client_key=uuid.uuid5(row.client_key, "installation"),
        now=now,
        sheet=row.sheet,
        access=row.survey.access if row.survey else "",
        note=open_points.strip(),
    )
    write_acceptance_offsets(row, installation, by=by)
    change_record(
        row,
        by=by,
        version=version,
        handed_over_at=now,
        handed_over_by=by,
        handed_over_to=handed_over_to.strip(),
        open_points=open_points.strip(),
        installation=installation,
    )
    return installation


def write_acceptance_offsets(fitting: Fitting, installation: Installation, *, by: Any) -> None:
    """The readings of the last run empty and of the last run loaded, as rows of the installation."""
    last = {run.is_loaded: run for run in current_runs(fitting)}
    for run in last.values():
        for row in offsets_of(run):
            create_record(
                BeltOffset,
                by=by,
                client_key=uuid.uuid5(row.client_key, "acceptance"),
                plant=row.plant,
                conveyor=row.conveyor,
                strand=row.strand,
                chainage_m=row.chainage_m,
                offset_mm=row.offset_mm,
                is_loaded=row.is_loaded,
                taken_at=row.taken_at,
                occasion=BeltOffset.Occasion.ACCEPTANCE,
                trial_run=run,
                installation=installation,
            )
