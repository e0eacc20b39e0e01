"""People and their roles."""

from __future__ import annotations

import secrets
from typing import Any

from django.contrib.auth.models import Group
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from plant.errors import Refused
from plant.models import Job, Membership, Person, Plant
from plant.permissions import ROLES
from plant.services.keepers import give_keeper
from plant.services.records import check_row, create_record

# Letters and digits that nobody mixes up when a first password is read aloud or copied by hand.
PASSWORD_ALPHABET = "23456789abcdefghjkmnpqrstvwxyz"


@transaction.atomic
def change_account(*, person: Person, **values: Any) -> Person:
    """What a person sets for themselves: names, e-mail, units, mail, contrast."""
    for name, value in values.items():
        setattr(person, name, value)
    person.full_clean(exclude=["password"])
    person.save(update_fields=list(values))
    return person


def first_password() -> str:
    """Four groups of four, about 78 bits; it has to be changed at the first sign-in."""
    return "-".join("".join(secrets.choice(PASSWORD_ALPHABET) for _n in range(4)) for _group in range(4))


@transaction.atomic
def add_person(*, plant: Plant, username: str, email: str, role: str, **values: Any) -> tuple[Person, str]:
    """Let somebody new sign in, with one role in one plant.

    Returns
    -------
    tuple of Person and str
        The person and the first password, which is kept nowhere else.

    Raises
    ------
    Refused
        If somebody signs in under this name already, or a value is not allowed.
    """
    if Person.objects.filter(username__iexact=username.strip()).exists():
        words = _("Somebody signs in as %s already. Give that person a role instead, or choose another name.")
        raise Refused(words % username, code="name_known", fields={"username": words % username})
    password = first_password()
    person = Person(username=username.strip(), email=email, must_change_password=True, **values)
    person.set_password(password)
    check_row(person)
    person.save()
    give_role(person=person, plant=plant, role=role)
    return person, password


@transaction.atomic
def give_role(*, person: Person, plant: Plant, role: str) -> Membership:
    """Let a person act in a role in a plant. Giving it twice changes nothing."""
    if role not in ROLES:
        raise Refused(_("There is no role “%s”.") % role, code="role_unknown", fields={"role": _("Choose a role.")})
    return Membership.objects.get_or_create(person=person, plant=plant, role=Group.objects.get(name=role))[0]


@transaction.atomic
def take_role(*, person: Person, plant: Plant, role: str) -> None:
    """Take a role away; the account stays.

    Raises
    ------
    Refused
        If nobody would be left in the plant who can give roles.
    """
    # Two planners who take each other's role at once come one after the other where the data base can lock a row.
    Plant.objects.select_for_update().get(pk=plant.pk)
    going = Membership.objects.filter(person=person, plant=plant, role__name=role)
    managers = Membership.objects.filter(plant=plant, role__permissions__codename="manage_people")
    is_manager = managers.filter(pk__in=going.values("pk")).exists()
    if is_manager and not managers.exclude(pk__in=going.values("pk")).filter(person__is_active=True).exists():
        words = _("%(person)s is the last %(role)s of %(plant)s. Give the role to somebody else first.")
        raise Refused(words % {"person": person, "role": role, "plant": plant}, code="last_planner")
    going.delete()


@transaction.atomic
def open_site(*, username: str, password: str, email: str, plant_name: str, time_zone: str) -> Person:
    """Make the first person, who keeps the site and holds all roles in the first plant. It can be done once only.

    Raises
    ------
    Refused
        If somebody exists already, or a value is not allowed.
    """
    try:
        with transaction.atomic():
            # The unique key lets one of two requests at the same moment through.
            Job.objects.create(kind="first-sign-in", key="first-sign-in", state=Job.State.DONE)
    except IntegrityError as error:
        raise Refused(_("Somebody has opened this site already. Sign in, or ask them for a role.")) from error
    if Person.objects.exists():
        raise Refused(_("Somebody has opened this site already. Sign in, or ask them for a role."))
    person = Person(username=username, email=email)
    person.set_password(password)
    check_row(person)
    person.save()
    give_keeper(person=person, by=None)
    plant = create_record(Plant, by=person, name=plant_name, time_zone=time_zone)
    for role in ROLES:
        give_role(person=person, plant=plant, role=role)
    return person
