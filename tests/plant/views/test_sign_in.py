"""Guessing is slow, and nobody is locked out by somebody else's wrong tries."""

from __future__ import annotations

import datetime as dt

import pytest
from axes.models import AccessAttempt
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone

from plant.models import Person
from plant.services.sign_ins import give_first_password
from plant.views.sign_in import COOKIE, client_address

SIGN_IN, PASSWORD = "/sign-in/", "pass-word-1"
OFFICE, ELSEWHERE = "10.0.0.7", "203.0.113.9"


@pytest.fixture(autouse=True)
def counting(settings):
    settings.AXES_ENABLED = True


def tries(client, name, password="wrong", at=OFFICE, **meta):
    return client.post(SIGN_IN, {"username": name, "password": password}, REMOTE_ADDR=at, **meta).status_code


def test_eight_wrong_tries_under_one_name_have_to_wait(tess):
    client = Client()
    assert [tries(client, "tess") for _n in range(8)] == [200] * 7 + [429]
    assert tries(client, "tess", PASSWORD) == 429
    page = client.post(SIGN_IN, {"username": "tess", "password": PASSWORD}, REMOTE_ADDR=OFFICE).content.decode()
    assert "ask a planner of your plant for a new first password" in page
    AccessAttempt.objects.update(attempt_time=timezone.now() - dt.timedelta(minutes=16))
    assert tries(client, "tess", PASSWORD) == 302


def test_a_browser_that_the_person_used_before_is_not_locked_by_others(tess):
    mine, stranger = Client(), Client()
    assert tries(mine, "tess", PASSWORD) == 302
    mine.post(reverse("sign-out"))
    for _n in range(9):
        tries(stranger, "tess")
    assert tries(stranger, "tess", PASSWORD) == 429
    # From the same network, behind the same proxy.
    assert tries(mine, "tess", PASSWORD) == 302


def test_a_known_browser_may_not_guess_for_ever_either(tess):
    mine = Client()
    assert tries(mine, "tess", PASSWORD) == 302
    mine.post(reverse("sign-out"))
    assert COOKIE in mine.cookies
    assert [tries(mine, "tess") for _n in range(8)] == [200] * 7 + [429]
    assert tries(mine, "tess", PASSWORD) == 429
    # Nor does that lock the person out of another one.
    assert tries(Client(), "tess", PASSWORD) == 302


def test_a_known_browser_is_known_for_those_who_signed_in_there_alone(tess, mona):
    theirs = Client()
    assert tries(theirs, "tess", PASSWORD) == 302
    theirs.post(reverse("sign-out"))
    for _n in range(8):
        tries(theirs, "mona")
    assert tries(theirs, "mona", PASSWORD) == 429
    assert tries(theirs, "tess", PASSWORD) == 302


def test_a_made_up_cookie_or_name_of_a_browser_makes_nobody_known(tess, settings):
    settings.WRONG_TRIES_OF_A_NETWORK = 10
    client = Client()
    client.cookies[COOKIE] = f"abc:{tess.pk}:forged"
    for n in range(10):
        tries(client, f"name-{n}", HTTP_USER_AGENT="known browser abc")
    assert tries(client, "tess", PASSWORD) == 429


def test_one_network_that_tries_many_names_has_to_wait(tess, settings):
    settings.WRONG_TRIES_OF_A_NETWORK = 12
    guesser = Client()
    answers = [tries(Client(), f"name-{n}") for n in range(13)]
    assert answers == [200] * 11 + [429] * 2
    assert tries(guesser, "tess", PASSWORD) == 429
    assert tries(Client(), "tess", PASSWORD, at=ELSEWHERE) == 302


def test_a_network_that_has_to_wait_keeps_no_known_browser_out(tess, settings):
    settings.WRONG_TRIES_OF_A_NETWORK = 12
    mine = Client()
    tries(mine, "tess", PASSWORD)
    mine.post(reverse("sign-out"))
    for n in range(13):
        tries(Client(), f"name-{n}")
    assert tries(mine, "tess", PASSWORD) == 302


