"""What runs by itself, and when (UTC). Every entry is a nudge or a sweep that may run twice unharmed."""

from datetime import timedelta

from celery.schedules import crontab
from django.conf import settings

TIMETABLE = {
    "pick up jobs that nobody holds": {
        "task": "plant.sweep_jobs",
        "schedule": timedelta(seconds=settings.SWEEP_EVERY_S),
    },
    # Writes in between come together in one job a result.
    "make kept results anew that the book has gone past": {
        "task": "plant.keep_up",
        "schedule": timedelta(seconds=settings.SWEEP_EVERY_S),
    },
    # Each plant's night begins at two by its own clock, so both are asked every hour; zones may be off by minutes.
    "ask for the night's job of each plant": {
        "task": "inspections.ask_for_nightly",
        "schedule": crontab(minute="5,35"),
    },
    "send the daily mails": {"task": "inspections.send_digests", "schedule": crontab(minute="10,40")},
    "send the managers' mails": {"task": "reports.send_decisions", "schedule": crontab(minute="12,42")},
    # A month is drafted on its first day and mailed from the first working day on, by the clock of each plant.
    "draft and send the months": {"task": "reports.draft_and_send_months", "schedule": crontab(minute="20,50")},
    # Asked every hour: a site that was off at night, or whose disk was away, gets it as soon as it can be had.
    "make the backup of the night": {"task": "deploy.back_up_by_night", "schedule": crontab(minute="25")},
    "look backups over again": {"task": "deploy.look_at_backups", "schedule": crontab(minute="55")},
    # Asked every hour as well, and done once a night.
    "clear away what is over": {"task": "plant.clear_old", "schedule": crontab(minute="45")},
    # Devices that begin to fade; once a night is often enough, and a second run asks for nothing twice.
    "watch the rate of each device": {"task": "reports.watch_rates", "schedule": crontab(hour="3", minute="15")},
}
