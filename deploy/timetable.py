"""What runs by itself, and when (UTC). Every entry is a nudge or a sweep that may run twice unharmed."""

from datetime import timedelta

TIMETABLE = {
    "pick up jobs that nobody holds": {"task": "plant.sweep_jobs", "schedule": timedelta(seconds=20)},
}
