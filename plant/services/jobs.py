"""Jobs: ask for one, take it, do it, and pick up what a dead worker left.

A job is a row. The message to a worker is a nudge that may be lost or come twice: taking a job is one conditional
UPDATE, so exactly one worker does it, and the sweep nudges again for what nobody holds.
"""

from __future__ import annotations

import logging
import os
import socket
import traceback
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant.errors import Refused
from plant.models import Job, Plant, Tally
from plant.services.health import tally
from plant.services.job_kinds import JobHandle, JobLost, JobStopped, ending_of, function_of
from plant.services.log_marks import marked, request_at_hand

log = logging.getLogger(__name__)

MOST_ATTEMPTS = 5
STALE_AFTER = timedelta(hours=26)  # the nightly job is late when the last one ended longer ago


def silent_after() -> timedelta:
    """A holder that wrote no heartbeat for so long is taken for dead."""
    return timedelta(seconds=settings.JOB_SILENT_S)


# How a nudge is sent; deploy.celery_app puts the message broker here, tests and scripts may run the job at once.
_nudge: Callable[[int], None] | None = None


def is_far_from(name: str, now: datetime) -> Q:
    """A moment further back than a holder may be silent, or so far ahead that the clock was set back since."""
    return Q(**{f"{name}__lt": now - silent_after()}) | Q(**{f"{name}__gt": now + silent_after()})


def use_nudge(function: Callable[[int], None] | None) -> None:
    global _nudge
    _nudge = function


def has_worker() -> bool:
    """Whether a worker is told of jobs; without one whoever asks does them, as tests do."""
    return _nudge is not None


def nudge(job_id: int) -> None:
    """Tell a worker. A broker that is away costs nothing but time: the sweep tells again."""
    Job.objects.filter(pk=job_id).update(nudged_at=timezone.now())
    if _nudge is None:
        return
    try:
        _nudge(job_id)
    except Exception:
        log.warning("job %s: no nudge could be sent; the sweep will send it again", job_id, exc_info=True)


def ask_for_job(
    kind: str, *, args: dict[str, Any] | None = None, plant: Any = None, by: Any = None, key: str | None = None
) -> Job:
    """Write the row of a job and nudge a worker after the commit. With a key, the second asker gets the first's job."""
    function_of(kind)  # an unknown kind fails here, not in the worker
    if key:
        known = Job.objects.filter(key=key).first()
        if known:
            return known
    try:
        with transaction.atomic():
            job = Job.objects.create(
                kind=kind, args=args or {}, plant=plant, requested_by=by, key=key, request_id=request_at_hand()
            )
    except IntegrityError:
        return Job.objects.get(key=key)
    transaction.on_commit(lambda: nudge(job.pk))
    return job


def take_job(job_id: int, *, now: datetime | None = None) -> JobHandle | None:
    """Claim a job that waits, or whose holder is silent. None if somebody else has it or it is over."""
    now = now or timezone.now()
    holder = f"{socket.gethostname()}:{os.getpid()}:{uuid.uuid4().hex[:8]}"
    free = Q(state=Job.State.WAITING) | (Q(state=Job.State.RUNNING) & is_far_from("heartbeat_at", now))
    taken = Job.objects.filter(free, pk=job_id, attempts__lt=MOST_ATTEMPTS).update(
        state=Job.State.RUNNING, holder=holder, heartbeat_at=now, started_at=now, attempts=F("attempts") + 1
    )
    return JobHandle(job_id, holder) if taken else None


def do_job(job_id: int) -> bool:
    """Take a job and do it to its end. True if this call did it."""
    handle = take_job(job_id)
    if handle is None:
        return False
    job = Job.objects.get(pk=job_id)
    with marked(request=job.request_id, job=job.pk):
        return do_held(handle, job)


def do_held(handle: JobHandle, job: Job) -> bool:
    """Do a job that this process holds; every line of the log from here on names it and the request that asked."""
    job_id = job.pk
    try:
        result = function_of(job.kind)(handle, job.args)
    except JobLost:
        log.warning("job %s (%s): taken over by another worker", job_id, job.kind)
        return False
    except JobStopped:
        end_job(handle, Job.State.STOPPED)
        return True
    except Exception as error:
        log.exception("job %s (%s) failed", job_id, job.kind)
        end_job(handle, Job.State.FAILED, error=f"{error}\n\n{traceback.format_exc()}")
        return True
    end_job(handle, Job.State.DONE, result=result)
    return True


def end_job(handle: JobHandle, state: str, *, result: Any = None, error: str = "") -> None:
    held = Job.objects.filter(pk=handle.job_id, holder=handle.holder, state=Job.State.RUNNING)
    with transaction.atomic():
        if held.update(state=state, result=result, error=error, finished_at=timezone.now()):
            after_end(handle.job_id)


