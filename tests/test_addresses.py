"""Words after the question mark of an address: whatever they are, no page fails over them."""

import pytest
from django.urls import get_resolver, reverse
from django.urls.exceptions import NoReverseMatch

from plant.models import Incident
from tests import make

ODD = ["abc", "-1", "0", "99999999999999999999999", "\x00", "2026-13-45", "'\"<", "nan", "1e999", ""]
NAMES = [
    "page",
    "per_page",
    "sort",
    "format",
    "from",
    "to",
    "since",
    "until",
    "on",
    "day",
    "week",
    "month",
    "paper",
    "part",
    "state",
    "area",
    "model",
    "verdict",
    "conveyor",
    "strand",
    "installation",
    "at",
    "chainage",
    "q",
    "device",
    "kind",
    "severity",
    "stands",
    "risk",
]


def pages():
    """Every page that asks for no row."""
    for name in get_resolver().reverse_dict:
        if isinstance(name, str):
            try:
                yield reverse(name)
            except NoReverseMatch:
                continue


@pytest.fixture
def filled(belt_a1, at_noon):
    make.installation(belt_a1)
    make.incident(belt_a1, at_noon)
    assert Incident.objects.count() == 1


@pytest.mark.parametrize("odd", ODD)
def test_no_page_fails_over_an_odd_word(odd, filled, erin, client):
    client.force_login(erin)
    client.raise_request_exception = False
    looked = 0
    for address in pages():
        if client.get(address).status_code == 200:
            looked += 1
            answer = client.get(address, dict.fromkeys(NAMES, odd))
            assert answer.status_code < 500, f"{address} with {odd!r}"
            one_by_one = [name for name in ("page", "per_page") if client.get(address, {name: odd}).status_code >= 500]
            assert not one_by_one, address
    assert looked > 30


def test_an_address_does_not_choose_how_many_rows_a_page_has(belt_a1, at_noon, erin, client):
    for _ in range(60):
        make.incident(belt_a1, at_noon)
    client.force_login(erin)
    for asked in ("-1", "1", "1000000"):
        assert len(client.get("/incidents/", {"per_page": asked}).context["table"].page.object_list) == 50
    assert len(client.get("/incidents/", {"page": "2"}).context["table"].page.object_list) == 10
    assert client.get("/incidents/", {"page": "99"}).context["table"].page.number == 2
