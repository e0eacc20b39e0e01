"""Pages over actions."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inspections.forms.actions import ActionForm, DoneForm
from inspections.forms.visits import ACTION_DAYS
from inspections.models import Action, Visit
from inspections.services import actions
from inspections.tables.actions import ActionFilter, ActionTable, state_words
from installs.models import Installation
from plant.calc.units import QuantityKind, UnitSystem, format_reading
from plant.permissions import get_visible, right
from plant.services.photos import keep_photo
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
        words = ngettext("%(n)s action is open", "%(n)s actions are open", n) % {"n": n}
        return _("%(words)s, %(late)s of them late.") % {"words": words, "late": late}


@right("inspections.view_action")
def action_detail(request: HttpRequest, pk: int) -> HttpResponse:
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
    }
    return render(request, "inspections/action_detail.html", context)


class ActionCreate(RecordPage):
    right = "inspections.add_action"
    form_class = ActionForm
    title = gettext_lazy("Raise an action")
    button = gettext_lazy("Raise the action")
    done_words = gettext_lazy("Raised.")
    template_name = "inspections/action_form.html"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        places = Installation.objects.select_related("conveyor", "device", "plant")
        self.installation = get_visible(request, places, self.right, pk=kwargs["pk"])
        return super().dispatch(request, *args, **kwargs)

    def get_title(self) -> Any:
        return _("Raise an action at %(place)s") % {"place": self.installation}

    def visit(self) -> Visit | None:
        wanted = self.request.GET.get("visit", "")
        return Visit.objects.filter(installation=self.installation, pk=wanted).first() if wanted.isdecimal() else None

    def initial(self) -> dict[str, Any]:
        return {"due_on": timezone.localdate() + timedelta(days=ACTION_DAYS)}

    def cancel_url(self) -> str:
        visit = self.visit()
        return visit.get_absolute_url() if visit else "/"

    def act(self, form: Any) -> Action:
        return actions.raise_action(
            installation=self.installation,
            by=self.request.user,
            visit=self.visit(),
            client_key=form.cleaned_data["client_key"],
            **form.values(),
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
