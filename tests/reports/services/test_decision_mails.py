"""The manager's daily mail: decisions and no checks; once; nothing on a day with nothing to decide."""

from __future__ import annotations

import datetime as dt

import pytest
from django.contrib.auth.models import Group
from django.core import mail

from inspections.models import Digest
from inspections.services.digests import send_digests
from plant.models import Membership
from reports.services.decision_mails import send_decisions
from reports.services.months import draft_month
from tests import make

NOW = dt.datetime(2026, 11, 20, 5, tzinfo=dt.UTC)  # six in Berlin


@pytest.fixture(autouse=True)
def clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def late(belt_a1):
    device = make.installation(belt_a1, "4")
    make.task(device, make.check_kind("pivot-freedom"), dt.date(2026, 11, 18), closes_on=dt.date(2026, 11, 25))
    return make.task(device, make.check_kind(), dt.date(2026, 9, 20), closes_on=dt.date(2026, 10, 1))


def test_a_manager_reads_what_to_decide_and_a_planner_what_to_do(alder, mona, pat, late):
    assert (send_digests(NOW), send_decisions(NOW)) == (1, 1)
    planner, manager = mail.outbox
    assert (planner.to, manager.to) == (["pat@alder.example"], ["mona@alder.example"])
    assert manager.subject == "Alder Pit, 20 Nov: 1 thing needs a decision"
    html = manager.alternatives[0][0]
    for text in (manager.body, html):
        assert "A-1 device 4 is late by 50 days" in text
        assert "decide that it is not needed" in text
        assert f"http://localhost:8000/checks/{late.pk}/" in text
        assert "Pivot freedom" not in text  # due this week: nothing to decide
    assert "Pivot freedom" in planner.body


def test_the_month_that_waits_is_a_decision(alder, mona, belt_a1):
    report = draft_month(plant=alder, month=dt.date(2026, 10, 1), by=None)
    assert send_decisions(NOW) == 1
    assert "The report of October 2026 waits to be published." in mail.outbox[0].body
    assert f"/months/{report.pk}/" in mail.outbox[0].body


def test_it_goes_out_once_a_day_and_not_before_six(alder, mona, late):
    assert send_decisions(NOW - dt.timedelta(minutes=1)) == 0
    for minutes in (0, 30, 600):
        send_decisions(NOW + dt.timedelta(minutes=minutes))
        send_digests(NOW + dt.timedelta(minutes=minutes))
    assert [each.to for each in mail.outbox] == [["mona@alder.example"]]
    assert send_decisions(NOW + dt.timedelta(days=1)) == 1


def test_nothing_to_decide_no_mail(alder, mona):
    assert send_decisions(NOW) == 0
    assert not Digest.objects.exists()


def test_who_is_planner_too_gets_the_planners_mail_alone(alder, late):
    both = make.person("both", alder, "manager")
    Membership.objects.create(person=both, plant=alder, role=Group.objects.get(name="planner"))
    assert (send_digests(NOW), send_decisions(NOW)) == (1, 0)
