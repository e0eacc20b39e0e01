"""Pages over actions."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.db.models import F
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from inspections.forms.actions import ActionForm, DoneForm, GiveForm
from inspections.forms.visits import ACTION_DAYS
from inspections.models import Action, Visit
from inspections.selectors.actions import kinds_at_act, proposed_owner
from inspections.services import actions
from inspections.tables.actions import ActionFilter, ActionTable, state_words
from inspections.words.actions import open_words
from installs.models import Installation
from plant.calc.units import QuantityKind, UnitSystem, format_reading
from plant.errors import Refused
from plant.permissions import PlantRequest, get_visible, right
from plant.services.photos import keep_photo
from plant.views.asked import row_asked
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage

ROWS = Action.objects.select_related(
    "plant",
    "installation__conveyor__plant",
    "installation__device",
    "check_kind",
    "owner",
    "visit",
    "visit__visited_by",
    "done_by",
    "done_visit",
    "created_by",
    "beside",
)


class ActionList(RegisterList):
    right = "inspections.view_action"
    title = gettext_lazy("Actions")
    empty_words = gettext_lazy(
        "No action was raised yet. A finding that says act raises one when its visit is closed out."
    )
    table_class = ActionTable
    filter_class = ActionFilter

    def rows(self) -> Any:
        """Open ones first, the one that is due first on top; then those that are done, the latest first."""
        rows = Action.objects.of_plant(self.request.plant).order_by(F("done_at").desc(nulls_first=True), "due_on", "pk")
        return rows.select_related("installation__conveyor", "installation__device", "owner")

    def get_lede(self) -> Any:
        open_ones = Action.objects.of_plant(self.request.plant).open()
        n, late = open_ones.count(), open_ones.overdue(timezone.localdate()).count()
        told = open_words(n, late)
        unowned = open_ones.unowned().count()
        if unowned:
            told += " " + ngettext("Nobody owns %(n)s of them yet.", "Nobody owns %(n)s of them yet.", unowned) % {
                "n": unowned
            }
        return told


@right("inspections.view_action")
def action_detail(request: PlantRequest, pk: int) -> HttpResponse:
    action = get_visible(request, ROWS, "inspections.view_action", pk=pk)
    system = UnitSystem(request.user.unit_system)
    left = [
        {**each, "words": format_reading(each["value"], QuantityKind(each["quantity"]), system)}
        for each in action.as_left
    ]
    context = {
        "title": action.title,
        "action": action,
        "state": state_words(action),
        "left": left,
        "photos": list(action.photos.all()),
        "notes": action.notes.current().select_related("created_by", "visit").prefetch_related("photos"),
        "beside": list(action.raised_beside.order_by("pk")),
        "give": GiveForm(plant=action.plant, initial={"version": action.version}) if action.owner is None else None,
    }
    return render(request, "inspections/action_detail.html", context)


class ActionCreate(RecordPage):
    right = "inspections.add_action"
    form_class = ActionForm
    title = gettext_lazy("Raise an action")
    button = gettext_lazy("Raise the action")
    done_words = gettext_lazy("Raised.")
    asks_again = True
    template_name = "inspections/action_form.html"

    def dispatch(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        places = Installation.objects.select_related("conveyor", "device", "plant")
        self.installation = get_visible(request, places, self.right, pk=kwargs["pk"])
        return super().dispatch(request, *args, **kwargs)

    def get_title(self) -> Any:
        return _("Raise an action at %(place)s") % {"place": self.installation}

    def visit(self) -> Visit | None:
        return row_asked(self.request.GET, "visit", Visit.objects.filter(installation=self.installation))

    def initial(self) -> dict[str, Any]:
        owner = proposed_owner(self.installation.plant, self.request.user)
        return {"due_on": timezone.localdate() + timedelta(days=ACTION_DAYS), "owner": owner}

    def build_form(self, data: Any = None, files: Any = None) -> Any:
        form = super().build_form(data, files)
        form.choose_beside(self.installation)
        return form

    def cancel_url(self) -> str:
        visit = self.visit()
        return visit.get_absolute_url() if visit else "/"

    def act(self, form: Any) -> Action:
        given, visit = form.values(), self.visit()
        kind = given["check_kind"]
        kinds = {kind.pk} if kind else kinds_at_act(visit) if visit else set()
        return actions.raise_or_add(
            form.new_action(),
            installation=self.installation,
            by=self.request.user,
            kinds=kinds,
            visit=visit,
            check_kind=kind,
            parts=given["parts"],
            client_key=form.cleaned_data["client_key"],
        )


class ActionUpdate(RecordChange):
    right = "inspections.change_action"
    queryset = ROWS
    form_class = ActionForm
    title = gettext_lazy("Change the action")
    done_words = gettext_lazy("Saved.")
    template_name = "inspections/action_form.html"

    def act(self, form: Any) -> Action:
        version = form.cleaned_data["version"] or 0
        return actions.change_action(self.row, by=self.request.user, version=version, **form.values())


@require_POST
@right("inspections.change_action")
def give_action(request: PlantRequest, pk: int) -> HttpResponse:
    """Give an action that nobody owns, or another, to somebody."""
    action = get_visible(request, ROWS, "inspections.change_action", pk=pk)
    form = GiveForm(request.POST, plant=action.plant)
    if not form.is_valid():
        messages.error(request, _("Choose who it is given to."))
        return redirect(action)
    given = form.cleaned_data
    try:
        actions.give_action(action, by=request.user, version=given["version"], owner=given["owner"])
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("%(who)s owns it now.") % {"who": given["owner"]})
    return redirect(action)


class ActionDone(RecordChange):
    right = "inspections.change_action"
    queryset = ROWS
    form_class = DoneForm
    button = gettext_lazy("It is done")
    done_words = gettext_lazy("Done.")

    def get_title(self) -> Any:
        return _("Done: %(title)s") % {"title": self.row.title}

    def form_kwargs(self) -> dict[str, Any]:
        now = timezone.localtime().replace(second=0, microsecond=0)
        initial = {"done_at": now}
        return {"person": self.request.user, "plant": self.row.plant, "initial": initial, "action": self.row}

    def act(self, form: Any) -> Action:
        given = form.cleaned_data
        return actions.finish_action(
            self.row,
            by=self.request.user,
            note=given["done_note"],
            done_at=given["done_at"],
            visit=given["visit"],
            as_left=form.as_left(),
            photos=[
                keep_photo(plant=self.row.plant, file=file, by=self.request.user)
                for file in [*(given["photos"] or []), *(given["camera"] or [])]
            ],
        )
