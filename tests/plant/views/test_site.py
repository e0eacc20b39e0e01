"""Pages that belong to nobody's topic: choosing a plant, notices."""

from __future__ import annotations

import pytest
from django.urls import reverse

from plant.models import Area, Membership, Notice
from plant.selectors.people import role_changes
from tests import make

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


def test_the_start_page_of_an_empty_book_names_the_first_act(client, pat, tess, alder):
    client.force_login(pat)
    page = client.get(reverse("today")).content.decode()
    assert "The book of Alder Pit is still empty" in page
    assert reverse("area-create") in page
    Area.objects.create(plant=alder, code="A", name="Crushing")
    assert "Add the first conveyor" in client.get(reverse("today")).content.decode()
    client.force_login(tess)
    page = client.get(reverse("today")).content.decode()
    assert "A planner or a reliability engineer of the plant enters them." in page
    assert reverse("conveyor-create") not in page


def test_the_engineers_page_of_an_empty_book_does_not_call_nothing_judged(client, erin, alder):
    client.force_login(erin)
    page = client.get(reverse("today")).content.decode()
    assert "All can be judged" not in page
    assert "No comparison to judge yet" in page
    assert page.index("<h1>The book of Alder Pit is still empty</h1>") < page.index("<h2")


def test_the_first_steps_are_gone_once_there_is_a_belt(client, pat, belt_a1):
    client.force_login(pat)
    assert "still empty" not in client.get(reverse("today")).content.decode()


@pytest.mark.parametrize(
    ("page", "first"),
    [
        ("conveyor-create", "area-create"),
        ("device-create", "device-model-create"),
        ("installation-create", "device-create"),
        ("incident-create", "conveyor-create"),
        ("outage-create", "conveyor-create"),
    ],
)
def test_a_form_with_nothing_to_choose_opens_the_act_that_comes_first(client, pat, erin, page, first):
    for person in (pat, erin):
        client.force_login(person)
        answer = client.get(reverse(page))
        if answer.status_code == 200:
            assert f'<a href="{reverse(first)}">' in answer.content.decode()
            return
    pytest.fail(f"neither may open {page}")


def test_the_account_says_whose_clock_the_times_are(client, tess, alder):
    client.force_login(tess)
    assert f"those of Alder Pit: {alder.time_zone}." in client.get(reverse("account")).content.decode()


def test_who_gave_and_took_a_role_is_told(client, pat, tess):
    client.force_login(pat)
    client.post(reverse("role-give"), {"username": tess.username, "role": "planner"})
    given = Membership.objects.get(person=tess, role__name="planner")
    client.post(reverse("role-take", args=[given.pk]))
    acts = [(row.history_type, str(row.role), row.history_user) for row in role_changes(given.plant)[:2]]
    assert acts == [("-", "planner", pat), ("+", "planner", pat)]
    page = client.get(reverse("people-list")).content.decode()
    assert "took the role of planner from tess" in page
    assert "gave tess the role of planner" in page


def test_a_new_form_offers_the_usual_values(client, erin, alder):
    """Numbers with a unit keep the start value of their column."""
    client.force_login(erin)
    model = make.device_model(alder)
    form = client.get(reverse("fastener-create", args=[model.pk])).context["form"]
    assert form["tolerance_pct"].value() == "10"
    assert client.get(reverse("conveyor-create")).context["form"]["lift_m"].value() == "0"


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"kind": "mm", "text": "2 3/4"}, "= 69.9 mm (a fraction is read as inches)"),
        ({"kind": "mm", "text": "1,308"}, "It is 1.308 mm"),
        ({"kind": "m", "text": "12 1/2"}, "It is 12 1/2 ft = 3.8 m"),
        ({"kind": "mm", "text": "-3"}, "only zero or more is allowed here"),
        ({"kind": "mm", "text": "-3", "negative": "1"}, "-3 mm"),
        ({"kind": "mm", "text": "<b>"}, "&lt;b&gt;"),
        ({"kind": "furlong", "text": "3"}, "furlong"),
        ({"kind": "mm", "text": " "}, ""),
    ],
)
def test_the_echo_below_a_number_says_what_was_understood_or_what_it_may_mean(client, tess, alder, query, said):
    client.force_login(tess)
    page = client.get(reverse("understood"), query).content.decode()
    assert said in page
    assert "<b>" not in page
