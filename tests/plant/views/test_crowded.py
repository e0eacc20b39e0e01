"""What is asked for beyond what a process can serve: it waits within bounds, or is told when to come back."""

from __future__ import annotations

import threading

import pytest
from django.http import HttpResponse
from django.test import RequestFactory

from plant import middleware
from plant.middleware import CrowdMiddleware
from plant.models import Tally
from plant.views import crowded
from plant.views.crowded import Gate, turned_away
from tests.servers import GIVE_UP_AFTER_S

HTML = {"HTTP_ACCEPT": "text/html,*/*"}


def wait_until(holds):
    """Gives a condition of other threads its time."""
    pause = threading.Event()
    for _n in range(GIVE_UP_AFTER_S * 100):
        if holds():
            return
        pause.wait(0.01)
    raise AssertionError("it did not come to that")


class Visitor(threading.Thread):
    """Somebody who goes through the gate and stays within until they may leave."""

    def __init__(self, gate, came):
        super().__init__(daemon=True)
        self.gate, self.came, self.may_leave, self.had_place = gate, came, threading.Event(), None
        self.start()

    def run(self):
        with self.gate.place() as self.had_place:
            self.came.append(self)
            if self.had_place:
                self.may_leave.wait(GIVE_UP_AFTER_S)


def test_some_are_let_in_some_wait_in_their_order_and_the_rest_goes_at_once():
    gate, came = Gate(at_once=2, most_waiting=3, longest_wait_s=GIVE_UP_AFTER_S), []
    within = [Visitor(gate, came) for _n in range(2)]
    wait_until(lambda: len(came) == 2)
    waiting = []
    for n in range(3):
        waiting.append(Visitor(gate, came))
        wait_until(lambda n=n: gate.n_waiting == n + 1)
    for _twice in range(2):
        with gate.place() as has_place:  # it hangs here where the number that wait has no bound
            assert not has_place
    within[1].may_leave.set()
    for each in waiting:
        wait_until(lambda: len(came) > 2)
        assert came[-1] is each
        assert each.had_place
        came.pop()
        each.may_leave.set()
    within[0].may_leave.set()
    wait_until(lambda: gate.n_waiting == 0)
    with gate.place() as has_place:
        assert has_place
    assert gate.n_turned_away == 2


def test_whoever_waited_too_long_goes():
    gate, came = Gate(at_once=1, most_waiting=1, longest_wait_s=0.01), []
    first = Visitor(gate, came)
    wait_until(lambda: len(came) == 1)
    with gate.place() as has_place:
        assert not has_place
    assert gate.n_waiting == 0
    first.may_leave.set()


def test_a_place_is_free_again_after_a_page_that_failed():
    gate = Gate(at_once=1, most_waiting=0, longest_wait_s=1)
    with pytest.raises(ZeroDivisionError), gate.place():
        raise ZeroDivisionError
    with gate.place() as has_place:
        assert has_place


# None of these reaches for the data base: without the fixture, a query would fail.
def test_a_page_says_that_it_tries_again_by_itself():
    answer = turned_away(RequestFactory().get("/incidents/?q=<b>", **HTML))
    page = " ".join(answer.content.decode().split())
    assert answer.status_code == 429
    seconds = int(answer["Retry-After"])
    assert 1 <= seconds <= 60
    assert f'<meta http-equiv="refresh" content="{seconds}">' in page
    assert "Nothing is lost." in page
    assert 'href="/incidents/?q=%3Cb%3E"' in page


def test_a_form_says_that_it_may_be_sent_once_more():
    answer = turned_away(RequestFactory().post("/incidents/new/", {"note": "torn"}, **HTML))
    page = " ".join(answer.content.decode().split())
    assert answer.status_code == 429
    assert "was not read, and nothing of it was saved" in page
    assert "refresh" not in page, "a page that loads itself would lose what was typed"


@pytest.mark.parametrize("address", ["/round/api/who/", "/round/api/entries/"])
def test_the_phone_is_told_in_its_own_way(address):
    answer = turned_away(RequestFactory().post(address, b"{}", content_type="application/json"))
    assert (answer.status_code, answer["Content-Type"]) == (429, "application/json")
    assert b'"code": "busy"' in answer.content
    assert int(answer["Retry-After"]) > 0


@pytest.mark.parametrize("headers", [{"HTTP_HX_REQUEST": "true", **HTML}, {"HTTP_ACCEPT": "image/*"}])
def test_what_a_page_asks_for_by_itself_gets_one_line(headers):
    answer = turned_away(RequestFactory().get("/nowhere/", **headers))
    assert answer.status_code == 429
    assert answer["Content-Type"].startswith("text/plain")


@pytest.fixture
def full(client, monkeypatch):
    """A site with no place at all."""
    monkeypatch.setattr(Gate, "_enter", lambda gate: False)
    return client


@pytest.mark.parametrize("address", ["/health/live", "/health/ready", "/static/plant/driftbook.css"])
def test_who_watches_the_site_and_its_files_need_no_place(full, db, settings, address):
    settings.WHITENOISE_USE_FINDERS = True
    answer = full.get(address)
    assert answer.status_code == 200
    answer.close()
    refused = full.get("/")
    assert refused.status_code == 429
    assert refused["Cache-Control"] == "no-store, private"


@pytest.mark.parametrize("fails", [False, True])
def test_they_are_counted_by_whoever_has_a_place(db, monkeypatch, fails):
    monkeypatch.setattr(crowded, "COUNTED_EVERY_S", 0.0)
    if fails:
        monkeypatch.setattr(crowded, "tally", lambda *args, **kwargs: 1 / 0)
    site = CrowdMiddleware(lambda request: HttpResponse("well"))
    site.gate = Gate(at_once=1, most_waiting=0, longest_wait_s=1)
    with site.gate.place():
        assert [site(RequestFactory().get("/")).status_code for _n in range(3)] == [429] * 3
    for _twice in range(2):
        assert site(RequestFactory().get("/")).status_code == 200
    assert list(Tally.objects.values_list("what", "outcome", "n")) == ([] if fails else [("page", "turned_away", 3)])


def test_a_busy_site_has_no_line_in_the_log_for_each_that_is_turned_away(full, caplog):
    assert [full.get("/").status_code for _n in range(5)] == [429] * 5
    assert caplog.records == []


def test_a_busy_site_writes_seldom(monkeypatch):
    written = []
    monkeypatch.setattr(middleware, "note_turned_away", written.append)
    site = CrowdMiddleware(lambda request: HttpResponse("well"))
    site.gate = Gate(at_once=1, most_waiting=0, longest_wait_s=1)
    site.gate.n_turned_away = 5
    for _n in range(20):
        site(RequestFactory().get("/"))
    assert written == []
    site.gate.counted_at -= crowded.COUNTED_EVERY_S
    for _n in range(20):
        site(RequestFactory().get("/"))
    assert written == [5]
