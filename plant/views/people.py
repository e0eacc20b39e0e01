"""Who belongs to a plant, in which roles."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from plant.errors import Refused
from plant.forms.people import NewPersonForm, RoleForm
from plant.models import Membership, Person
from plant.permissions import ROLES, PlantRequest, right
from plant.selectors.people import role_changes, sign_in_acts
from plant.services import sign_ins
from plant.services.people import add_person, give_role, take_role
from plant.views.records import RecordPage


@right("plant.manage_people")
def people_list(request: PlantRequest) -> HttpResponse:
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
            "acts": sign_in_acts(request.plant),
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

    def post(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponse:
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
def role_take(request: PlantRequest, membership: int) -> HttpResponse:
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


def taking(request: PlantRequest, row: Membership, refusal: str = "") -> dict[str, Any]:
    is_last_role = not Membership.objects.filter(person=row.person, plant=request.plant).exclude(pk=row.pk).exists()
    return {
        "title": _("Take the role %(role)s from %(person)s?") % {"role": row.role.name, "person": row.person},
        "row": row,
        "refusal": refusal,
        "is_last_role": is_last_role,
    }


def person_of(request: PlantRequest, pk: int) -> Person:
    """Somebody of this plant; 404 for everybody else."""
    return get_object_or_404(Person.objects.filter(memberships__plant=request.plant).distinct(), pk=pk)


@right("plant.manage_people")
def sign_in_page(request: PlantRequest, person: int) -> HttpResponse:
    """What can be done with somebody's sign-in, and what each of it means."""
    row = person_of(request, person)
    refusal = sign_ins.refusal_to_act(person=row, plant=request.plant, by=request.user)
    title = _("Sign-in of %s") % row
    return render(request, "plant/person_sign_in.html", {"title": title, "person": row, "refusal": refusal})


@require_POST
@right("plant.manage_people")
def first_password_give(request: PlantRequest, person: int) -> HttpResponse:
    row = person_of(request, person)
    try:
        password = sign_ins.give_first_password(person=row, plant=request.plant, by=request.user)
    except Refused as refusal:
        messages.error(request, refusal.message)
        return redirect("person-sign-in", row.pk)
    request.session["first_password"] = {"username": row.username, "password": password}
    return redirect("people-list")


@require_POST
@right("plant.manage_people")
def sign_in_switch(request: PlantRequest, person: int) -> HttpResponse:
    row, wanted = person_of(request, person), request.POST.get("wanted", "")
    try:
        if wanted not in ("on", "off"):
            raise Refused(_("Choose whether the sign-in is to be on or off."))
        sign_ins.switch_sign_in(person=row, plant=request.plant, by=request.user, is_on=wanted == "on")
    except Refused as refusal:
        messages.error(request, refusal.message)
        return redirect("person-sign-in", row.pk)
    off = _("%s can no longer sign in and is signed out everywhere.")
    messages.success(request, (_("%s can sign in again.") if wanted == "on" else off) % row)
    return redirect("person-sign-in", row.pk)


@require_POST
@right("plant.manage_people")
def sessions_end(request: PlantRequest, person: int) -> HttpResponse:
    row = person_of(request, person)
    try:
        n = sign_ins.end_sessions(person=row, plant=request.plant, by=request.user)
    except Refused as refusal:
        messages.error(request, refusal.message)
        return redirect("person-sign-in", row.pk)
    words = ngettext("%(person)s is signed out of %(n)d browser.", "%(person)s is signed out of %(n)d browsers.", n)
    messages.success(request, words % {"person": row, "n": n} if n else _("%s was signed in nowhere.") % row)
    return redirect("person-sign-in", row.pk)
