"""Pages of instruments: the register, one instrument with what it signed off, its calibration."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from installs.forms.instruments import CalibrationForm, InstrumentChangeForm, InstrumentForm
from installs.models import Instrument
from installs.services import instruments as services
from installs.tables.instruments import InstrumentFilter, InstrumentTable, calibration_state
from plant.calc.units import UnitSystem
from plant.permissions import PlantRequest, get_visible, right
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage
from plant.words.history import facts_of

# How many sign-offs stand on an instrument's page; the rest is in the book of each job.
LATEST = 50


class InstrumentList(RegisterList):
    right = "installs.view_instrument"
    title = gettext_lazy("Instruments")
    template_name = "installs/register_list.html"
    empty_words = gettext_lazy("No instrument yet. Add the torque wrenches, so that torques can be signed off.")
    table_class = InstrumentTable
    filter_class = InstrumentFilter
    create_url_name, create_right = "instrument-create", "installs.add_instrument"
    create_label = gettext_lazy("Add an instrument")

    def rows(self) -> Any:
        return Instrument.objects.of_plant(self.request.plant)

    def get_lede(self) -> str:
        used = Instrument.objects.of_plant(self.request.plant).in_use()
        late = used.filter(calibration_due_on__lt=timezone.localdate()).count()
        if not late:
            return _("No instrument in use is out of calibration.") if used.exists() else ""
        words = ngettext(
            "%(n)d instrument in use is out of calibration.", "%(n)d instruments in use are out of calibration.", late
        )
        return words % {"n": late}


@right("installs.view_instrument")
def instrument_detail(request: PlantRequest, pk: int) -> HttpResponse:
    row = get_visible(request, Instrument.objects.select_related("plant"), "installs.view_instrument", pk=pk)
    fields = ["number", "kind", "range_least_nm", "range_most_nm", "deviation_pct"]
    fields += ["calibrated_on", "calibration_due_on", "certificate", "note"]
    state, words = calibration_state(row, timezone.localdate(timezone=row.plant.zone))
    signed = row.torques.current().select_related("fitting__conveyor", "fastener", "signed_by").order_by("-signed_at")
    return render(
        request,
        "installs/instrument_detail.html",
        {
            "title": str(row),
            "row": row,
            "state": state,
            "state_words": words,
            "facts": facts_of(row, *fields, system=UnitSystem(request.user.unit_system)),
            "change_right": "installs.change_instrument",
            "change_url": reverse("instrument-update", args=[row.pk]),
            "signed": signed[:LATEST],
        },
    )


class InstrumentCreate(RecordPage):
    right = "installs.add_instrument"
    form_class = InstrumentForm
    title = gettext_lazy("Add an instrument")
    done_words = gettext_lazy("The instrument is in the book.")

    def cancel_url(self) -> str:
        return reverse("instrument-list")

    def act(self, form: InstrumentForm) -> Instrument:
        return services.add_instrument(
            plant=self.request.plant, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class InstrumentChange(RecordChange):
    right = "installs.change_instrument"
    template_name = "plant/record_change.html"
    form_class = InstrumentChangeForm
    queryset = Instrument.objects.select_related("plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change %s") % self.row

    def act(self, form: InstrumentChangeForm) -> Instrument:
        return services.change_instrument(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class InstrumentCalibration(RecordChange):
    right = "installs.change_instrument"
    template_name = "plant/record_change.html"
    form_class = CalibrationForm
    queryset = Instrument.objects.select_related("plant")
    button = gettext_lazy("Record the calibration")
    done_words = gettext_lazy("The calibration is recorded.")

    def get_title(self) -> str:
        return _("Calibration of %s") % self.row

    def act(self, form: CalibrationForm) -> Instrument:
        return services.calibrate_instrument(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )
