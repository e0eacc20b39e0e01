"""People and their roles."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import Group
from django.db import transaction

from plant.models import Membership, Person, Plant


@transaction.atomic
def change_account(*, person: Person, **values: Any) -> Person:
    """What a person sets for themselves: names, e-mail, units, mail, contrast."""
    for name, value in values.items():
        setattr(person, name, value)
    person.full_clean(exclude=["password"])
    person.save(update_fields=list(values))
    return person


@transaction.atomic
def give_role(*, person: Person, plant: Plant, role: str) -> Membership:
    """Let a person act in a role in a plant. Giving it twice changes nothing."""
    return Membership.objects.get_or_create(person=person, plant=plant, role=Group.objects.get(name=role))[0]


@transaction.atomic
def take_role(*, person: Person, plant: Plant, role: str) -> None:
    Membership.objects.filter(person=person, plant=plant, role__name=role).delete()
