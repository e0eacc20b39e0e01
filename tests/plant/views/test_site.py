"""Pages that belong to nobody's topic: choosing a plant, notices."""

from __future__ import annotations

import pytest
from django.urls import reverse

from plant.models import Membership, Notice

pytestmark = pytest.mark.django_db


def test_a_person_of_two_plants_chooses_one(client, pat, alder, other):
    Membership.objects.create(person=pat, plant=other, role=Membership.objects.get(person=pat).role)
    client.force_login(pat)
    assert client.post(reverse("plant-choose"), {"plant": other.pk}).status_code == 302
    assert client.get(reverse("conveyor-list")).context["current_plant"] == other


@pytest.mark.parametrize("asked", ["", "seven", "²", "99999999999999999999", "-1"])
def test_what_is_no_plant_of_the_person_is_not_found(client, pat, stranger, other, asked):
    for person in (pat, stranger):
        client.force_login(person)
        assert client.post(reverse("plant-choose"), {"plant": asked}).status_code == 404
        assert client.post(reverse("plant-choose"), {"plant": other.pk}).status_code == 404


def test_notices_of_a_plant_that_a_person_left_are_not_shown_to_them(client, pat, alder, other):
    for plant in (alder, other):
        Notice.objects.create(person=pat, plant=plant, key=f"told {plant.pk}", text=f"News of {plant}")
    client.force_login(pat)
    page = client.get(reverse("notices"))
    assert "News of Alder Pit" in page.content.decode()
    assert "News of Other Works" not in page.content.decode()
    assert page.context["n_notices"] == 1


def test_an_odd_number_in_the_address_of_a_form_is_passed_over(client, tess, alder):
    client.force_login(tess)
    assert client.get(reverse("incident-create"), {"conveyor": "²"}).status_code == 200
