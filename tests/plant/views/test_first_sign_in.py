"""The page of a blank site: makes the first person, then closes for good."""

from __future__ import annotations

import pytest
from django.urls import reverse

from plant.errors import Refused
from plant.models import Membership, Person, Plant
from plant.permissions import ROLES
from plant.services.people import open_site

GIVEN = {
    "username": "kim",
    "email": "",
    "password": "a-long-sentence",
    "password_again": "a-long-sentence",
    "plant_name": "Alder Pit",
    "time_zone": "Europe/Berlin",
}


def test_a_blank_site_leads_to_it(client, db):
    assert client.get("/").url == reverse("first-sign-in")
    assert client.get("/conveyors/").url == reverse("first-sign-in")
    assert client.get(reverse("health-ready")).content == b"ready\n"


def test_the_first_person_holds_every_role_and_is_signed_in(client, db):
    assert client.post(reverse("first-sign-in"), GIVEN).url == reverse("today")
    person = Person.objects.get()
    assert set(Membership.objects.filter(person=person).values_list("role__name", flat=True)) == set(ROLES)
    assert Plant.objects.get().time_zone == "Europe/Berlin"
    assert client.get("/").status_code == 200


def test_it_closes_for_good(client, tess):
    assert client.get(reverse("first-sign-in")).url == reverse("sign-in")
    client.post(reverse("first-sign-in"), GIVEN)
    assert not Person.objects.filter(username="kim").exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"password_again": "another-sentence"}, "The two passwords differ"),
        ({"password": "short", "password_again": "short"}, "at least 10 characters"),
        ({"plant_name": ""}, "This field is required"),
    ],
)
def test_a_mistake_is_named(client, db, change, words):
    answer = client.post(reverse("first-sign-in"), {**GIVEN, **change})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Person.objects.exists()


def test_only_one_of_two_gets_through(db):
    open_site(username="kim", password="a-long-sentence", email="", plant_name="Alder Pit", time_zone="UTC")
    with pytest.raises(Refused, match="has opened this site already"):
        open_site(username="lee", password="a-long-sentence", email="", plant_name="Birch Pit", time_zone="UTC")
