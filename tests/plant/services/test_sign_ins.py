"""What a planner may do with somebody's sign-in, for people of their plant alone."""

from __future__ import annotations

import pytest
from django.contrib.auth import authenticate
from django.contrib.sessions.models import Session
from django.test import Client

from plant.errors import Refused
from plant.models import Person, SignInAct
from plant.selectors.people import sign_in_acts
from plant.services.people import add_person, give_role
from plant.services.sign_ins import end_sessions, give_first_password, refusal_to_act, switch_sign_in
from tests import make

ACTS = [
    give_first_password,
    end_sessions,
    lambda **who: switch_sign_in(is_on=False, **who),
    lambda **who: switch_sign_in(is_on=True, **who),
]


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def is_in(client):
    return client.get("/account/").status_code == 200


def test_a_new_first_password_takes_the_place_of_the_old_one(alder, pat, tess):
    client = signed_in(tess)
    password = give_first_password(person=tess, plant=alder, by=pat)
    assert authenticate(None, username="tess", password=password) == tess
    assert authenticate(None, username="tess", password="pass-word-1") is None
    assert Person.objects.get(pk=tess.pk).must_change_password
    assert not is_in(client)
    act = SignInAct.objects.get()
    assert (act.person, act.by, act.act, act.plant) == (tess, pat, "password", alder)


def test_a_person_who_is_added_has_to_choose_a_password(alder):
    person, _password = add_person(plant=alder, username="tom", email="", role="technician")
    assert person.must_change_password


def test_a_sign_in_is_switched_off_and_on(alder, pat, tess):
    client = signed_in(tess)
    for _twice in range(2):
        switch_sign_in(person=tess, plant=alder, by=pat, is_on=False)
    assert not is_in(client)
    assert authenticate(None, username="tess", password="pass-word-1") is None
    assert tess.memberships.count() == 1
    switch_sign_in(person=tess, plant=alder, by=pat, is_on=True)
    assert authenticate(None, username="tess", password="pass-word-1") == tess
    assert not is_in(client), "an ended session does not come back"
    assert list(SignInAct.objects.values_list("act", flat=True)) == ["on", "off"]


def test_every_session_of_one_person_ends_and_no_other(alder, pat, tess, mona):
    phone, desk, other = signed_in(tess), signed_in(tess), signed_in(mona)
    assert end_sessions(person=tess, plant=alder, by=pat) == 2
    assert not is_in(phone)
    assert not is_in(desk)
    assert is_in(other)
    assert end_sessions(person=tess, plant=alder, by=pat) == 0
    assert Session.objects.count() == 1


@pytest.mark.parametrize("act", ACTS)
def test_an_act_is_seen_in_every_plant_of_the_person_and_once_in_each(act, alder, other, pat, otto, tess):
    """A sign-in is one for all plants: the planners of each learn that it was given another password or switched."""
    give_role(person=tess, plant=other, role="technician")
    give_role(person=tess, plant=other, role="planner")  # two roles in one plant are still one plant
    give_role(person=pat, plant=other, role="planner")
    if act is ACTS[-1]:
        Person.objects.filter(pk=tess.pk).update(is_active=False)
    act(person=tess, plant=alder, by=pat)
    for plant in (alder, other):
        (row,) = sign_in_acts(plant)
        assert (row.person, row.by) == (tess, pat)
    client = signed_in(otto)
    assert row.get_act_display() in client.get("/people/").content.decode()


@pytest.mark.parametrize("act", ACTS)
def test_nobody_acts_on_people_of_another_plant(act, alder, other, pat, otto, tess):
    give_role(person=tess, plant=other, role="technician")
    for by, plant in [(pat, alder), (otto, other)]:
        with pytest.raises(Refused, match="a plant whose people you do not look after"):
            act(person=tess, plant=plant, by=by)
    with pytest.raises(Refused, match="does not belong to Alder Pit"):
        act(person=otto, plant=alder, by=pat)
    assert not SignInAct.objects.exists()


def test_who_looks_after_all_plants_of_a_person_may_act(alder, other, pat, tess):
    give_role(person=tess, plant=other, role="technician")
    give_role(person=pat, plant=other, role="planner")
    pat = Person.objects.get(pk=pat.pk)
    assert refusal_to_act(person=tess, plant=alder, by=pat) == ""


@pytest.mark.parametrize("act", ACTS)
def test_nobody_acts_on_the_keeper_or_on_themselves(act, alder, pat):
    keeper = make.person("kay", alder, "technician", is_keeper=True)
    with pytest.raises(Refused, match="Only another keeper"):
        act(person=keeper, plant=alder, by=pat)
    with pytest.raises(Refused, match="your own sign-in"):
        act(person=pat, plant=alder, by=pat)


def test_somebody_who_gives_roles_is_left(alder, pat):
    keeper = make.person("kay", is_keeper=True)
    with pytest.raises(Refused, match="pat is the last who gives roles in Alder Pit"):
        switch_sign_in(person=pat, plant=alder, by=keeper, is_on=False)
    make.person("paula", alder, "planner")
    switch_sign_in(person=pat, plant=alder, by=keeper, is_on=False)
    assert not Person.objects.get(pk=pat.pk).is_active
