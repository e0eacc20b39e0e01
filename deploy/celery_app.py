"""The Celery application. A message is only a nudge: the job itself is a row (plant.services.jobs)."""

from __future__ import annotations

import os
import warnings
from typing import Any

from celery import Celery
from celery.platforms import SecurityWarning
from celery.signals import after_task_publish, beat_init, setup_logging, worker_ready, worker_shutdown

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

# deploy/start says in its own words what running as root means.
warnings.filterwarnings("ignore", message="You're running the worker", category=SecurityWarning)

app = Celery("driftbook")


def configure() -> None:
    from django.conf import settings

    from deploy.timetable import TIMETABLE

    if settings.REDIS_URL:
        transport: dict[str, Any] = {
            "broker_url": settings.REDIS_URL,
            "broker_transport_options": {
                "visibility_timeout": 3600,
                "unacked_restore_throttle": 1,
                "socket_connect_timeout": 2,
            },
        }
    else:
        # No server: messages are files in the data folder.
        folder = settings.DATA_DIR / "messages"
        for name in ("queue", "control"):
            (folder / name).mkdir(parents=True, exist_ok=True)
        transport = {
            "broker_url": "filesystem://",
            "broker_transport_options": {
                "data_folder_in": str(folder / "queue"),
                "data_folder_out": str(folder / "queue"),
                "control_folder": str(folder / "control"),
                "store_processed": False,
            },
        }
    app.conf.update(
        **transport,
        broker_connection_retry_on_startup=True,
        broker_connection_timeout=2,
        task_acks_late=True,
        task_reject_on_worker_lost=True,
        worker_prefetch_multiplier=1,
        worker_hijack_root_logger=False,
        task_ignore_result=True,
        timezone="UTC",
        beat_schedule=TIMETABLE,
        beat_scheduler="deploy.timekeeper:Timekeeper",
        beat_schedule_filename=str(settings.DATA_DIR / "timetable"),
    )


configure()
app.autodiscover_tasks(related_name="jobs")


@setup_logging.connect
def keep_django_logging(**kwargs: Any) -> None:
    """Celery would replace the log settings of the site."""


def send_nudge(job_id: int) -> None:
    """Tell a worker of a job, without waiting for a broker that is away: the sweep tells again."""
    app.send_task("plant.do_job", args=[job_id], retry=False, ignore_result=True)


@worker_ready.connect
def catch_up(**kwargs: Any) -> None:
    """A site that was off at night asks for the night's job as soon as it is on."""
    app.send_task("inspections.ask_for_nightly", retry=False, ignore_result=True)


@worker_ready.connect
def worker_lives(**kwargs: Any) -> None:
    from deploy import life_signs

    life_signs.worker.begin()


@worker_shutdown.connect
def worker_ends(**kwargs: Any) -> None:
    from deploy import life_signs

    life_signs.worker.end()


@beat_init.connect
def timetable_begins(**kwargs: Any) -> None:
    """In this process, and in no other, a message that was sent is a tick of the timetable."""
    after_task_publish.connect(timetable_ticks, weak=False)


def timetable_ticks(**kwargs: Any) -> None:
    from deploy import life_signs

    life_signs.tick()