def test_one_good_sign_in_does_not_wipe_out_what_the_network_did(tess, mona, settings):
    settings.WRONG_TRIES_OF_A_NETWORK = 12
    for n in range(11):
        tries(Client(), f"name-{n}")
    assert tries(Client(), "mona", PASSWORD) == 302
    tries(Client(), "name-11")
    assert tries(Client(), "tess", PASSWORD) == 429


def test_behind_a_proxy_people_are_told_apart(tess, mona, settings):
    settings.TRUSTED_PROXIES = 1
    for _n in range(9):
        tries(Client(), "tess", at="127.0.0.1", HTTP_X_FORWARDED_FOR=ELSEWHERE)
    assert tries(Client(), "tess", PASSWORD, at="127.0.0.1", HTTP_X_FORWARDED_FOR=ELSEWHERE) == 429
    assert tries(Client(), "tess", PASSWORD, at="127.0.0.1", HTTP_X_FORWARDED_FOR=OFFICE) == 302


def test_a_proxy_that_writes_the_port_tells_people_apart(tess, settings):
    """Each connection has a port of its own; the tries are those of one address all the same."""
    settings.TRUSTED_PROXIES = 1
    for n in range(9):
        tries(Client(), "tess", at="127.0.0.1", HTTP_X_FORWARDED_FOR=f"{ELSEWHERE}:{50_000 + n}")
    assert tries(Client(), "tess", PASSWORD, at="127.0.0.1", HTTP_X_FORWARDED_FOR=f"{ELSEWHERE}:51000") == 429
    assert tries(Client(), "tess", PASSWORD, at="127.0.0.1", HTTP_X_FORWARDED_FOR=f"{OFFICE}:51000") == 302


def test_a_new_first_password_ends_the_waiting(alder, pat, tess):
    client = Client()
    for _n in range(9):
        tries(client, "tess")
    password = give_first_password(person=tess, plant=alder, by=pat)
    assert tries(client, "tess", password) == 302


@pytest.mark.parametrize(
    ("proxies", "remote", "passed", "address"),
    [
        (0, "198.51.100.4", "1.2.3.4", "198.51.100.4"),
        (1, "127.0.0.1", "1.2.3.4", "1.2.3.4"),
        (1, "127.0.0.1", "9.9.9.9, 1.2.3.4", "1.2.3.4"),
        (2, "127.0.0.1", "9.9.9.9, 1.2.3.4, 10.0.0.2", "1.2.3.4"),
        (2, "127.0.0.1", "1.2.3.4", "1.2.3.4"),
        (1, "127.0.0.1", "", "127.0.0.1"),
        (1, "127.0.0.1", "unknown", "0.0.0.0"),
        (0, "", "", "0.0.0.0"),
        (1, "127.0.0.1", "1.2.3.4:50123", "1.2.3.4"),
        (1, "127.0.0.1", "9.9.9.9:1, 1.2.3.4:50123", "1.2.3.4"),
        (2, "127.0.0.1", "[2001:db8:1:2::9]:443, 10.0.0.2:80", "2001:db8:1:2::"),
        (1, "127.0.0.1", "[2001:db8:1:2:3:4:5:6]:50123", "2001:db8:1:2::"),
        (1, "127.0.0.1", "[2001:db8:1:2:3:4:5:6]", "2001:db8:1:2::"),
        (1, "127.0.0.1", "[::ffff:198.51.100.4]:443", "198.51.100.4"),
        (0, "198.51.100.4:50123", "", "198.51.100.4"),
        (1, "127.0.0.1", "1.2.3.4:port", "0.0.0.0"),
        (1, "127.0.0.1", "1.2.3.4:99999", "0.0.0.0"),
        (1, "127.0.0.1", "9.9.9.9@1.2.3.4:80", "0.0.0.0"),
        (1, "127.0.0.1", "[2001:db8::1", "0.0.0.0"),
        (1, "127.0.0.1", "2001:db8::1]:80", "0.0.0.0"),
        (1, "127.0.0.1", "1.2.3.4/5:80", "0.0.0.0"),
        (1, "127.0.0.1", ", ,", "127.0.0.1"),
        (1, "127.0.0.1", "fe80::1%eth0", "fe80::"),
        (0, "::ffff:198.51.100.4", "", "198.51.100.4"),
        (0, "2001:db8:1:2:aaaa::1", "", "2001:db8:1:2::"),
        (0, "2001:db8:1:2:bbbb::9", "", "2001:db8:1:2::"),
    ],
)
def test_the_address_is_one_that_the_sender_cannot_choose(settings, proxies, remote, passed, address):
    settings.TRUSTED_PROXIES = proxies
    meta = {"REMOTE_ADDR": remote} | ({"HTTP_X_FORWARDED_FOR": passed} if passed else {})
    assert client_address(RequestFactory().get("/", **meta)) == address


