"""Somebody of a furnished plant leaves: nothing open is left in their hands, and their sign-in is off."""

from __future__ import annotations

from django.db.models import F
from django.utils import timezone

from inspections.models import Action, SetAside, Shift
from installs.models import Fitting
from plant.models import Person


def leave(person: Person) -> Person:
    """Past the services, which would ask for a plant and a planner."""
    Action.objects.filter(owner=person).update(owner=None)
    now = timezone.now()
    Shift.objects.filter(person=person, ends_at__gt=now).update(away_from=F("starts_at"))
    SetAside.objects.filter(created_by=person).update(settled_at=now)
    for fitting in Fitting.objects.filter(crew=person):
        fitting.crew.remove(person)
    Person.objects.filter(pk=person.pk).update(is_active=False)
    return Person.objects.get(pk=person.pk)
