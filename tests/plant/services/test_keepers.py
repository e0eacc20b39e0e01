"""The mark of whoever keeps the site: given on, laid down, never by the last one, and no key to any plant's book."""

from __future__ import annotations

from importlib import import_module

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command

from plant.errors import Refused
from plant.models import KeeperAct, Person
from plant.permissions import RIGHTS, has_right
from plant.services.keepers import give_keeper, take_keeper
from plant.services.people import open_site
from plant.services.sign_ins import switch_sign_in
from tests import make


@pytest.fixture
def kay(db):
    return make.person("kay", is_keeper=True)


def acts():
    return [(str(each.person), str(each.by), each.act) for each in KeeperAct.objects.order_by("pk")]


def test_the_first_person_of_a_blank_site_keeps_it(db):
    kim = open_site(username="kim", password="a-long-sentence", email="", plant_name="Alder Pit", time_zone="UTC")
    assert Person.objects.get(pk=kim.pk).is_keeper
    assert acts() == [("kim", "None", "given")]
    assert not kim.is_superuser
    assert not kim.is_staff


def test_the_mark_is_given_on_and_laid_down_with_its_history(kay, tess):
    for _twice in range(2):
        give_keeper(person=tess, by=kay)
    assert Person.objects.get(pk=tess.pk).is_keeper
    for _twice in range(2):
        take_keeper(person=kay, by=kay if kay.is_keeper else tess)
    assert not Person.objects.get(pk=kay.pk).is_keeper
    assert acts() == [("tess", "kay", "given"), ("kay", "kay", "taken")]


def test_the_last_keeper_stays_one(kay, tess):
    with pytest.raises(Refused, match="kay is the last keeper of this site"):
        take_keeper(person=kay, by=kay)
    give_keeper(person=tess, by=kay)
    Person.objects.filter(pk=tess.pk).update(is_active=False)  # who cannot sign in keeps nothing
    with pytest.raises(Refused, match="kay is the last keeper of this site"):
        take_keeper(person=kay, by=kay)
    assert Person.objects.get(pk=kay.pk).is_keeper


def test_the_last_keeper_is_not_switched_off(alder, pat):
    Person.objects.filter(pk=pat.pk).update(is_keeper=True)
    kay = make.person("kay", alder, "planner", is_keeper=True)
    switch_sign_in(person=kay, plant=alder, by=Person.objects.get(pk=pat.pk), is_on=False)
    with pytest.raises(Refused, match="pat is the last keeper of this site"):
        switch_sign_in(person=pat, plant=alder, by=Person.objects.get(pk=kay.pk), is_on=False)


def test_nobody_else_gives_or_takes_it(kay, pat, tess):
    for act in (give_keeper, take_keeper):
        with pytest.raises(Refused, match="Only a keeper of this site"):
            act(person=tess, by=pat)
    assert acts() == []


def test_who_is_switched_off_becomes_no_keeper(kay, tess):
    Person.objects.filter(pk=tess.pk).update(is_active=False)
    with pytest.raises(Refused, match="tess is switched off"):
        give_keeper(person=Person.objects.get(pk=tess.pk), by=kay)


def test_it_is_no_right_in_any_plant(kay, alder):
    assert not any(has_right(kay, name, alder) for name in set().union(*RIGHTS.values()))
    assert not kay.has_perm("plant.view_conveyor")


def test_the_shell_makes_a_keeper_of_a_site_that_has_lost_its_own(tess, capsys):
    call_command("make_keeper", "Tess")
    assert capsys.readouterr().out == "tess keeps this site now.\n"
    assert acts() == [("tess", "None", "given")]
    with pytest.raises(CommandError, match="Nobody signs in as tom"):
        call_command("make_keeper", "tom")


def test_the_superuser_of_a_book_of_before_keeps_the_site(db):
    kim = Person.objects.create_superuser("kim", password="pass-word-1")
    for _twice in range(2):
        import_module("plant.migrations.0003_superusers_keep_the_site").make_keepers(apps, None)
    kim.refresh_from_db()
    assert (kim.is_keeper, kim.is_superuser, kim.is_staff) == (True, False, False)
    assert acts() == [("kim", "None", "given")]
