"""What the night clears away, by the rules of `plant.calc.retention`: each kind for itself, so that none holds up
another, and counted, so that the keeper sees it."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db.models import Max
from django.utils import timezone

from plant.calc.backups import is_due
from plant.calc.retention import UNFINISHED, KeptFor
from plant.models import ImportBatch, Job, KeptResult, LifeSign, Plant, Tally
from plant.services.health import tally
from plant.services.kept import KEEP, parts_of, topics_asked_for, topics_on_demand
from plant.services.names import mail_files
from plant.services.plant_exports import clear_exports
from plant.services.sent_forms import clear_sent

log = logging.getLogger(__name__)

ALIVE = (Job.State.WAITING, Job.State.RUNNING)
OPENING = "first-sign-in"  # a site is opened once
NIGHT_HOUR = 2  # UTC


def clear_if_due(now: datetime | None = None) -> dict[KeptFor, int] | None:
    """Clear once a night, or as soon after as the site runs; None where it was done."""
    now = now or timezone.now()
    last = Tally.objects.filter(what=Tally.What.CLEARING).aggregate(at=Max("last_at"))["at"]
    return clear_old(now=now) if is_due(now, last, hour=NIGHT_HOUR) else None


def clear_old(*, now: datetime | None = None) -> dict[KeptFor, int]:
    """Clear what is over; safe to run again. How many of each went."""
    now = now or timezone.now()
    gone = {}
    for what, clear in CLEARING.items():
        try:
            gone[what] = clear(now - timedelta(days=settings.KEEP_DAYS[what]))
        except Exception:
            log.exception("%s could not be cleared", what)
            tally(Tally.What.CLEARING, "failed", kind=what)
        else:
            tally(Tally.What.CLEARING, "went", kind=what, words=str(gone[what]), n=gone[what])
    return gone


def clear_sessions(before: datetime) -> int:
    return int(Session.objects.filter(expire_date__lt=before).delete()[0])


def clear_tries(before: datetime) -> int:
    models = (AccessAttempt, AccessFailureLog)
    return sum(int(each.objects.filter(attempt_time__lt=before).delete()[0]) for each in models)


def clear_sign_ins(before: datetime) -> int:
    return int(AccessLog.objects.filter(attempt_time__lt=before).delete()[0])


def clear_life_signs(before: datetime) -> int:
    """Those of workers; a timetable that is silent is one to act on, however long."""
    return LifeSign.objects.filter(part=LifeSign.Part.WORKER, at__lt=before).delete()[0]


def clear_kept(before: datetime) -> int:
    """Delete results that somebody asked for before then, and the jobs that made results."""
    topics = topics_on_demand()
    results, _each = KeptResult.objects.filter(topic__in=topics, as_of__lt=before).delete()
    for plant in Plant.objects.all():
        for name in topics_asked_for():
            asked = KeptResult.objects.filter(plant=plant, topic=name, as_of__lt=before)
            results += asked.exclude(part__in=parts_of(name, plant)).delete()[0]
    return results + Job.objects.filter(kind__in=[KEEP, *topics], finished_at__lt=before).delete()[0]


def clear_jobs(before: datetime) -> int:
    """Delete jobs that were over before then, but for those on which something of the book still leans.

    The last one of each kind in each plant stays: pages say from it when that was done.
    """
    rows = Job.objects.exclude(state__in=ALIVE)
    last = rows.order_by().values("kind", "plant").annotate(pk_of_last=Max("pk")).values("pk_of_last")
    leans = {f"{each.name}__isnull": True for each in Job._meta.related_objects}
    over = rows.filter(finished_at__lt=before, **leans)
    going = over.exclude(key=OPENING).exclude(pk__in=list(last.values_list("pk_of_last", flat=True)))
    return Job.objects.filter(pk__in=list(going.values_list("pk", flat=True))).delete()[0]


def clear_import_files(before: datetime) -> int:
    """Delete the files of imports older than that, but for those that a worker has in hand.

    The import itself stays: what came of it, its refused rows and the file's checksum are part of the book.
    """
    cleared = 0
    for batch in ImportBatch.objects.filter(created_at__lt=before).exclude(file="").exclude(job__state__in=ALIVE):
        storage, name = batch.file.storage, str(batch.file.name)
        # The file first: killed in between, the next night finds the row again; deleting twice does no harm.
        storage.delete(name)
        cleared += ImportBatch.objects.filter(pk=batch.pk).update(file="")
    return cleared


def clear_mail_files(before: datetime) -> int:
    return clear_paths(mail_files(), before)


def clear_halves(before: datetime) -> int:
    return clear_paths(Path(settings.MEDIA_ROOT).glob(f"{UNFINISHED}*"), before)


def clear_paths(paths: Iterable[Path], before: datetime) -> int:
    """Delete those that were written last before then."""
    old = [path for path in paths if path.stat().st_mtime < before.timestamp()]
    for path in old:
        path.unlink(missing_ok=True)
    return len(old)


CLEARING: dict[KeptFor, Callable[[datetime], int]] = {
    KeptFor.SESSIONS: clear_sessions,
    KeptFor.TRIES: clear_tries,
    KeptFor.SIGN_INS: clear_sign_ins,
    KeptFor.SENT_FORMS: clear_sent,
    KeptFor.LIFE_SIGNS: clear_life_signs,
    KeptFor.RESULTS: clear_kept,
    KeptFor.JOBS: clear_jobs,
    KeptFor.IMPORT_FILES: clear_import_files,
    KeptFor.EXPORTS: clear_exports,
    KeptFor.MAIL_FILES: clear_mail_files,
    KeptFor.HALVES: clear_halves,
}
