"""The timetable's keeper of time: a clock that was set back does not silence it until the old time comes again."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta
from typing import Any

from celery.beat import PersistentScheduler

log = logging.getLogger(__name__)
# Clocks are corrected by parts of a second all day long.
SET_BACK = timedelta(seconds=2)


class Timekeeper(PersistentScheduler):  # type: ignore[misc]
    """What ran at a moment that is still to come counts as run now; the order of what is next is made anew."""

    def tick(self, *args: Any, **kwargs: Any) -> float:
        now = datetime.now(UTC)
        ahead = [entry for entry in self.schedule.values() if entry.last_run_at and entry.last_run_at > now + SET_BACK]
        if ahead:
            log.warning("The clock was set back; the timetable goes on by the clock as it is now.")
            for entry in ahead:
                entry.last_run_at = now
            self._heap = None
        wait_s: float = super().tick(*args, **kwargs)
        return wait_s
