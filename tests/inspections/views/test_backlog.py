"""The backlog: each figure is the number of rows of the list that it leads to."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import time_machine
from django.utils import timezone

from inspections.models import CouldNotDo, Deferral, OverdueSpell
from inspections.words.backlog import figure_words
from tests import make

# 9:00 in Berlin.
NOW = dt.datetime(2026, 11, 20, 8, tzinfo=dt.UTC)
TODAY = dt.date(2026, 11, 20)


@pytest.fixture(autouse=True)
def at_nine():
    with time_machine.travel(NOW, tick=False):
        yield


def late(belt, number, days):
    """A check whose window closed so many days ago."""
    device = make.installation(belt, str(number), chainage_m=20.0 * number)
    return make.task(device, make.check_kind("sensor-wear"), TODAY - dt.timedelta(days=days + 7))


@pytest.fixture
def rows(alder, belt_a1, tess, pat):
    """Late by 1, 7, 8, 30 and 31 days: running belt, put off, a window that was missed, and two without a window."""
    windowed = make.conveyor(alder, tag="A-2")
    windowed.area = make.area(alder, "B", "Screening")
    windowed.save()
    tasks = [late(belt_a1, n, days) for n, days in enumerate((1, 7, 30, 31), 1)]
    tasks.append(late(windowed, 5, 8))
    make.outage(windowed, NOW - dt.timedelta(days=10), 4)
    CouldNotDo.objects.create(task=tasks[0], tried_at=NOW - dt.timedelta(days=1), reason="belt_running")
    Deferral.objects.create(
        task=tasks[1],
        closes_on_before=TODAY - dt.timedelta(days=20),
        closes_on=tasks[1].closes_on,
        reason="Wrench away for calibration",
        approved_by=pat,
    )
    OverdueSpell.objects.create(
        task=tasks[3], began_at=NOW - dt.timedelta(days=31), escalated_at=NOW - dt.timedelta(days=24)
    )
    return tasks


def test_each_figure_leads_to_as_many_rows(client, pat, rows):
    client.force_login(pat)
    found = client.get("/backlog/").context["backlog"]
    assert [each.n for each in found.by_age] == [2, 2, 1]
    assert [each.n for each in found.by_area] == [4, 1]
    assert {figure_words(each): each.n for each in found.by_reason} == {
        "belt running": 1,
        "put off": 1,
        "no outage window": 2,
        "no reason in the book": 1,
    }
    for each in (*found.by_age, *found.by_area, *found.by_reason):
        assert len(client.get(each.url).context["table"].rows) == each.n, each


def test_deferrals_and_what_was_told_again_are_named_with_reason_and_approver(client, mona, rows):
    client.force_login(mona)
    text = re.sub(r"\s+", " ", client.get("/backlog/").content.decode())
    assert "Wrench away for calibration" in text
    assert "5 checks are late, the longest by 31 days." in text
    assert "1 open check was put off, 1 times in all." in text
    assert "reminded again 27 Oct" in text


def test_a_withdrawn_deferral_and_a_closed_check_do_not_count(client, pat, rows):
    rows[1].closed_at = timezone.now()
    rows[1].outcome = "done"
    rows[1].save()
    client.force_login(pat)
    found = client.get("/backlog/").context["backlog"]
    assert (found.n_late, found.n_deferrals) == (4, 0)


def test_the_weeks_hold_the_work_and_the_shifts(client, pat, tess, alder, belt_a1):
    kind = make.check_kind("sensor-wear")
    device = make.installation(belt_a1, "1")
    plan = make.check_plan(device.device.device_model, kind, interval_days=14, interval_h=None)
    make.task(device, kind, TODAY + dt.timedelta(days=3), check_plan=plan)
    make.shift(tess, alder, NOW + dt.timedelta(days=4), break_starts_at=NOW + dt.timedelta(days=4, hours=3))
    client.force_login(pat)
    weeks = client.get("/backlog/").context["backlog"].weeks
    assert [each.week.n for each in weeks] == [0, 1] * 6
    assert weeks[1].week.locked_out_min == kind.minutes
    assert [each.shift_min for each in weeks[:3]] == [0, 450, 0]


def test_the_number_of_queries_does_not_grow(client, pat, belt_a1, rows, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.force_login(pat)
    client.get("/backlog/")
    with CaptureQueriesContext(connection) as few:
        client.get("/backlog/")
    for n in range(11, 16):
        late(belt_a1, n - 5, 12)
    with django_assert_num_queries(len(few)):
        client.get("/backlog/")


@pytest.mark.parametrize(("who", "status"), [("pat", 200), ("mona", 200), ("stranger", 403)])
def test_who_may_look(request, client, who, status):
    client.force_login(request.getfixturevalue(who))
    assert client.get("/backlog/").status_code == status
