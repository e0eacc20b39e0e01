"""What a planner may do with the sign-in of somebody of the plant: a new first password, off and on, sign out."""

from __future__ import annotations

from axes.models import AccessAttempt
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.errors import Refused
from plant.models import Membership, Person, Plant, SignInAct
from plant.permissions import has_right
from plant.services.keepers import check_a_keeper_is_left
from plant.services.people import first_password

RIGHT = "plant.manage_people"


def refusal_to_act(*, person: Person, plant: Plant, by: Person) -> str:
    """Why somebody may not act on a person's sign-in; empty where they may.

    A sign-in is one for all plants: whoever gives its password could use it. So it needs the right in each plant that
    the person belongs to.
    """
    if person == by:
        return _("This is your own sign-in. You change your password under your account.")
    plants = Plant.objects.filter(memberships__person=person).distinct()
    if not any(each == plant for each in plants):
        return _("%(person)s does not belong to %(plant)s.") % {"person": person, "plant": plant}
    if by.is_keeper:
        return ""
    if person.is_keeper:
        return _("%(person)s keeps this site. Only another keeper may act on this sign-in.") % {"person": person}
    if not all(has_right(by, RIGHT, each) for each in plants):
        return _(
            "%(person)s also belongs to a plant whose people you do not look after. Ask the keeper of this site; the "
            "roles in %(plant)s are yours to take."
        ) % {"person": person, "plant": plant}
    return ""


def check_may_act(*, person: Person, plant: Plant, by: Person) -> None:
    words = refusal_to_act(person=person, plant=plant, by=by)
    if words:
        raise Refused(words, code="not_theirs")


def note_act(person: Person, by: Person, act: str) -> None:
    """Write the act down for each plant of the person: it touches them all, and each plant's page shows its own."""
    plants = Plant.objects.filter(memberships__person=person).distinct().order_by("pk")
    at = timezone.now()
    SignInAct.objects.bulk_create(SignInAct(plant=each, person=person, by=by, act=act, at=at) for each in plants)


@transaction.atomic
def give_first_password(*, person: Person, plant: Plant, by: Person) -> str:
    """A new first password in place of the one that was; the person chooses another when they sign in with it.

    Returns
    -------
    str
        The password, which is kept nowhere else.

    Raises
    ------
    Refused
        If it is not theirs to give.
    """
    check_may_act(person=person, plant=plant, by=by)
    password = first_password()
    person.set_password(password)
    person.must_change_password = True
    person.save(update_fields=["password", "must_change_password"])
    AccessAttempt.objects.filter(username=person.username).delete()  # wrong tries of before count no more
    sign_out_everywhere(person)
    note_act(person, by, SignInAct.Act.PASSWORD)
    return password


@transaction.atomic
def switch_sign_in(*, person: Person, plant: Plant, by: Person, is_on: bool) -> None:
    """Let a person sign in, or no longer. Their roles and all that they wrote stay. Twice changes nothing.

    Raises
    ------
    Refused
        If it is not theirs to switch, or nobody would be left who can give roles.
    """
    check_may_act(person=person, plant=plant, by=by)
    # Two planners who switch each other off at once come one after the other where the data base can lock a row.
    plants = list(Plant.objects.select_for_update().filter(pk__in=person.memberships.values("plant")).order_by("pk"))
    person = Person.objects.select_for_update().get(pk=person.pk)
    if person.is_active == is_on:
        return
    if not is_on:
        check_a_keeper_is_left(person)
        for each in plants:
            check_somebody_is_left(person, each)
    person.is_active = is_on
    person.save(update_fields=["is_active"])
    if not is_on:
        sign_out_everywhere(person)
    act = SignInAct.Act.ON if is_on else SignInAct.Act.OFF
    note_act(person, by, act)


def check_somebody_is_left(person: Person, plant: Plant) -> None:
    givers = Membership.objects.filter(plant=plant, role__permissions__codename="manage_people", person__is_active=True)
    if givers.filter(person=person).exists() and not givers.exclude(person=person).exists():
        words = _("%(person)s is the last who gives roles in %(plant)s. Give somebody else that role first.")
        raise Refused(words % {"person": person, "plant": plant}, code="last_planner")


@transaction.atomic
def end_sessions(*, person: Person, plant: Plant, by: Person) -> int:
    """Sign a person out of every browser, as after a phone was lost. Returns of how many.

    Raises
    ------
    Refused
        If it is not theirs to do.
    """
    check_may_act(person=person, plant=plant, by=by)
    n = sign_out_everywhere(person)
    note_act(person, by, SignInAct.Act.ENDED)
    return n


def sign_out_everywhere(person: Person) -> int:
    """End the sessions of a person. They are kept under no name, so each is looked into."""
    theirs = [each.pk for each in Session.objects.all() if each.get_decoded().get(SESSION_KEY) == str(person.pk)]
    return int(Session.objects.filter(pk__in=theirs).delete()[0])


def own_password_chosen(*, person: Person) -> None:
    Person.objects.filter(pk=person.pk).update(must_change_password=False)
