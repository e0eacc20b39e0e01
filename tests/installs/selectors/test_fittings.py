"""Which jobs a person sees, and that asking for them is cheap on every data base."""

from __future__ import annotations

import datetime as dt

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from installs.selectors.fittings import jobs_of_person
from tests import make


def test_a_job_of_a_crew_of_three_is_asked_for_once_and_without_telling_rows_apart(alder, tess, pat, erin, belt_a1):
    """PostgreSQL takes a tenth of a second to plan how rows of some 250 columns differ, and the page is the first."""
    job = make.fitting(belt_a1, make.device_model(alder))
    job.crew.set([tess, pat, erin])
    type(job).objects.filter(pk=job.pk).update(planned_at=timezone.now() + dt.timedelta(hours=5))
    with CaptureQueriesContext(connection) as queries:
        assert jobs_of_person(tess, alder, timezone.now()) == [job]
    assert "DISTINCT" not in queries[0]["sql"]


def test_a_job_of_others_is_seen_once_it_is_under_way(alder, tess, pat, belt_a1):
    job = make.fitting(belt_a1, make.device_model(alder))
    job.crew.set([pat])
    jobs = type(job).objects.filter(pk=job.pk)
    jobs.update(planned_at=timezone.now(), begun_at=None)
    assert jobs_of_person(tess, alder, timezone.now()) == []
    jobs.update(begun_at=timezone.now())
    assert jobs_of_person(tess, alder, timezone.now()) == [job]
