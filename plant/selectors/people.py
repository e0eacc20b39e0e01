"""People of a plant, their roles, and what they did at its door."""

from __future__ import annotations

from typing import Any

from plant.models import KeeperAct, Membership, Person, Plant, SignInAct
from plant.permissions import ROLES


def roles_in(person: Any, plant: Any) -> list[str]:
    """The person's roles in a plant, in the order of the house."""
    held = set(person.memberships.filter(plant=plant).values_list("role__name", flat=True))
    return [role for role in ROLES if role in held]


def role_changes(plant: Plant, most: int = 50) -> list[Any]:
    """Which roles were given and taken in a plant, newest first, with who did it."""
    rows = Membership.history.filter(plant=plant).select_related("person", "role", "history_user")
    return list(rows.order_by("-history_date", "-history_id")[:most])


def sign_in_acts(plant: Plant, most: int = 50) -> list[SignInAct]:
    """What was done with sign-ins of a plant's people, newest first."""
    return list(SignInAct.objects.filter(plant=plant).select_related("person", "by")[:most])


def people_in(plant: Plant, *roles: str) -> list[int]:
    """Active people who hold one of the roles in the plant, each once."""
    held = Membership.objects.filter(plant=plant, role__name__in=roles, person__is_active=True)
    return sorted(set(held.values_list("person_id", flat=True)))


def keepers() -> list[Person]:
    """Who keeps the site, also those who cannot sign in for now."""
    return list(Person.objects.filter(is_keeper=True).order_by("username"))


def keeper_acts(most: int = 50) -> list[KeeperAct]:
    """Who became a keeper of the site and who is one no more, newest first."""
    return list(KeeperAct.objects.select_related("person", "by")[:most])
