from __future__ import annotations

import datetime as dt

from axes.models import AccessAttempt

from plant.selectors.health import WAITS_AFTER_WRONG, n_slowed

NOW = dt.datetime(2026, 11, 25, 9, 0, tzinfo=dt.UTC)


def test_somebody_who_has_to_wait_is_counted_whatever_browsers_they_tried_with(db):
    """The lock is on a name and where it is tried from; axes counts each browser by itself."""
    known = {"username": "pat", "ip_address": "10.0.0.7", "failures_since_start": 4}
    for browser in ("one", "another"):
        AccessAttempt.objects.create(**known, user_agent=browser)
    AccessAttempt.objects.create(**{**known, "username": "tess"}, user_agent="one")
    AccessAttempt.objects.update(attempt_time=NOW)
    assert n_slowed(NOW) == 1
    assert n_slowed(NOW + WAITS_AFTER_WRONG + dt.timedelta(seconds=1)) == 0
