"""Pages of installations: list, dossier, fitting and removal."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.files.dossier import dossier_pdf
from installs.forms.installations import (
    InstallationChangeForm,
    InstallationForm,
    InstallationMoveForm,
    RemovalForm,
    SheetForm,
)
from installs.models import Device, Installation
from installs.selectors.installations import zones_of
from installs.selectors.sheets import sheet_state
from installs.selectors.timeline import happenings_of
from installs.services import installations as services
from installs.tables.installations import InstallationFilter, InstallationTable
from installs.words.installations import fit_warnings
from installs.words.sheets import changes_since_fitted
from installs.words.timeline import timeline_told
from plant.calc.units import UnitSystem
from plant.files.pdf import paper_of, pdf_answer
from plant.models import Conveyor
from plant.panels import panels_for, strip_of
from plant.permissions import PlantRequest, get_visible, right
from plant.views.asked import row_asked
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage

WITH_PLACE = ("plant", "conveyor__area", "conveyor__plant", "device__device_model", "sheet")


class InstallationList(RegisterList):
    right = "installs.view_installation"
    title = gettext_lazy("Installations")
    lede = gettext_lazy("One device in one place for one period.")
    empty_words = gettext_lazy("No device stands anywhere yet. Record the first installation.")
    template_name = "installs/register_list.html"
    table_class = InstallationTable
    filter_class = InstallationFilter
    create_url_name, create_right = "installation-create", "installs.add_installation"
    create_label = gettext_lazy("Record an installation")

    def rows(self) -> Any:
        return Installation.objects.of_plant(self.request.plant).select_related(
            "conveyor__area", "device__device_model"
        )


@right("installs.view_installation")
def installation_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """The dossier: the place, the device, and what apps above know of it."""
    row = get_visible(request, Installation.objects.select_related(*WITH_PLACE), "installs.view_installation", pk=pk)
    spells, sheets = list(row.out_of_service.all()), sheet_state(row)
    return render(
        request,
        "installs/installation_detail.html",
        {
            "title": _("%(tag)s device %(number)s") % {"tag": row.conveyor.tag, "number": row.device.number},
            "row": row,
            "zones": zones_of(row),
            "strip": strip_of(request, row.conveyor),
            "timeline": timeline_told(happenings_of(row), panels_for("timeline", request, row)),
            "part_changes": row.part_changes.current(),
            "spells": spells,
            "out_now": next((each for each in spells if each.ends_at is None), None),
            "sheets": sheets,
            "sheet_changes": changes_since_fitted(sheets, UnitSystem(request.user.unit_system)),
            "warnings": fit_warnings(
                row.device,
                row.conveyor,
                row.strand,
                stated=row.stated,
                system=UnitSystem(request.user.unit_system),
            ),
            "panels": panels_for("installation-detail", request, row),
        },
    )


@right("installs.view_installation")
def installation_dossier(request: PlantRequest, pk: int) -> HttpResponse:
    """The dossier as PDF, A4 or letter."""
    row = get_visible(request, Installation.objects.select_related(*WITH_PLACE), "installs.view_installation", pk=pk)
    paper = paper_of(request.GET.get("paper", ""))
    return pdf_answer(dossier_pdf(request, row, paper=paper), f"dossier-{row.pk}.pdf")


class InstallationCreate(RecordPage):
    right = "installs.add_installation"
    template_name = "installs/installation_form.html"
    form_class = InstallationForm
    title = gettext_lazy("Record an installation")
    button = gettext_lazy("Record the installation")
    done_words = gettext_lazy("The installation is in the book.")

    def asked(self, name: str, rows: Any) -> Any:
        return row_asked(self.request.GET, name, rows.of_plant(self.request.plant))

    def initial(self) -> dict[str, Any]:
        found = {
            "device": self.asked("device", Device.objects),
            "conveyor": self.asked("conveyor", Conveyor.objects),
        }
        return {name: row.pk for name, row in found.items() if row}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(conveyor=self.asked("conveyor", Conveyor.objects), **kwargs)

    def cancel_url(self) -> str:
        return reverse("installation-list")

    def act(self, form: InstallationForm) -> Installation:
        row = services.install_device(by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values())
        for words in fit_warnings(
            row.device, row.conveyor, row.strand, system=UnitSystem(self.request.user.unit_system)
        ):
            messages.warning(self.request, words)
        return row


class InstallationChange(RecordChange):
    right = "installs.change_installation"
    template_name = "plant/record_change.html"
    form_class = InstallationChangeForm
    queryset = Installation.objects.select_related(*WITH_PLACE)
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Put right: %s") % self.row

    def act(self, form: InstallationChangeForm) -> Installation:
        return services.change_installation(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class InstallationRemoval(RecordChange):
    right = "installs.change_installation"
    template_name = "installs/installation_form.html"
    form_class = RemovalForm
    queryset = Installation.objects.select_related(*WITH_PLACE)
    button = gettext_lazy("Record the removal")
    done_words = gettext_lazy("The removal is in the book. Open checks here fall away; what was found stays.")

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version, "removed_at": timezone.now()}

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            conveyor=self.row.conveyor,
            **{
                "lede": _("The period ends here and stays in the book. The device is free for another place then."),
                **kwargs,
            },
        )

    def get_title(self) -> str:
        return _("Remove device %(number)s from %(tag)s?") % {
            "number": self.row.device.number,
            "tag": self.row.conveyor.tag,
        }

    def act(self, form: RemovalForm) -> Installation:
        read = form.cleaned_data
        return services.remove_installation(
            self.row,
            by=self.request.user,
            version=read["version"],
            removed_at=read["removed_at"],
            reason=read["reason"],
        )


class InstallationMove(InstallationRemoval):
    """Removal here, then the plan of a fitting of the same device elsewhere."""

    form_class = InstallationMoveForm
    button = gettext_lazy("Record the removal and plan the next place")
    done_words = gettext_lazy("The removal is in the book. Now plan where the device goes.")

    def get_title(self) -> str:
        return _("Move device %(number)s away from %(tag)s?") % {
            "number": self.row.device.number,
            "tag": self.row.conveyor.tag,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        lede = _(
            "Two steps: the period here ends and stays in the book with its effect and wear; then the fitting at the "
            "next place is planned, with survey and trial runs as for a new device."
        )
        return super().get_context_data(**{**kwargs, "lede": lede})

    def next_url(self, row: Installation) -> str:
        asked = {"device": row.device_id, "device_model": row.device.device_model_id}
        return f"{reverse('fitting-create')}?{urlencode(asked)}"

    def act(self, form: InstallationMoveForm) -> Installation:
        read = form.cleaned_data
        return services.begin_move(
            self.row,
            by=self.request.user,
            version=read["version"],
            removed_at=read["removed_at"],
            reason=read["reason"],
            state=read["state"],
            left_behind=read["left_behind"],
        )


class SheetTakeOver(RecordChange):
    right = "installs.change_devicemodel"
    template_name = "installs/sheet_take_over.html"
    form_class = SheetForm
    queryset = Installation.objects.select_related(*WITH_PLACE)
    button = gettext_lazy("Take over the newest sheet")
    done_words = gettext_lazy("The newest sheet holds here from now on. What was graded before stays as it was graded.")

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version}

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known

    def get_title(self) -> str:
        return _("Take over the newest sheet for %s") % self.row

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        sheets = sheet_state(self.row)
        changes = changes_since_fitted(sheets, UnitSystem(self.request.user.unit_system))
        return super().get_context_data(sheets=sheets, sheet_changes=changes, **kwargs)

    def act(self, form: SheetForm) -> Installation:
        read = form.cleaned_data
        return services.take_over_sheet(self.row, by=self.request.user, version=read["version"], reason=read["reason"])
