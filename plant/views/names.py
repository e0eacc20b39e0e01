"""A person who left asks that their name goes: who may be meant, what goes and what stays, then the act."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from plant.calc.names import last_backup_goes_on
from plant.errors import Refused
from plant.forms.base import show_refusal
from plant.forms.people import NameRemovalForm
from plant.models import Person
from plant.permissions import PlantRequest, for_keepers
from plant.selectors.names import TypedText, may_have_left, name_found, name_removals
from plant.services.names import in_the_way, remove_name, removed_name

MOST_TEXTS = 100


@for_keepers
def name_list(request: PlantRequest) -> HttpResponse:
    shown = {"title": _("Names of people who left"), "people": may_have_left(), "removals": name_removals()}
    return render(request, "plant/name_list.html", shown)


@for_keepers
def name_remove(request: PlantRequest, person: int) -> HttpResponse:
    """Shows what goes and what stays; then, with a reason and the name typed, the name is removed."""
    row = get_object_or_404(Person, pk=person, is_active=False, name_removal__isnull=True)
    form = NameRemovalForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            removal = remove_name(person=row, by=request.user, **form.cleaned_data)
        except Refused as refusal:
            show_refusal(form, refusal)
        else:
            messages.success(request, _("The name was removed. The records stay, by %s.") % removal.person)
            return redirect("name-list")
    shown = {
        "title": _("Remove the name of %s?") % row,
        "person": row,
        "form": form,
        "instead": removed_name(row),
        "in_the_way": in_the_way(row, request.user),
        "backups_until": last_backup_goes_on(
            timezone.localdate(),
            days=settings.BACKUP_DAYS,
            weeks=settings.BACKUP_WEEKS,
            months=settings.BACKUP_MONTHS,
        ),
        **where_it_stands(request, row),
    }
    return render(request, "plant/name_remove.html", shown, status=422 if form.errors else 200)


def where_it_stands(request: PlantRequest, person: Person) -> dict[str, Any]:
    """A keeper sees no plant's book: texts are shown where they have a role, the others are only counted."""
    found = name_found(person, removed_name(person))
    theirs = {each.pk for each in request.plants}
    shown = [each for each in found.typed if each.plant and each.plant.pk in theirs]
    hidden: dict[str, int] = {}
    for each in found.typed:
        if each not in shown:
            hidden[place_of(each)] = hidden.get(place_of(each), 0) + 1
    return {
        "n_by_site": len(found.by_site),
        "n_earlier": found.n_earlier,
        "n_typed": len(found.typed),
        "typed": shown[:MOST_TEXTS],
        "n_more": max(0, len(shown) - MOST_TEXTS),
        "hidden": sorted(hidden.items()),
    }


def place_of(each: TypedText) -> str:
    return each.plant.name if each.plant else _("no plant")
