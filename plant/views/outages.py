"""Pages of outage windows and changes to belts."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.units import UnitSystem
from plant.forms.outages import BeltChangeForm, OutageCancelForm, OutageForm
from plant.models import BeltChange, Conveyor, OutageWindow
from plant.panels import panels_for
from plant.permissions import PlantRequest, get_visible, right
from plant.services import outages as services
from plant.tables.outages import BeltChangeFilter, BeltChangeTable, OutageFilter, OutageTable
from plant.views.asked import row_asked
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage
from plant.words.history import facts_of


class ForConveyor(RecordPage):
    """A page that may come from a conveyor's page: ?conveyor=12 chooses it in the form."""

    asks_again = True

    def initial(self) -> dict[str, Any]:
        known = row_asked(self.request.GET, "conveyor", Conveyor.objects.of_plant(self.request.plant))
        return {"conveyor": known.pk} if known else {}


# --- outage windows ---------------------------------------------------------------------------------------------------
class OutageList(RegisterList):
    right = "plant.view_outagewindow"
    title = gettext_lazy("Outage windows")
    lede = gettext_lazy(
        "When belts may be locked out. A window is a plan, never a permit: the site's lockout procedure comes first."
    )
    empty_words = gettext_lazy("No window ahead. Plan one so that checks that need lockout can be laid into it.")
    template_name = "plant/conveyor_row_list.html"
    table_class = OutageTable
    filter_class = OutageFilter
    create_url_name, create_right = "outage-create", "plant.add_outagewindow"
    create_label = gettext_lazy("Plan a window")

    def rows(self) -> Any:
        return OutageWindow.objects.filter(conveyor__plant=self.request.plant).select_related("conveyor__area")


@right("plant.view_outagewindow")
def outage_detail(request: PlantRequest, pk: int) -> HttpResponse:
    rows = OutageWindow.objects.select_related("conveyor__plant")
    row = get_visible(request, rows, "plant.view_outagewindow", pk=pk)
    return render(
        request,
        "plant/outage_detail.html",
        {
            "title": _("Outage window on %s") % row.conveyor.tag,
            "lede": _("A plan, never a permit."),
            "row": row,
            "facts": facts_of(
                row, "conveyor", "starts_at", "ends_at", "reason", system=UnitSystem(request.user.unit_system)
            ),
            "change_right": "plant.change_outagewindow",
            "change_url": reverse("outage-update", args=[row.pk]),
            "panels": panels_for("outage-detail", request, row),
        },
    )


class OutageCreate(ForConveyor):
    right = "plant.add_outagewindow"
    form_class = OutageForm
    title = gettext_lazy("Plan an outage window")
    button = gettext_lazy("Plan the window")
    done_words = gettext_lazy("The window is planned.")

    def cancel_url(self) -> str:
        return reverse("outage-list")

    def act(self, form: OutageForm) -> OutageWindow:
        return services.plan_outage(by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values())


class OutageChange(RecordChange):
    right = "plant.change_outagewindow"
    template_name = "plant/record_change.html"
    form_class = OutageForm
    queryset = OutageWindow.objects.select_related("conveyor__plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change the outage window on %s") % self.row.conveyor.tag

    def act(self, form: OutageForm) -> OutageWindow:
        return services.change_outage(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class OutageCancel(RecordChange):
    right = "plant.delete_outagewindow"
    form_class = OutageCancelForm
    queryset = OutageWindow.objects.select_related("conveyor__plant")
    button = gettext_lazy("Take the window out")

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version}

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known

    def get_title(self) -> str:
        return _("Take the outage window on %s out of the plan?") % self.row.conveyor.tag

    def act(self, form: OutageCancelForm) -> OutageWindow:
        services.cancel_outage(
            self.row, by=self.request.user, version=form.cleaned_data["version"], why=form.cleaned_data["why"]
        )
        messages.success(self.request, _("The window is out of the plan."))
        return self.row

    def next_url(self, row: OutageWindow) -> str:
        return row.conveyor.get_absolute_url()


# --- changes to a belt ------------------------------------------------------------------------------------------------
class BeltChangeList(RegisterList):
    right = "plant.view_beltchange"
    title = gettext_lazy("Changes to belts")
    lede = gettext_lazy(
        "Work that changes how a belt tracks by itself. A comparison before and after never reaches across one."
    )
    empty_words = gettext_lazy(
        "No change yet. Write down new belts, splices, chutes, idlers and the like as they are done."
    )
    template_name = "plant/conveyor_row_list.html"
    table_class = BeltChangeTable
    filter_class = BeltChangeFilter
    create_url_name, create_right = "belt-change-create", "plant.add_beltchange"
    create_label = gettext_lazy("Record a change")

    def rows(self) -> Any:
        return BeltChange.objects.filter(conveyor__plant=self.request.plant).select_related("conveyor")


@right("plant.view_beltchange")
def belt_change_detail(request: PlantRequest, pk: int) -> HttpResponse:
    rows = BeltChange.objects.select_related("conveyor__plant")
    row = get_visible(request, rows, "plant.view_beltchange", pk=pk)
    fields = ("conveyor", "changed_at", "kind", "chainage_m", "description", "cuts_comparison")
    return render(
        request,
        "plant/belt_change_detail.html",
        {
            "title": _("Change to %s") % row.conveyor.tag,
            "row": row,
            "facts": facts_of(row, *fields, system=UnitSystem(request.user.unit_system)),
            "change_right": "plant.change_beltchange",
            "change_url": reverse("belt-change-update", args=[row.pk]),
        },
    )


class BeltChangeCreate(ForConveyor):
    right = "plant.add_beltchange"
    form_class = BeltChangeForm
    title = gettext_lazy("Record a change to a belt")
    done_words = gettext_lazy("The change is in the book.")

    def cancel_url(self) -> str:
        return reverse("belt-change-list")

    def act(self, form: BeltChangeForm) -> BeltChange:
        return services.record_belt_change(
            by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class BeltChangeChange(RecordChange):
    right = "plant.change_beltchange"
    template_name = "plant/record_change.html"
    form_class = BeltChangeForm
    queryset = BeltChange.objects.select_related("conveyor__plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change what was recorded on %s") % self.row.conveyor.tag

    def act(self, form: BeltChangeForm) -> BeltChange:
        return services.change_belt_change(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )
