import pytest
from django.contrib.auth import authenticate

from plant.errors import ChangedMeanwhile, Refused
from plant.models import Membership, Person
from plant.services.people import add_person, give_role, take_role
from plant.services.plants import change_plant

pytestmark = pytest.mark.django_db


def test_a_plant_changes_its_values_with_history(alder, pat):
    change_plant(alder, by=pat, version=1, lockout_procedure="Isolation, rev. 3", margin_low=0.7)
    alder.refresh_from_db()
    assert (alder.lockout_procedure, alder.margin_low) == ("Isolation, rev. 3", 0.7)
    assert alder.history.first().history_user == pat
    with pytest.raises(ChangedMeanwhile):
        change_plant(alder, by=pat, version=1, name="Elder Pit")


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"margin_low": 1.3}, "margin_high", "is not above the lower one 1.3"),
        ({"margin_high": 0.9}, "margin_high", "No change at all is a ratio of 1"),
        ({"margin_low": 1.0}, "margin_low", "No change at all is a ratio of 1"),
        ({"time_zone": "Mars/Base"}, "time_zone", "Mars/Base is not a time zone"),
        ({"least_coverage_pct": 120}, "least_coverage_pct", "100"),
    ],
)
def test_values_that_cannot_be_are_refused_at_their_field(alder, pat, values, field, words):
    with pytest.raises(Refused) as refusal:
        change_plant(alder, by=pat, version=1, **values)
    assert words in refusal.value.fields[field]
    alder.refresh_from_db()
    assert alder.version == 1


def test_a_person_is_added_with_one_role_and_a_password_that_works(alder):
    person, password = add_person(plant=alder, username="tom", email="tom@alder.example", role="technician")
    assert len(password) == 19
    assert authenticate(None, username="tom", password=password) == person
    assert [(m.plant, m.role.name) for m in person.memberships.all()] == [(alder, "technician")]
    with pytest.raises(Refused, match="Somebody signs in as TOM already") as refusal:
        add_person(plant=alder, username="TOM", email="", role="planner")
    assert "username" in refusal.value.fields


def test_a_bad_address_leaves_nobody_behind(alder):
    with pytest.raises(Refused) as refusal:
        add_person(plant=alder, username="tim", email="no address", role="technician")
    assert list(refusal.value.fields) == ["email"]
    assert not Person.objects.filter(username="tim").exists()


def test_roles_are_given_once_and_taken_but_never_the_last_one_who_can_give(alder, pat, tess):
    give_role(person=tess, plant=alder, role="technician")
    assert Membership.objects.filter(person=tess).count() == 1
    with pytest.raises(Refused, match="There is no role"):
        give_role(person=tess, plant=alder, role="boss")
    with pytest.raises(Refused, match="pat is the last planner of Alder Pit"):
        take_role(person=pat, plant=alder, role="planner")
    give_role(person=tess, plant=alder, role="planner")
    take_role(person=pat, plant=alder, role="planner")
    assert not pat.memberships.exists()
