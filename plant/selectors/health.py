"""What is known of the site itself: its data base, disk, worker, timetable, jobs, mails and sign-ins."""

from __future__ import annotations

import datetime as dt
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from axes.models import AccessAttempt
from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Exists, F, Max, Min, OuterRef, Q, QuerySet, Sum, TextField, Value
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Coalesce

from plant.calc.health import WORKER_SILENT_S, SiteFacts
from plant.models import Job, KeptResult, LifeSign, Tally
from plant.selectors.backups import last_backups, last_looks
from plant.selectors.kept import counted
from plant.selectors.retention import last_cleared

MB = 1_000_000
WAITS_AFTER_WRONG = dt.timedelta(hours=settings.AXES_COOLOFF_TIME)
FAILED_SHOWN = dt.timedelta(days=30)
DATABASES = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}


@lru_cache(maxsize=1)
def known_steps() -> frozenset[tuple[str, str]]:
    """Migrations of the code, without those that others have taken the place of."""
    disk = MigrationLoader(None, ignore_no_migrations=True).disk_migrations
    replaced = {old for each in disk.values() for old in each.replaces}
    return frozenset(set(disk) - replaced)


def steps_missing() -> set[tuple[str, str]]:
    """Migrations of the code that the book lacks; one query."""
    recorder = MigrationRecorder(connection)
    return set(known_steps() - set(recorder.applied_migrations()))


def answer_ms() -> float:
    """How long the data base takes to answer one question [ms]."""
    began = time.perf_counter()
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()
    return 1000 * (time.perf_counter() - began)


