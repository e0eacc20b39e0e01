"""A month as it is kept: a page of a draft computes nothing, says of when it is, and follows the book."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from plant.models import Job, KeptResult
from plant.services import jobs
from plant.services.clearing import clear_old
from plant.services.kept import keep_up, make_all_kept
from reports.services.kept_months import MONTH, part_of, true_month
from reports.services.months import draft_month, publish_month
from tests import make
from tests.pages import in_one_line

OCTOBER = dt.date(2026, 10, 1)
DAY = dt.timedelta(days=1)
ANEW = "it is being computed anew"


def at(month, day, hour=12):
    return dt.datetime(2026, month, day, hour, tzinfo=dt.UTC)


@pytest.fixture
def draft(alder, belt_a1, erin, time_machine):
    """The draft of a month with one incident on a belt that ran all of it."""
    time_machine.move_to(dt.datetime(2026, 11, 2, 9, tzinfo=dt.UTC), tick=False)
    make.run_record(belt_a1, at(9, 1, 0), at(11, 1, 0), 1000.0)
    make.incident(belt_a1, at(10, 5), minutes_lost=30, severity="trip")
    return draft_month(plant=alder, month=OCTOBER, by=erin)


@pytest.fixture
def with_worker(monkeypatch):
    """A worker is told of jobs; these are the ones that it was told of."""
    told: list[int] = []
    monkeypatch.setattr(jobs, "_nudge", told.append)
    return told


def page(client, address):
    with CaptureQueriesContext(connection) as asked:
        answer = client.get(address)
    assert answer.status_code == 200
    return in_one_line(answer.text), [each["sql"] for each in asked]


def do_jobs():
    for job in Job.objects.unfinished():
        jobs.do_job(job.pk)


def addresses(report):
    return [report.get_absolute_url(), reverse("month-rows", args=[report.pk, "incidents"])]


def test_a_page_of_a_draft_computes_nothing_and_says_of_when_it_is(alder, draft, erin, client):
    make_all_kept([alder])
    client.force_login(erin)
    for address in addresses(draft):
        words, asked = page(client, address)
        assert "As of 2 Nov 2026, 10:00." in words
        assert ANEW not in words
        assert not [sql for sql in asked if "plant_incident" in sql or "inspections_task" in sql]
        assert len(asked) <= 16


def test_a_change_of_the_book_shows_after_the_job(alder, draft, belt_a1, erin, client, with_worker, time_machine):
    make_all_kept([alder])
    client.force_login(erin)
    make.incident(belt_a1, at(10, 7), minutes_lost=12, severity="trip")
    time_machine.move_to(dt.datetime(2026, 11, 2, 11, tzinfo=dt.UTC), tick=False)
    for address, before in zip(addresses(draft), ("30 min", "1 row."), strict=True):
        words, _asked = page(client, address)
        assert before in words
        assert f"As of 2 Nov 2026, 10:00. The book has changed since: {ANEW}." in words
    assert [job.args for job in Job.objects.unfinished()] == [{"topic": MONTH}]
    do_jobs()
    for address, after in zip(addresses(draft), ("42 min", "2 rows."), strict=True):
        words, _asked = page(client, address)
        assert after in words
        assert "As of 2 Nov 2026, 12:00." in words
        assert ANEW not in words


def test_what_is_printed_or_frozen_is_true_whatever_is_kept(alder, draft, belt_a1, erin, with_worker):
    make_all_kept([alder])
    make.incident(belt_a1, at(10, 7), minutes_lost=12, severity="trip")
    assert len(true_month(alder, OCTOBER)[1]["incidents"]["rows"]) == 2
    make.incident(belt_a1, at(10, 8), minutes_lost=12, severity="trip")
    edition = publish_month(draft, by=erin, version=draft.version)
    assert len(edition.rows["incidents"]["rows"]) == 3


def test_what_became_of_an_edition_is_kept_once_somebody_looked(alder, draft, belt_a1, erin, client, with_worker):
    edition = publish_month(draft, by=erin, version=draft.version)
    client.force_login(erin)
    address = reverse("month-rows", args=[edition.pk, "incidents"])
    assert "Every row reads the same today." in page(client, address)[0]
    assert not [sql for sql in page(client, address)[1] if 'FROM "inspections_task"' in sql]
    make.incident(belt_a1, at(10, 7))
    words, _asked = page(client, address)
    assert "Every row reads the same today." in words
    assert ANEW in words
    part = part_of(OCTOBER, "incidents")
    assert [job.args for job in Job.objects.unfinished()] == [{"topic": MONTH, "part": part}]
    standing = reverse("kept-standing", args=[MONTH, part])
    assert ANEW in client.get(standing).text
    do_jobs()
    assert client.get(standing)["HX-Refresh"] == "true"
    assert "1 row came since and stands below" in page(client, address)[0]
    # Nobody makes it again by itself: whoever looks asks for it.
    make.incident(belt_a1, at(10, 8))
    keep_up(now=timezone.now() + DAY)
    assert not [job for job in Job.objects.unfinished() if job.args.get("part") == part]


def test_the_night_clears_what_somebody_looked_at_and_no_draft(alder, draft, erin, client):
    make_all_kept([alder])
    client.force_login(erin)
    edition = publish_month(draft, by=erin, version=draft.version)
    page(client, reverse("month-rows", args=[edition.pk, "belts"]))
    again = draft_month(plant=alder, month=OCTOBER, by=erin, reason="an incident came late")
    make_all_kept([alder])
    kept = KeptResult.objects.filter(topic=MONTH)
    assert set(kept.values_list("part", flat=True)) == {"2026-10", "2026-10-belts"}
    clear_old(now=timezone.now() + DAY / 2)
    assert kept.count() == 2
    clear_old(now=timezone.now() + 2 * DAY)
    assert set(kept.values_list("part", flat=True)) == {part_of(again.month)}
