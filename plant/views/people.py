"""Who belongs to a plant, in which roles."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.errors import Refused
from plant.forms.people import NewPersonForm, RoleForm
from plant.models import Membership, Person
from plant.permissions import ROLES, right
from plant.selectors import role_changes
from plant.services.people import add_person, give_role, take_role
from plant.views.records import RecordPage


@right("plant.manage_people")
def people_list(request: HttpRequest) -> HttpResponse:
    """The people of the plant; a first password is shown here once."""
    people: dict[int, dict[str, Any]] = {}
    rows = Membership.objects.filter(plant=request.plant).select_related("person", "role").order_by("person__username")
    for row in rows:
        entry = people.setdefault(row.person_id, {"person": row.person, "memberships": []})
        entry["memberships"].append(row)
    for entry in people.values():
        entry["memberships"].sort(key=lambda row: ROLES.index(row.role.name) if row.role.name in ROLES else len(ROLES))
    fresh = request.session.pop("first_password", None)
    return render(
        request,
        "plant/people_list.html",
        {
            "title": _("People of %s") % request.plant,
            "people": list(people.values()),
            "fresh": fresh,
            "changes": role_changes(request.plant),
        },
    )


class PersonCreate(RecordPage):
    right = "plant.manage_people"
    form_class = NewPersonForm
    title = gettext_lazy("Add a person")
    button = gettext_lazy("Add the person")

    def initial(self) -> dict[str, Any]:
        return {"client_key": uuid.uuid4()}

    def cancel_url(self) -> str:
        return reverse("people-list")

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.POST.get("client_key", "") in request.session.get("people_added", ()):
            return redirect("people-list")  # the same form came twice: the person is there
        return super().post(request, *args, **kwargs)

    def act(self, form: NewPersonForm) -> Person:
        read = dict(form.cleaned_data)
        key = str(read.pop("client_key"))
        person, password = add_person(plant=self.request.plant, **read)
        self.request.session["first_password"] = {"username": person.username, "password": password}
        self.request.session["people_added"] = [*self.request.session.get("people_added", ())[-19:], key]
        return person

    def next_url(self, row: Person) -> str:
        return reverse("people-list")


class RoleGive(RecordPage):
    right = "plant.manage_people"
    form_class = RoleForm
    title = gettext_lazy("Give a role")
    button = gettext_lazy("Give the role")

    def initial(self) -> dict[str, Any]:
        return {"username": self.request.GET.get("name", "")}

    def cancel_url(self) -> str:
        return reverse("people-list")

    def act(self, form: RoleForm) -> Membership:
        name = form.cleaned_data["username"]
        person = Person.objects.filter(username__iexact=name.strip(), is_active=True).first()
        if person is None:
            words = _("Nobody signs in as %s. Look at the spelling, or add the person.") % name
            raise Refused(words, code="name_unknown", fields={"username": words})
        membership = give_role(person=person, plant=self.request.plant, role=form.cleaned_data["role"])
        words = _("%(person)s is now %(role)s in %(plant)s.")
        messages.success(
            self.request, words % {"person": person, "role": membership.role.name, "plant": self.request.plant}
        )
        return membership

    def next_url(self, row: Membership) -> str:
        return reverse("people-list")


@right("plant.manage_people")
def role_take(request: HttpRequest, membership: int) -> HttpResponse:
    """Asks first, takes the role away then."""
    row = get_object_or_404(Membership.objects.select_related("person", "role"), pk=membership, plant=request.plant)
    if request.method == "POST":
        try:
            take_role(person=row.person, plant=request.plant, role=row.role.name)
        except Refused as refusal:
            return render(request, "plant/role_take.html", taking(request, row, refusal.message), status=422)
        words = _("%(person)s is no longer %(role)s in %(plant)s.")
        messages.success(request, words % {"person": row.person, "role": row.role.name, "plant": request.plant})
        return redirect("people-list")
    if request.method != "GET":
        raise Http404
    return render(request, "plant/role_take.html", taking(request, row))


def taking(request: HttpRequest, row: Membership, refusal: str = "") -> dict[str, Any]:
    is_last_role = not Membership.objects.filter(person=row.person, plant=request.plant).exclude(pk=row.pk).exists()
    return {
        "title": _("Take the role %(role)s from %(person)s?") % {"role": row.role.name, "person": row.person},
        "row": row,
        "refusal": refusal,
        "is_last_role": is_last_role,
    }
