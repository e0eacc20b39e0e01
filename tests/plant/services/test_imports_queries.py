"""Long files: the number of queries grows with the chunks, not with the rows."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plant.models import Incident, RunRecord
from plant.services import imports, jobs
from tests.plant.services.test_imports import counts, files_of_the_test, send  # noqa: F401

N = 1000
START = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)


def hour(n):
    return f"{START + dt.timedelta(hours=n):%Y-%m-%dT%H:%MZ}"


def file_of(subject, bad_every=0):
    """Rows of a belt, one an hour; every so many one that only the service refuses (its time lies ahead)."""
    is_bad = [bad_every and n % bad_every == bad_every - 1 for n in range(N)]
    if subject == "incidents":
        lines = ["tag,when,note", *(f"A-1,{hour(n + 10**6 * is_bad[n])},row {n}" for n in range(N))]
    else:
        lines = ["tag,from,to,hours"]
        lines += [f"A-1,{hour(n + 10**6 * is_bad[n])},{hour(n + 1 + 10**6 * is_bad[n])},0.5" for n in range(N)]
    return "\n".join(lines) + "\n"


def queries_of(plant, person, subject, text):
    batch = send(plant, person, subject, text)
    job = imports.start_import(batch=batch, by=person)
    with CaptureQueriesContext(connection) as seen:
        jobs.do_job(job.pk)
    batch.refresh_from_db()
    return counts(batch), len(seen)


@pytest.mark.parametrize(("subject", "model"), [("incidents", Incident), ("running_hours", RunRecord)])
def test_a_thousand_rows_take_few_queries_when_they_are_new_and_when_they_come_again(
    alder, pat, belt_a1, subject, model
):
    done, n = queries_of(alder, pat, subject, file_of(subject))
    assert done == (N, 0, 0, 0)
    assert n < 250
    done, n = queries_of(alder, pat, subject, file_of(subject))
    assert done == (0, 0, N, 0)
    assert n < 120
    assert model.objects.count() == N


@pytest.mark.parametrize("subject", ["incidents", "running_hours"])
def test_a_refused_row_in_each_chunk_does_not_slow_down_the_good_ones(alder, pat, belt_a1, subject):
    text = file_of(subject, bad_every=200)
    done, n = queries_of(alder, pat, subject, text)
    assert done == (N - 5, 0, 0, 5)
    assert n < 1000
