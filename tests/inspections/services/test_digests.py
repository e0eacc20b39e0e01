"""The daily mail: once a person, plant and day; only with something to say; never lost."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from inspections.models import Action, Digest
from inspections.services.digests import send_digests
from tests import make
from tests.oddities import lines_of, oddities

UTC = dt.UTC
SIX = dt.datetime(2026, 3, 2, 5, 0, tzinfo=UTC)  # 06:00 in Berlin


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(SIX, tick=False):
        yield


@pytest.fixture
def tasks(belt_a1):
    device = make.installation(belt_a1, "4")
    late = make.task(device, make.check_kind(), dt.date(2026, 1, 20), closes_on=dt.date(2026, 1, 27))
    soon = make.task(device, make.check_kind("pivot-freedom"), dt.date(2026, 3, 6))
    make.task(device, make.check_kind("fastener-torque"), dt.date(2026, 6, 6))
    return late, soon


def test_mail_says_what_is_late_due_and_to_be_put_right(alder, pat, tasks):
    late, _soon = tasks
    Action.objects.create(
        plant=alder, installation=late.installation, title="Replace the drive side roller", due_on=dt.date(2026, 3, 4)
    )
    assert send_digests(SIX) == 1
    (sent,) = mail.outbox
    assert sent.to == ["pat@alder.example"]
    assert sent.subject == "Alder Pit, 2 Mar: 1 late, 1 due by 8 Mar, 1 to put right"
    assert "A-1 device 4, Sensor wear: 34 days late (window closed 27 Jan), needs lockout" in sent.body
    assert f"http://localhost:8000/checks/{late.pk}/" in sent.body
    assert "A-1 device 4, Pivot freedom: due 6 Mar, window until 13 Mar, needs lockout" in sent.body
    assert "Replace the drive side roller (by 4 Mar, nobody owns it yet)" in sent.body
    assert "Fastener" not in sent.body
    assert "lockout and permit procedure comes first" in sent.body
    html, kind = sent.alternatives[0]
    assert oddities([*sent.body.splitlines(), *lines_of(html)]) == []
    assert kind == "text/html"
    assert "34 days late" in html
    for text in (sent.body, html):
        assert text.index("lockout and permit procedure comes first") < text.index("A-1")
        assert "The longest is 34 days late." in text


def test_it_goes_out_once(pat, tess, tasks):
    for minutes in (0, 60, 600):
        send_digests(SIX + dt.timedelta(minutes=minutes))
    assert sorted(each.to[0] for each in mail.outbox) == ["pat@alder.example", "tess@alder.example"]
    send_digests(SIX + dt.timedelta(days=1))
    assert len(mail.outbox) == 4


def test_not_before_six_by_the_plants_clock(pat, tasks):
    assert send_digests(SIX - dt.timedelta(minutes=1)) == 0
    assert Digest.objects.count() == 0


def test_not_to_those_who_do_not_want_it_or_have_no_address(alder, tasks, otto, stranger):
    make.person("quiet", alder, "planner", wants_digest=False)
    gone = make.person("gone", alder, "planner")
    gone.is_active = False
    gone.save()
    mute = make.person("mute", alder, "planner")
    mute.email = ""
    mute.save()
    assert send_digests(SIX) == 0


def test_nothing_to_say_no_mail(alder, pat):
    assert send_digests(SIX) == 0
    assert Digest.objects.count() == 0


def test_technician_reads_of_own_actions_only(alder, tess, pat, belt_a1):
    device = make.installation(belt_a1, "4")
    for owner, title in ((tess, "Grease the pivot"), (None, "Order rollers")):
        Action.objects.create(plant=alder, installation=device, title=title, owner=owner, due_on=dt.date(2026, 3, 4))
    send_digests(SIX)
    told = {each.to[0]: each.body for each in mail.outbox}
    assert "Grease the pivot" in told["tess@alder.example"]
    assert "Order rollers" not in told["tess@alder.example"]
    assert "Order rollers" in told["pat@alder.example"]


def test_claim_of_a_run_that_died_is_taken_up_an_hour_later(alder, pat, tasks):
    Digest.objects.create(person=pat, plant=alder, day=dt.date(2026, 3, 2), claimed_at=SIX)
    assert send_digests(SIX + dt.timedelta(minutes=59)) == 0
    assert send_digests(SIX + dt.timedelta(minutes=61)) == 1
    assert send_digests(SIX + dt.timedelta(minutes=200)) == 0


def test_a_mail_that_cannot_be_sent_stops_no_other_and_is_sent_later(pat, tess, tasks, monkeypatch):
    send = EmailBackend.send_messages

    def refuse(self, messages):
        if "pat@alder.example" in messages[0].to:
            raise OSError("mailbox unavailable")
        return send(self, messages)

    with monkeypatch.context() as patch:
        patch.setattr(EmailBackend, "send_messages", refuse)
        assert send_digests(SIX) == 1
    assert send_digests(SIX + dt.timedelta(minutes=65)) == 1
    assert [each.to[0] for each in mail.outbox] == ["tess@alder.example", "pat@alder.example"]


def test_number_of_queries_does_not_grow_with_the_checks(alder, belt_a1, pat, tess, django_assert_max_num_queries):
    for n in range(30):
        device = make.installation(belt_a1, str(n), chainage_m=10.0 + n)
        make.task(device, make.check_kind(), dt.date(2026, 1, 20))
    with django_assert_max_num_queries(22):
        assert send_digests(SIX) == 2
    assert "All of them: http://localhost:8000/checks/?state=late" in mail.outbox[0].body