def after_end(job_id: int) -> None:
    """Do what the kind of job wants done at its end, in the transaction that ends it. Its fault ends no other job."""
    job = Job.objects.get(pk=job_id)
    ending = ending_of(job.kind)
    try:
        if ending is not None:
            with transaction.atomic():
                ending(job)
    except Exception:
        log.exception("job %s (%s) is over, but what follows its end failed", job_id, job.kind)
    tally(Tally.What.JOB, job.state, kind=job.kind)  # last: all jobs of a kind meet at this row


def stop_job(job: Job) -> None:
    """Ask a job to stop at its next step; one that nobody holds stops at once."""
    with transaction.atomic():
        if Job.objects.filter(pk=job.pk, state=Job.State.WAITING).update(
            state=Job.State.STOPPED, finished_at=timezone.now()
        ):
            after_end(job.pk)
            return
    Job.objects.filter(pk=job.pk, state=Job.State.RUNNING).update(stop_requested=True)


@transaction.atomic
def retry_failed(job: Job, *, by: Any) -> None:
    """Let a job that failed wait again, with all its attempts.

    Raises
    ------
    Refused
        If it did not fail, or somebody has settled it meanwhile.
    """
    is_taken_up = Job.objects.filter(pk=job.pk, state=Job.State.FAILED).update(
        state=Job.State.WAITING,
        attempts=0,
        holder="",
        error="",
        stop_requested=False,
        request_id=request_at_hand(),
        heartbeat_at=None,
        nudged_at=None,
        started_at=None,
        finished_at=None,
    )
    if not is_taken_up:
        raise Refused(_("Somebody has settled this job meanwhile."), code="settled")
    log.info("job %s (%s) is to be done again: %s", job.pk, job.kind, by)
    transaction.on_commit(lambda: nudge(job.pk))


def discard_failed(job: Job, *, by: Any) -> None:
    """Give a job that failed up for good: it counts as stopped, and is not shown among those that failed.

    Raises
    ------
    Refused
        If it did not fail, or somebody has settled it meanwhile.
    """
    if not Job.objects.filter(pk=job.pk, state=Job.State.FAILED).update(state=Job.State.STOPPED):
        raise Refused(_("Somebody has settled this job meanwhile."), code="settled")
    log.info("job %s (%s) is given up: %s", job.pk, job.kind, by)


def sweep_jobs(*, now: datetime | None = None) -> int:
    """Nudge again for jobs that nobody holds; give up on those that failed their workers too often."""
    now = now or timezone.now()
    silent = Q(state=Job.State.RUNNING) & is_far_from("heartbeat_at", now)
    hopeless = Job.objects.filter(silent | Q(state=Job.State.WAITING), attempts__gte=MOST_ATTEMPTS)
    for job_id in hopeless.values_list("pk", flat=True):
        with transaction.atomic():
            if hopeless.filter(pk=job_id).update(
                state=Job.State.FAILED,
                finished_at=now,
                error=f"given up after {MOST_ATTEMPTS} attempts that did not end",
            ):
                after_end(job_id)
    not_told = Q(nudged_at__isnull=True) | is_far_from("nudged_at", now)
    waiting = Job.objects.filter((Q(state=Job.State.WAITING) & not_told) | silent)
    ids = list(waiting.values_list("pk", flat=True)[:200])
    for job_id in ids:
        with marked(job=job_id):
            nudge(job_id)
    return len(ids)


def last_done_at(kind: str) -> datetime | None:
    return (
        Job.objects.filter(kind=kind, state=Job.State.DONE)
        .order_by("-finished_at")
        .values_list("finished_at", flat=True)
        .first()
    )


NIGHTLY = "nightly"


def stale_background_words(*, now: datetime | None = None) -> str:
    """The sentence of the banner when no nightly job ended for more than a day; empty when all is well.

    Pages stay true without the job (late is read from dates); notices, mails and new tasks are what is missing.
    """
    now = now or timezone.now()
    last = last_done_at(NIGHTLY)
    if last is None:
        if not Plant.objects.filter(created_at__lt=now - STALE_AFTER).exists():
            return ""  # the first night of a new site is still to come
        return str(
            _("Background jobs never ran yet: no new checks, notices or mails are made. Dates and lateness are right.")
        )
    if now - last > STALE_AFTER:
        when = date_format(timezone.localtime(last), "j M Y, H:i")
        return _(
            "Background jobs last ran %(when)s: since then no new checks, notices or mails. Dates on pages are right."
        ) % {"when": when}
    return ""