def first_password_of(alder, pat, tess):
    return give_first_password(person=tess, plant=alder, by=pat)


def test_a_first_password_is_changed_before_anything_else(alder, pat, tess):
    client, first = Client(), first_password_of(alder, pat, tess)
    assert client.post(SIGN_IN, {"username": "tess", "password": first}, follow=True).redirect_chain[-1][0] == (
        reverse("password")
    )
    for address in ("/", "/conveyors/", "/account/", "/incidents/new/"):
        assert client.get(address)["Location"] == reverse("password"), address
    page = client.get(reverse("password")).content.decode()
    assert "Choose one of your own" in page
    same = {"old_password": first, "new_password1": first, "new_password2": first}
    assert "This is the first password" in client.post(reverse("password"), same).content.decode()
    own = {"old_password": first, "new_password1": "nine-belts-turn", "new_password2": "nine-belts-turn"}
    assert client.post(reverse("password"), own)["Location"] == "/"
    assert client.get("/").status_code == 200
    assert not Person.objects.get(pk=tess.pk).must_change_password


def test_a_phone_with_a_first_password_is_sent_to_the_site_and_keeps_its_entries(alder, pat, tess):
    client = Client()
    first_password_of(alder, pat, tess)
    client.force_login(Person.objects.get(pk=tess.pk))
    for address in (reverse("round-entries"), reverse("round-photos")):
        answer = client.post(address, "{}", content_type="application/json")
        assert (answer.status_code, answer.json()["code"]) == (403, "sign_in"), address


def test_who_signed_in_with_a_first_password_may_leave(alder, pat, tess):
    client = Client()
    first_password_of(alder, pat, tess)
    client.force_login(Person.objects.get(pk=tess.pk))
    assert client.post(reverse("sign-out"))["Location"] == SIGN_IN


def test_a_planner_gives_a_new_first_password_and_sees_it_once(client, alder, pat, tess):
    client.force_login(pat)
    page = client.get(reverse("person-sign-in", args=[tess.pk])).content.decode()
    assert "Give a new first password" in page
    client.post(reverse("person-first-password", args=[tess.pk]))
    page = client.get(reverse("people-list")).content.decode()
    assert "First password, shown this once:" in page
    assert "gave a new first password: tess" in page
    assert "First password, shown this once:" not in client.get(reverse("people-list")).content.decode()


def test_a_planner_switches_a_sign_in_off_and_on(client, alder, pat, tess):
    client.force_login(pat)
    address, page = reverse("person-switch", args=[tess.pk]), reverse("person-sign-in", args=[tess.pk])
    assert "can no longer sign in" in client.post(address, {"wanted": "off"}, follow=True).content.decode()
    assert "Switched off" in client.get(page).content.decode()
    assert "can sign in again" in client.post(address, {"wanted": "on"}, follow=True).content.decode()
    assert "Choose whether" in client.post(address, {}, follow=True).content.decode()


def test_what_a_planner_may_not_do_is_said_and_not_offered(client, alder, pat):
    client.force_login(pat)
    page = client.get(reverse("person-sign-in", args=[pat.pk])).content.decode()
    assert "This is your own sign-in" in page
    assert "Switch it off" not in page
    assert "This is your own" in client.post(reverse("person-sign-out", args=[pat.pk]), follow=True).content.decode()


def test_nobody_of_another_plant_is_found(client, alder, pat, otto):
    client.force_login(pat)
    assert client.get(reverse("person-sign-in", args=[otto.pk])).status_code == 404
    assert client.post(reverse("person-first-password", args=[otto.pk])).status_code == 404
