"""What is sent is bounded by its address before it is read."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from plant.models import Person
from tests import make
from tests.two_plants import address_of, addresses, furnish, staff

MB = 1024 * 1024
MULTIPART = "multipart/form-data; boundary=x"
REFUSED = {401, 405, 411, 413}


class Unread:
    """A body that must not be read."""

    def read(self, *args: Any) -> bytes:
        raise AssertionError("the body was read")

    readline = read


def send(client: Client, address: str, **meta: Any) -> Any:
    meta.setdefault("CONTENT_LENGTH", str(200 * MB))
    return client.generic("POST", address, b"", content_type=MULTIPART, **{"wsgi.input": Unread(), **meta})


@pytest.fixture
def every(db):
    """The address of every page, with its view, and somebody who holds all roles."""
    plant = make.plant(name="Alder Pit")
    people = staff(plant, "al")
    rows = furnish(plant, "Al", people)
    found = {name: (address_of(name, route, arguments, rows), view) for name, route, arguments, view in addresses()}
    return found, people["everyone"]


@pytest.mark.parametrize("meta", [{}, {"CONTENT_LENGTH": "", "HTTP_TRANSFER_ENCODING": "chunked"}])
def test_nobody_without_a_sign_in_is_read(every, meta):
    found, _everyone = every
    client = Client(enforce_csrf_checks=True)
    got = {name: send(client, address, **meta).status_code for name, (address, _view) in found.items()}
    assert {name: code for name, code in got.items() if code not in REFUSED} == {}


def test_who_is_signed_in_sends_large_things_to_few_addresses_only(every):
    found, everyone = every
    client = Client(enforce_csrf_checks=True)
    client.force_login(everyone)
    taken = {name for name, (_address, view) in found.items() if hasattr(view, "too_large")}
    for name, (address, view) in found.items():
        refusal = 405 if hasattr(view, "is_before_sign_in") else 413  # those take nothing at all
        if name not in taken:
            assert send(client, address, CONTENT_LENGTH=str(2 * MB)).status_code == refusal, name
        assert send(client, address, CONTENT_LENGTH=str(400 * MB)).status_code == refusal, name
    assert {"import-create", "incident-create", "visit-create", "round-photos", "survey-update"} <= taken
    assert len(taken) < 15


def test_the_page_says_how_much_is_taken_and_leads_back(client, pat, alder):
    client.force_login(pat)
    here = "http://testserver/areas/new/"
    page = send(client, reverse("area-create"), CONTENT_LENGTH=str(3 * MB), HTTP_REFERER=here).content.decode()
    assert "What was sent has 3.0 MB; this address takes 1 MB." in page
    assert f'href="{here}"' in page
    page = send(client, reverse("area-create"), HTTP_REFERER="https://elsewhere.example/x").content.decode()
    assert "elsewhere.example" not in page
    page = send(client, reverse("incident-create"), CONTENT_LENGTH=str(400 * MB)).content.decode()
    assert "The photos have 400.0 MB together; 201 MB are taken at once." in page


def test_a_phone_is_answered_in_json(client, tess, alder):
    client.force_login(tess)
    answer = send(client, reverse("round-entries"))
    assert (answer.status_code, answer.json()["code"]) == (413, "refused")
    answer = send(client, reverse("round-photos"), CONTENT_LENGTH=str(30 * MB))
    assert (answer.status_code, answer.json()["code"]) == (413, "refused")
    assert "a photo may have 20 MB" in answer.json()["message"]


def test_a_phone_whose_sign_in_ran_out_is_asked_to_sign_in_and_loses_no_photo(client, tess):
    """Told that the photo is refused, it would send the entry without it."""
    answer = send(client, reverse("round-photos"), CONTENT_LENGTH=str(4 * MB))
    assert (answer.status_code, answer.json()["code"]) == (401, "sign_in")


@pytest.mark.parametrize("length", ["0" * 30 + str(200 * MB), "9" * 5000, f" {200 * MB} "])
def test_a_length_is_read_however_it_is_written(client, pat, length):
    """Whoever reads the body takes leading zeros for nothing."""
    assert send(client, reverse("sign-in"), CONTENT_LENGTH=length).status_code == 413


def test_what_comes_without_a_length_is_not_taken_for_nothing(client, pat, alder):
    client.force_login(pat)
    answer = send(client, reverse("area-create"), CONTENT_LENGTH="", HTTP_TRANSFER_ENCODING="chunked")
    assert answer.status_code == 411
    assert "came without its length" in answer.content.decode()


def test_text_of_the_usual_length_is_read(client, pat, alder):
    client.force_login(pat)
    answer = client.post(reverse("account"), {"first_name": "x" * 900_000})
    assert answer.status_code == 200
    assert Person.objects.get(pk=pat.pk).first_name == ""
