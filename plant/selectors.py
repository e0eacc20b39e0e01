"""Reads that span several models and fit no one QuerySet."""

from __future__ import annotations

from typing import Any

from plant.permissions import ROLES


def roles_in(person: Any, plant: Any) -> list[str]:
    """The person's roles in a plant, in the order of the house."""
    held = set(person.memberships.filter(plant=plant).values_list("role__name", flat=True))
    return [role for role in ROLES if role in held]
