"""Pages over running hours: the ledger of a belt, spans, meter readings."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.calc.calendar import local_month_bounds
from plant.forms.running_hours import (
    MeterReadingCorrectionForm,
    MeterReadingForm,
    RunRecordCorrectionForm,
    RunRecordForm,
)
from plant.models import Conveyor, MeterReading, RunRecord
from plant.permissions import PlantRequest, get_visible, right
from plant.selectors.running_hours import hours_of
from plant.services import running_hours
from plant.tables.running_hours import MeterReadingFilter, MeterReadingTable, RunRecordFilter, RunRecordTable
from plant.views.lists import RegisterList
from plant.views.records import RecordPage
from plant.words.running_hours import meter_words

MONTHS_SHOWN = 24


def months_back(today: dt.date, n: int) -> list[tuple[int, int]]:
    """The last n calendar months, this one included, oldest first."""
    last = today.year * 12 + today.month - 1
    return [divmod(each, 12) for each in range(last - n + 1, last + 1)]


@right("plant.view_runrecord")
def hours_page(request: PlantRequest, pk: int) -> HttpResponse:
    """How long the belt ran, month by month, and how much of the time is known."""
    conveyor = get_visible(request, Conveyor.objects.select_related("plant"), "plant.view_runrecord", pk=pk)
    hours = hours_of([conveyor])[conveyor.pk]
    zone, now = conveyor.plant.zone, timezone.now()
    months = []
    for year, month in months_back(timezone.localdate(), MONTHS_SHOWN):
        start, end = local_month_bounds(year, month + 1, zone)
        months.append({"start": start, "end": end, "exposure": hours.ledger.hours(start, min(end, now))})
    year_ago = now - dt.timedelta(days=365)
    return render(
        request,
        "plant/hours_detail.html",
        {
            "title": _("Running hours of %(tag)s") % {"tag": conveyor.tag},
            "conveyor": conveyor,
            "year": hours.ledger.hours(year_ago, now),
            "months": list(reversed(months)),
            "flagged": [(each, meter_words(each.reason)) for each in hours.meter.flagged],
            "readings": conveyor.meter_readings.current().select_related("created_by")[:24],
            "runs": conveyor.run_records.current().select_related("created_by")[:30],
        },
    )


class RunRecordList(RegisterList):
    right = "plant.view_runrecord"
    title = gettext_lazy("Running hours, all rows")
    empty_words = gettext_lazy("No running hours yet. Open a conveyor and add them, or send in a file.")
    table_class = RunRecordTable
    filter_class = RunRecordFilter

    def rows(self) -> Any:
        return RunRecord.objects.filter(conveyor__plant=self.request.plant).select_related(
            "conveyor", "created_by", "corrected_by"
        )


class MeterReadingList(RegisterList):
    right = "plant.view_meterreading"
    title = gettext_lazy("Meter readings")
    empty_words = gettext_lazy("No meter reading yet. Open a conveyor and add one, or send in a file.")
    table_class = MeterReadingTable
    filter_class = MeterReadingFilter

    def rows(self) -> Any:
        return MeterReading.objects.filter(conveyor__plant=self.request.plant).select_related(
            "conveyor", "created_by", "corrected_by"
        )


class HoursPage(RecordPage):
    """Adds a row to the conveyor whose pk the address has."""

    asks_again = True

    def get_row(self) -> Any:
        self.conveyor = get_visible(self.request, Conveyor.objects.all(), self.right, pk=self.kwargs["pk"])
        return None

    def initial(self) -> dict[str, Any]:
        return {"read_at": timezone.now()} if self.form_class is MeterReadingForm else {}

    def cancel_url(self) -> str:
        return reverse("hours-detail", args=[self.conveyor.pk])

    def next_url(self, row: Any) -> str:
        return self.cancel_url()

    def get_title(self) -> str:
        return f"{self.conveyor.tag}: {self.title}"


class RunRecordCreate(HoursPage):
    right = "plant.add_runrecord"
    form_class = RunRecordForm
    title = gettext_lazy("add running hours")
    done_words = gettext_lazy("Added.")

    def act(self, form: Any) -> RunRecord:
        return running_hours.record_run(
            conveyor=self.conveyor,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class MeterReadingCreate(HoursPage):
    right = "plant.add_meterreading"
    form_class = MeterReadingForm
    title = gettext_lazy("add a meter reading")
    done_words = gettext_lazy("Added.")

    def act(self, form: Any) -> MeterReading:
        return running_hours.record_meter_reading(
            conveyor=self.conveyor,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class HoursCorrect(RecordPage):
    """Corrects a span or a reading; the box "withdraw" takes it out of every count."""

    queryset: Any = None
    done_words = gettext_lazy("Corrected. The row as it was stays in the list.")
    button = gettext_lazy("Write the correction")

    def get_row(self) -> Any:
        return get_visible(self.request, self.queryset.all(), self.right, pk=self.kwargs["pk"])

    def cancel_url(self) -> str:
        return reverse("hours-detail", args=[self.row.conveyor_id])

    def next_url(self, row: Any) -> str:
        return self.cancel_url()


class RunRecordCorrect(HoursCorrect):
    right = "plant.change_runrecord"
    queryset = RunRecord.objects.select_related("conveyor__plant")
    form_class = RunRecordCorrectionForm
    title = gettext_lazy("Correct running hours")

    def act(self, form: Any) -> RunRecord:
        return running_hours.correct_run(
            row=self.row,
            by=self.request.user,
            reason=form.cleaned_data["correction_reason"],
            client_key=form.cleaned_data["client_key"],
            withdraw=form.cleaned_data["withdraw"],
            **form.values(),
        )


class MeterReadingCorrect(HoursCorrect):
    right = "plant.change_meterreading"
    queryset = MeterReading.objects.select_related("conveyor__plant")
    form_class = MeterReadingCorrectionForm
    title = gettext_lazy("Correct a meter reading")

    def act(self, form: Any) -> MeterReading:
        return running_hours.correct_meter_reading(
            row=self.row,
            by=self.request.user,
            reason=form.cleaned_data["correction_reason"],
            client_key=form.cleaned_data["client_key"],
            withdraw=form.cleaned_data["withdraw"],
            **form.values(),
        )
