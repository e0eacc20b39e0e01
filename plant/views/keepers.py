"""Who keeps the site: the list with its history, giving the mark on, laying it down."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from plant.errors import Refused
from plant.forms.base import show_refusal
from plant.forms.people import KeeperForm
from plant.models import Person
from plant.permissions import PlantRequest, for_keepers
from plant.selectors.people import keeper_acts, keepers
from plant.services.keepers import give_keeper, take_keeper


@for_keepers
def keeper_list(request: PlantRequest) -> HttpResponse:
    shown = {"title": _("Who keeps this site"), "keepers": keepers(), "acts": keeper_acts()}
    return render(request, "plant/keeper_list.html", shown)


@for_keepers
def keeper_give(request: PlantRequest) -> HttpResponse:
    """Asks for the name, then whether it is meant; then gives the mark."""
    given = request.POST if request.method == "POST" else request.GET or None
    form = KeeperForm(given)
    if form.is_valid():
        person = form.cleaned_data["username"]
        if request.method != "POST":
            asked = {"title": _("Make %s a keeper of this site?") % person, "person": person}
            return render(request, "plant/keeper_give_confirm.html", asked)
        try:
            give_keeper(person=person, by=request.user)
        except Refused as refusal:
            show_refusal(form, refusal)
        else:
            messages.success(request, _("%s keeps this site now.") % person)
            return redirect("keeper-list")
    shown = {"title": _("Make somebody a keeper"), "form": form}
    return render(request, "plant/keeper_give.html", shown, status=422 if form.errors else 200)


@for_keepers
def keeper_take(request: PlantRequest, person: int) -> HttpResponse:
    """Asks first; then the mark is laid down, or taken from another keeper."""
    row = get_object_or_404(Person, pk=person, is_keeper=True)
    is_own = row == request.user
    title = _("Lay down the keeping of this site?") if is_own else _("Take the keeping of this site from %s?") % row
    shown = {"title": title, "person": row, "is_own": is_own}
    if request.method == "POST":
        try:
            take_keeper(person=row, by=request.user)
        except Refused as refusal:
            return render(request, "plant/keeper_take.html", {**shown, "refusal": refusal.message}, status=422)
        messages.success(request, _("%s no longer keeps this site.") % row)
        return redirect("today" if is_own else "keeper-list")
    if request.method != "GET":
        raise Http404
    return render(request, "plant/keeper_take.html", shown)
