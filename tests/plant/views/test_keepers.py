"""The pages on which the keeping of the site is given on and laid down; each act is confirmed first."""

from __future__ import annotations

import pytest
from django.test import Client

from plant.models import KeeperAct, Person
from tests import make


@pytest.fixture
def kay(db):
    return make.person("kay", is_keeper=True)


@pytest.fixture
def client(kay):
    client = Client()
    client.force_login(kay)
    return client


def test_it_is_given_after_a_confirmation(client, kay, tess):
    asked = client.get("/site/keepers/give/", {"username": "TESS"})
    assert "Make tess a keeper of this site?" in asked.content.decode()
    assert not Person.objects.get(pk=tess.pk).is_keeper
    assert client.post("/site/keepers/give/", {"username": "tess"}).url == "/site/keepers/"
    page = client.get("/site/keepers/").content.decode()
    assert "tess keeps this site now." in page
    assert "made tess a keeper" in page


def test_a_name_that_nobody_has_is_said_at_its_box(client):
    for method in (client.get, client.post):
        page = method("/site/keepers/give/", {"username": "tom"})
        assert page.status_code == 422
        assert "Nobody signs in as tom" in page.content.decode()


def test_it_is_laid_down_after_a_confirmation_but_not_by_the_last(client, kay, tess):
    address = f"/site/keepers/{kay.pk}/take/"
    assert "Lay down the keeping of this site?" in client.get(address).content.decode()
    refused = client.post(address)
    assert refused.status_code == 422
    assert "kay is the last keeper of this site" in refused.content.decode()
    client.post("/site/keepers/give/", {"username": "tess"})
    assert client.post(address).url == "/"
    assert not Person.objects.get(pk=kay.pk).is_keeper
    assert client.get("/site/keepers/").status_code == 403
    assert KeeperAct.objects.count() == 2


def test_it_is_taken_from_another_keeper(client, tess):
    client.post("/site/keepers/give/", {"username": "tess"})
    address = f"/site/keepers/{tess.pk}/take/"
    assert "Take the keeping of this site from tess?" in client.get(address).content.decode()
    assert client.post(address).url == "/site/keepers/"
    assert "took it from tess" in client.get("/site/keepers/").content.decode()
    assert client.get(address).status_code == 404


def test_a_keeper_of_no_plant_finds_the_site_and_nothing_else(client):
    page = client.get("/").content.decode()
    assert 'href="/site/"' in page
    assert "You do not belong to a plant yet" in page
    assert client.get("/conveyors/").status_code == 403


def test_nobody_else_sees_the_way(alder, pat):
    client = Client()
    client.force_login(pat)
    assert "/site/" not in client.get("/account/").content.decode()
    assert client.get("/site/keepers/").status_code == 403
