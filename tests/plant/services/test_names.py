"""What keeps a name from being removed, each in words."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from plant.errors import Refused
from plant.models import NameRemoval, Person
from plant.services.names import in_the_way, remove_name
from tests import make


@pytest.fixture
def kay(db):
    return make.person("kay", is_keeper=True)


@pytest.fixture
def gone(tess):
    """Tess cannot sign in any more."""
    Person.objects.filter(pk=tess.pk).update(is_active=False, first_name="Tess", last_name="Quill")
    return Person.objects.get(pk=tess.pk)


def refused(person, by, **given):
    with pytest.raises(Refused) as refusal:
        remove_name(person=person, by=by, **{"typed": "tess", "reason": "asked for it", **given})
    assert not NameRemoval.objects.exists()
    assert Person.objects.get(pk=person.pk).username == person.username
    return refusal.value


def test_whoever_can_still_sign_in_keeps_the_name(kay, tess):
    assert "tess can still sign in" in refused(tess, kay).message


def test_nobody_but_a_keeper_does_it(gone, pat):
    assert refused(gone, pat).code == "not_theirs"


def test_nobody_removes_their_own(kay):
    assert "your own name" in refused(kay, kay, typed="kay").message


def test_who_keeps_the_site_lays_that_down_first(kay, gone):
    Person.objects.filter(pk=gone.pk).update(is_keeper=True)
    assert "keeps this site" in refused(gone, kay).message


def test_open_work_is_named_with_its_number(kay, gone, belt_a1):
    fitting = make.fitting(belt_a1)
    fitting.crew.add(gone)
    make.shift(gone, belt_a1.plant, timezone.now() + dt.timedelta(hours=1))
    assert in_the_way(gone, kay) == [
        "Still in the hands of tess: 1 open fitting, 1 shift to come. Give it to somebody else, or close it."
    ]
    refused(gone, kay)


@pytest.mark.parametrize("typed", ["", "Tess", "pat"])
def test_the_name_is_typed_as_it_is(kay, gone, typed):
    assert "typed" in refused(gone, kay, typed=typed).fields


@pytest.mark.parametrize("reason", ["", "  ", "tess asked for it", "a letter of Tess Quill", "QUILL left"])
def test_the_reason_holds_no_name(kay, gone, reason):
    assert "reason" in refused(gone, kay, reason=reason).fields


def test_it_is_done_once(kay, gone):
    remove_name(person=gone, by=kay, typed="tess", reason="asked for it")
    gone.refresh_from_db()
    with pytest.raises(Refused, match="removed already"):
        remove_name(person=gone, by=kay, typed=gone.username, reason="again")
    fresh = make.person("tess")  # the name is free for somebody else
    assert fresh.pk != gone.pk
