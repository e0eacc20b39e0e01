"""Pages of fittings for planners: list, plan, change, parts at hand, give up."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from installs.files.needs_sheet import needs_pdf
from installs.forms.fittings import FittingChangeForm, FittingForm, GivingUpForm, NeedForm, NeedsForm
from installs.models import Device, DeviceModel, Fitting, FittingNeed, Survey
from installs.selectors.fittings import Needed, readiness_of
from installs.services import fittings as services
from installs.tables.fittings import FittingFilter, FittingTable
from installs.words.fittings import job_words, readiness_words
from plant.calc.addresses import number_in
from plant.calc.units import UnitSystem
from plant.files.pdf import paper_of, pdf_answer
from plant.models import Conveyor, OutageWindow
from plant.panels import panels_for
from plant.permissions import PlantRequest, get_visible, right
from plant.views.asked import row_asked
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage


class FittingList(RegisterList):
    right = "installs.view_fitting"
    title = gettext_lazy("Fittings")
    template_name = "installs/register_list.html"
    empty_words = gettext_lazy("No device is to be fitted. Plan the first fitting, by hand or from a survey.")
    table_class = FittingTable
    filter_class = FittingFilter
    create_url_name, create_right = "fitting-create", "installs.add_fitting"
    create_label = gettext_lazy("Plan a fitting")

    def rows(self) -> Any:
        return Fitting.objects.of_plant(self.request.plant).with_place().prefetch_related("crew")

    def get_lede(self) -> str:
        rows = Fitting.objects.of_plant(self.request.plant).open()
        n_begun = rows.filter(begun_at__isnull=False).count()
        planned = rows.count() - n_begun
        return ngettext("%(n)d fitting is planned", "%(n)d fittings are planned", planned) % {"n": planned} + ngettext(
            ", %(n)d is under way.", ", %(n)d are under way.", n_begun
        ) % {"n": n_begun}


class FittingCreate(RecordPage):
    right = "installs.add_fitting"
    template_name = "installs/fitting_form.html"
    form_class = FittingForm
    title = gettext_lazy("Plan a fitting")
    button = gettext_lazy("Plan the fitting")
    done_words = gettext_lazy("The fitting is planned.")

    def asked(self, name: str, rows: Any) -> Any:
        return row_asked(self.request.GET, name, rows.visible_to(self.request.user))

    def initial(self) -> dict[str, Any]:
        known: dict[str, Any] = {}
        for name, rows in (
            ("conveyor", Conveyor.objects),
            ("device", Device.objects),
            ("device_model", DeviceModel.objects),
            ("outage_window", OutageWindow.objects),
        ):
            row = self.asked(name, rows)
            if row is not None:
                known[name] = row.pk
        if self.request.GET.get("strand") in ("carry", "return"):
            known["strand"] = self.request.GET["strand"]
        chainage_m = number_in(self.request.GET.get("chainage"))
        if chainage_m is not None:
            known["chainage_m"] = chainage_m
        survey = self.asked("survey", Survey.objects)
        if survey is not None:
            known |= {
                "survey": survey.pk,
                "conveyor": survey.conveyor_id,
                "strand": survey.strand,
                "chainage_m": survey.chainage_m,
            }
            if survey.device_model_id:
                known["device_model"] = survey.device_model_id
        return known

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        belt = Conveyor.objects.filter(pk=self.initial().get("conveyor") or 0).first()
        return super().get_context_data(conveyor=belt, **kwargs)

    def cancel_url(self) -> str:
        return reverse("fitting-list")

    def act(self, form: FittingForm) -> Fitting:
        row = services.plan_fitting(by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values())
        say_what_is_missing(self.request, row)
        return row


def say_what_is_missing(request: Any, fitting: Fitting) -> None:
    """Clashes and a window that is too short are said at once; the rest stands on the page."""
    for line in readiness_of(fitting):
        if line.is_missing and line.about in (Needed.WINDOW, Needed.CREW, Needed.PLACE):
            messages.warning(request, readiness_words(line, UnitSystem(request.user.unit_system)))
    for panel in panels_for("fitting-crew", request, fitting):
        for words in panel["words"]:
            messages.warning(request, words)


class FittingChange(RecordChange):
    right = "installs.change_fitting"
    template_name = "installs/fitting_form.html"
    form_class = FittingChangeForm
    queryset = Fitting.objects.with_place()
    button = gettext_lazy("Save the plan")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change the plan: %s") % job_words(self.row, UnitSystem(self.request.user.unit_system))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(conveyor=self.row.conveyor, **kwargs)

    def act(self, form: FittingChangeForm) -> Fitting:
        row = services.change_fitting(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )
        say_what_is_missing(self.request, row)
        return row


class FittingNeeds(RecordChange):
    right = "installs.change_fittingneed"
    template_name = "installs/fitting_needs.html"
    queryset = Fitting.objects.with_place().prefetch_related("needs")
    title = gettext_lazy("Parts, tools and lifting aids at hand")
    button = gettext_lazy("Save the numbers")
    done_words = gettext_lazy("Saved.")

    def build_form(self, data: Any = None, files: Any = None) -> Any:
        return NeedsForm(data, fitting=self.row, person=self.request.user, plant=self.row.plant)

    def act(self, form: NeedsForm) -> Fitting:
        services.count_needs(fitting=self.row, by=self.request.user, at_hand=form.counts())
        return self.row


class NeedCreate(RecordPage):
    right = "installs.add_fittingneed"
    form_class = NeedForm
    title = gettext_lazy("Put a part, tool or lifting aid on the list")
    button = gettext_lazy("Put it on the list")
    done_words = gettext_lazy("It is on the list.")

    def get_row(self) -> Any:
        self.fitting = get_visible(self.request, Fitting.objects.all(), self.right, pk=self.kwargs["pk"])
        return None

    def cancel_url(self) -> str:
        return self.fitting.get_absolute_url()

    def act(self, form: NeedForm) -> FittingNeed:
        key = form.cleaned_data["client_key"]
        return services.add_need(fitting=self.fitting, by=self.request.user, client_key=key, **form.values())

    def next_url(self, row: FittingNeed) -> str:
        return reverse("fitting-needs", args=[row.fitting_id])


class FittingGivingUp(RecordChange):
    right = "installs.change_fitting"
    form_class = GivingUpForm
    queryset = Fitting.objects.with_place()
    button = gettext_lazy("Give the job up")
    done_words = gettext_lazy("The job is given up. Its record stays.")

    def get_title(self) -> str:
        return _("Give up the fitting on %s?") % job_words(self.row, UnitSystem(self.request.user.unit_system))

    def build_form(self, data: Any = None, files: Any = None) -> Any:
        return GivingUpForm(data, person=self.request.user, plant=self.row.plant, initial={"version": self.row.version})

    def act(self, form: GivingUpForm) -> Fitting:
        read = form.cleaned_data
        return services.give_up_fitting(self.row, by=self.request.user, **read)


@right("installs.view_fitting")
def needs_list(request: PlantRequest, pk: int) -> HttpResponse:
    """Parts, tools and lifting aids of a fitting as PDF, A4 or letter."""
    rows = Fitting.objects.select_related("plant", "conveyor", "device_model", "device", "outage_window")
    row = get_visible(request, rows, "installs.view_fitting", pk=pk)
    system = UnitSystem(request.user.unit_system)
    return pdf_answer(
        needs_pdf(row, system=system, paper=paper_of(request.GET.get("paper", ""))), f"parts-and-tools-{row.pk}.pdf"
    )
