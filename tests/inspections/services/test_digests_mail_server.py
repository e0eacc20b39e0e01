"""The daily mails and a mail server that refuses, hangs up, is silent or away: each goes once, none is lost."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import pytest
import time_machine

from inspections.models import Digest
from inspections.services.digests import send_digests
from plant.calc.health import HealthRule, site_health
from plant.models import Tally
from plant.selectors.health import site_facts
from tests import make
from tests.mail_server import MailServer, Mood

UTC = dt.UTC
SIX = dt.datetime(2026, 3, 2, 5, 0, tzinfo=UTC)  # 06:00 in Berlin
HALF_HOUR = dt.timedelta(minutes=30)
N_PEOPLE = 6


@pytest.fixture
def server(settings):
    server = MailServer()
    settings.EMAIL_BACKEND = "deploy.mail.SmtpBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", server.port
    yield server
    server.end()


@pytest.fixture
def people(alder, belt_a1):
    """Six planners with a late check to read of."""
    make.task(make.installation(belt_a1, "4"), make.check_kind(), dt.date(2026, 1, 20), closes_on=dt.date(2026, 1, 27))
    return [make.person(f"p{n}", alder, "planner") for n in range(N_PEOPLE)]


def try_at(now):
    """What the timetable does each half hour; a server that is away ends a run, and the next one comes."""
    with time_machine.travel(now, tick=False):
        try:
            return send_digests(now)
        except OSError:
            return 0


def mail_line(now):
    [line] = [each for each in site_health(site_facts(now)) if each.part.name == "MAIL"]
    return line.reason


def received(server):
    return Counter(each["To"] for each in server.mails)


def each_once(people):
    return Counter(f"{each.username}@alder.example" for each in people)


@pytest.mark.parametrize(
    "mood", [Mood.BUSY_AT_THE_DOOR, Mood.REFUSES_RECIPIENT, Mood.BUSY_FOR_RECIPIENT, Mood.HANGS_UP_IN_DATA]
)
def test_a_server_that_takes_nothing_gets_each_mail_once_when_it_does(server, people, mood):
    server.mood = mood
    for n in range(9):  # half a morning
        assert try_at(SIX + n * HALF_HOUR) == 0
    now = SIX + 9 * HALF_HOUR
    assert mail_line(now).rule == HealthRule.MAIL_REFUSED
    assert mail_line(now).values["n"] == (0 if mood == Mood.BUSY_AT_THE_DOOR else N_PEOPLE)  # at the door none is tried
    assert server.mails == []
    server.mood = Mood.TAKES
    for n in range(9, 16):
        try_at(SIX + n * HALF_HOUR)
    assert received(server) == each_once(people)
    assert Digest.objects.filter(sent_at__isnull=False).count() == N_PEOPLE
    assert mail_line(SIX + 16 * HALF_HOUR).rule == HealthRule.MAIL_SENT


def test_a_server_that_is_away_is_waited_for(server, people):
    server.stop()
    for n in range(3):
        assert try_at(SIX + n * HALF_HOUR) == 0
    assert "refused" in mail_line(SIX + 2 * HALF_HOUR).values["said"].lower()
    server.start()
    assert try_at(SIX + 3 * HALF_HOUR) == N_PEOPLE
    assert received(server) == each_once(people)


def test_after_one_connection_that_was_lost_the_others_go_at_once(server, people, monkeypatch):
    """The first mail is hung up on; the five behind it need not wait for another run."""
    take = server.take

    def once(lines):
        server.mood = Mood.HANGS_UP_IN_DATA if server.n_connections == 1 else Mood.TAKES
        return take(lines)

    monkeypatch.setattr(server, "take", once)
    assert try_at(SIX) == N_PEOPLE - 1
    for n in range(1, 4):
        try_at(SIX + n * HALF_HOUR)
    assert received(server) == each_once(people)


def test_a_server_that_is_lost_again_and_again_is_left_alone_until_the_next_run(server, people):
    server.mood = Mood.HANGS_UP_IN_DATA
    try_at(SIX)
    assert server.n_connections == 3
    assert Tally.objects.get(what="mail", outcome="refused").n >= 3


def test_a_silent_server_holds_nobody_up_for_long(server, people, settings):
    settings.EMAIL_TIMEOUT = 1
    server.mood = Mood.IS_SILENT
    assert try_at(SIX) == 0
    assert "timed out" in mail_line(SIX).values["said"]
    server.mood = Mood.TAKES
    assert try_at(SIX + HALF_HOUR) == N_PEOPLE


def test_what_the_server_had_and_did_not_say_is_sent_again_under_the_same_name(server, people):
    """Nobody can know whether it was taken; by its Message-ID a mail program takes the two for one."""
    server.mood = Mood.HANGS_UP_AFTER_DATA
    try_at(SIX)
    server.mood = Mood.TAKES
    for n in range(1, 5):
        try_at(SIX + n * HALF_HOUR)
    names = {}
    for each in server.mails:
        names.setdefault(each["To"], set()).add(each["Message-ID"])
    assert set(names) == set(each_once(people))
    assert all(len(each) == 1 for each in names.values())
    assert len(set().union(*names.values())) == N_PEOPLE
    assert max(received(server).values()) == 2