def database_bytes() -> int:
    """What the book takes, without photos and files."""
    question = {
        "postgresql": "SELECT pg_database_size(current_database())",
        "sqlite": "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(question)
        return int(cursor.fetchone()[0])


def free_bytes() -> int | None:
    """What is free where the data folder lies; None where the folder cannot be reached."""
    try:
        return shutil.disk_usage(settings.DATA_DIR).free
    except OSError:
        return None


def failed_jobs(now: dt.datetime) -> QuerySet[Job]:
    """Jobs that failed and were not made good, newest first.

    What runs by itself is made good by a later one of its kind in its plant; what a person asked for is theirs to
    ask for again, and is shown until somebody settles it, or for a month.
    """
    # Jobs of one kind may make different things: those of another topic make nothing good.
    rows = Job.objects.annotate(about=Coalesce(KeyTextTransform("topic", "args"), Value(""), output_field=TextField()))
    later = rows.filter(
        Q(plant=OuterRef("plant")) | Q(plant=None),
        kind=OuterRef("kind"),
        about=OuterRef("about"),
        state=Job.State.DONE,
        finished_at__gt=OuterRef("finished_at"),
    )
    made_good = Q(requested_by=None) & Exists(later)
    failed = rows.filter(state=Job.State.FAILED, finished_at__gte=now - FAILED_SHOWN)
    return failed.exclude(made_good).select_related("plant", "requested_by").order_by("-finished_at")


@dataclass(frozen=True)
class Queue:
    """Jobs that are not over; since when the oldest one waits."""

    n_waiting: int
    n_running: int
    oldest_at: dt.datetime | None


def queue() -> Queue:
    waiting = Job.objects.filter(state=Job.State.WAITING)
    return Queue(
        n_waiting=waiting.count(),
        n_running=Job.objects.filter(state=Job.State.RUNNING).count(),
        oldest_at=waiting.aggregate(at=Min("created_at"))["at"],
    )


def behind_kept() -> QuerySet[KeptResult]:
    """Kept results that the book has gone past."""
    return counted(KeptResult.objects.all()).exclude(stamp=F("counted"))


def last_sign(part: LifeSign.Part) -> dt.datetime | None:
    return LifeSign.objects.filter(part=part).order_by("-at").values_list("at", flat=True).first()


def tallies(what: Tally.What) -> list[Tally]:
    return list(Tally.objects.filter(what=what).order_by("kind", "outcome"))


def n_slowed(now: dt.datetime) -> int:
    """Names and networks that have used up their tries, and so have to wait."""
    recent = AccessAttempt.objects.filter(attempt_time__gte=now - WAITS_AFTER_WRONG)
    by_name = recent.values("username", "ip_address").annotate(n=Sum("failures_since_start"))
    return sum(each["n"] >= settings.AXES_FAILURE_LIMIT for each in by_name.order_by())


_waiting_mails: list[Callable[[dt.datetime], int]] = []


def register_waiting_mails(asks: Callable[[dt.datetime], int]) -> Callable[[dt.datetime], int]:
    """Add how many mails of a kind were tried, could not go and are tried again."""
    _waiting_mails.append(asks)
    return asks


def seconds_since(moment: dt.datetime | None, now: dt.datetime) -> float | None:
    """A clock that was set back makes nothing younger than now."""
    return None if moment is None else max(0.0, (now - moment).total_seconds())


def site_facts(now: dt.datetime) -> SiteFacts:
    """Everything that the keeper's page judges, read at one moment."""
    took_ms, free, size, jobs = answer_ms(), free_bytes(), database_bytes(), queue()
    mails = {each.outcome: each for each in tallies(Tally.What.MAIL)}
    sent, refused = mails.get("sent"), mails.get("refused")
    turned_away = next(iter(tallies(Tally.What.PAGE)), None)
    cleared = last_cleared()
    n_behind = behind_kept().count()
    backups, looks = last_backups(), last_looks()
    last_kept = KeptResult.objects.aggregate(at=Max("made_at"))["at"] if n_behind else None
    alive_since = now - dt.timedelta(seconds=WORKER_SILENT_S)
    return SiteFacts(
        database=DATABASES.get(connection.vendor, connection.vendor),
        version=settings.VERSION,
        answer_ms=took_ms,
        database_mb=round(size / MB),
        disk_free_mb=None if free is None else free // MB,
        n_steps_missing=len(steps_missing()),
        n_workers=LifeSign.objects.filter(part=LifeSign.Part.WORKER, at__gte=alive_since).count(),
        worker_s=seconds_since(last_sign(LifeSign.Part.WORKER), now),
        tick_s=seconds_since(last_sign(LifeSign.Part.TIMETABLE), now),
        sweep_every_s=settings.SWEEP_EVERY_S,
        n_waiting=jobs.n_waiting,
        n_running=jobs.n_running,
        n_failed=failed_jobs(now).count(),
        oldest_s=seconds_since(jobs.oldest_at, now),
        backup_s=seconds_since(backups.newest.made_at if backups.newest else None, now),
        backup_fault=backups.last.fault if backups.last and not backups.last.is_good else None,
        is_backup_nightly=backups.is_nightly,
        is_backup_beside=backups.is_beside_the_book,
        looked_s=seconds_since(looks[0].at if looks else None, now),
        n_looked=len(looks),
        look_fault=next((each.fault for each in looks if each.fault), None),
        has_mail_server=bool(settings.EMAIL_HOST),
        sent_s=seconds_since(sent.last_at, now) if sent else None,
        refused_s=seconds_since(refused.last_at, now) if refused else None,
        refusal=refused.last_words if refused else "",
        n_mails_waiting=sum(asks(now) for asks in _waiting_mails),
        n_kept=KeptResult.objects.count(),
        n_behind=n_behind,
        kept_idle_s=seconds_since(last_kept, now),
        n_slowed=n_slowed(now),
        cleared_s=seconds_since(cleared.at, now),
        n_cleared=cleared.n_gone,
        n_not_cleared=len(cleared.failed),
        n_turned_away=turned_away.n if turned_away else 0,
        turned_away_s=seconds_since(turned_away.last_at, now) if turned_away else None,
    )
