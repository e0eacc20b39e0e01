"""What the night clears away: sign-ins that ended, marks of old tries, import files that nobody needs any more."""

from __future__ import annotations

from datetime import datetime, timedelta

from axes.models import AccessAttempt, AccessLog
from django.conf import settings
from django.contrib.sessions.models import Session
from django.utils import timezone

from plant.models import ImportBatch, Job, KeptResult, Plant
from plant.services.kept import KEEP, parts_of, topics_asked_for, topics_on_demand
from plant.services.plant_exports import clear_exports
from plant.services.sent_forms import KEPT_FOR, clear_sent

SIGN_INS_KEPT = timedelta(days=90)
ALIVE = (Job.State.WAITING, Job.State.RUNNING)


def clear_old(*, now: datetime | None = None) -> dict[str, int]:
    """Clear what is over; safe to run again. Returns how many of each went."""
    now = now or timezone.now()
    sessions, _each = Session.objects.filter(expire_date__lt=now).delete()
    tries, _each = AccessAttempt.objects.filter(attempt_time__lt=now - timedelta(days=1)).delete()
    signed_in, _each = AccessLog.objects.filter(attempt_time__lt=now - SIGN_INS_KEPT).delete()
    return {
        "sessions": sessions,
        "tries": tries,
        "sign_ins": signed_in,
        "sent_forms": clear_sent(now - KEPT_FOR),
        "kept": clear_kept(now - timedelta(days=1)),
        "exports": clear_exports(now - timedelta(days=settings.KEEP_EXPORT_DAYS)),
        "import_files": clear_import_files(now - timedelta(days=settings.KEEP_IMPORT_DAYS)),
    }


def clear_kept(before: datetime) -> int:
    """Delete results that somebody asked for before then, and the jobs that made results."""
    topics = topics_on_demand()
    results, _each = KeptResult.objects.filter(topic__in=topics, as_of__lt=before).delete()
    for plant in Plant.objects.all():
        for name in topics_asked_for():
            asked = KeptResult.objects.filter(plant=plant, topic=name, as_of__lt=before)
            results += asked.exclude(part__in=parts_of(name, plant)).delete()[0]
    return results + Job.objects.filter(kind__in=[KEEP, *topics], finished_at__lt=before).delete()[0]


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
