"""Pages over incidents."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from plant.errors import Refused
from plant.forms.incidents import IncidentCorrectionForm, IncidentForm, WithdrawalForm
from plant.models import Conveyor, Incident
from plant.permissions import PlantRequest, get_visible, right
from plant.services import incidents
from plant.services.photos import keep_photo
from plant.tables.incidents import IncidentFilter, IncidentTable
from plant.views.asked import row_asked
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage


class IncidentList(RegisterList):
    right = "plant.view_incident"
    title = gettext_lazy("Incidents")
    empty_words = gettext_lazy("No incident is in the book yet. Record one, or send in the log as a file.")
    table_class = IncidentTable
    filter_class = IncidentFilter
    create_url_name = "incident-create"
    create_label = gettext_lazy("Record an incident")
    create_right = "plant.add_incident"

    def rows(self) -> Any:
        return Incident.objects.of_plant(self.request.plant).select_related("conveyor", "corrected_by")

    def get_lede(self) -> str:
        month = Incident.objects.of_plant(self.request.plant).current().in_the_days_before(timezone.now(), 30)
        return (
            ngettext(
                "%(n)d incident in the last 30 days, %(stops)d of them stopped a belt.",
                "%(n)d incidents in the last 30 days, %(stops)d of them stopped a belt.",
                month["n"],
            )
            % month
        )


def photos_of(form: Any, *, plant: Any, by: Any) -> list[Any]:
    """Keeps the photos of a form; a key made from the form's makes a second sending find the first."""
    key = form.cleaned_data.get("client_key") or uuid.uuid4()
    return [
        keep_photo(plant=plant, file=file, by=by, client_key=uuid.uuid5(key, f"photo {number}"))
        for number, file in enumerate(form.cleaned_data.get("new_photos") or [])
    ]


class IncidentCreate(RecordPage):
    right = "plant.add_incident"
    form_class = IncidentForm
    title = gettext_lazy("Record an incident")
    button = gettext_lazy("Record the incident")
    done_words = gettext_lazy("Recorded.")
    asks_again = True

    def initial(self) -> dict[str, Any]:
        belt = row_asked(self.request.GET, "conveyor", Conveyor.objects.of_plant(self.request.plant))
        return {"conveyor": belt} if belt else {}

    def cancel_url(self) -> str:
        return reverse("incident-list")

    def act(self, form: Any) -> Incident:
        by, plant = self.request.user, self.request.plant
        photos = photos_of(form, plant=plant, by=by)
        return incidents.record_incident(
            by=by, client_key=form.cleaned_data["client_key"], photos=photos, **form.values()
        )


@right("plant.view_incident")
def incident_detail(request: PlantRequest, pk: int) -> HttpResponse:
    rows = Incident.objects.select_related(
        "conveyor__area", "plant", "created_by", "corrects", "corrected_by", "import_batch"
    )
    incident = get_visible(request, rows, "plant.view_incident", pk=pk)
    return render(
        request,
        "plant/incident_detail.html",
        {"title": _("Incident on %(tag)s") % {"tag": incident.conveyor.tag}, "incident": incident},
    )


class IncidentCorrect(RecordChange):
    right = "plant.change_incident"
    queryset = Incident.objects.all()
    form_class = IncidentCorrectionForm
    title = gettext_lazy("Correct the incident")
    button = gettext_lazy("Write the correction")
    done_words = gettext_lazy("Corrected. The row as it was stays below.")

    def act(self, form: Any) -> Incident:
        by = self.request.user
        return incidents.correct_incident(
            row=self.row,
            by=by,
            reason=form.cleaned_data["correction_reason"],
            client_key=form.cleaned_data["client_key"],
            photos=photos_of(form, plant=self.row.plant, by=by),
            **form.values(),
        )


@right("plant.change_incident")
def incident_withdraw(request: PlantRequest, pk: int) -> HttpResponse:
    incident = get_visible(request, Incident.objects.all(), "plant.change_incident", pk=pk)
    form = WithdrawalForm(
        request.POST or None, person=request.user, plant=request.plant, initial={"client_key": uuid.uuid4()}
    )
    if request.method == "POST" and form.is_valid():
        try:
            row = incidents.withdraw_incident(
                row=incident,
                by=request.user,
                reason=form.cleaned_data["correction_reason"],
                client_key=form.cleaned_data["client_key"],
            )
            messages.success(request, _("It no longer counts. The row as it was stays below."))
            return redirect(row)
        except Refused as refusal:
            form.add_refusal(refusal)
    return render(
        request,
        "plant/record_form.html",
        {
            "title": _("Withdraw the incident"),
            "lede": _("Say why it was no mistracking. It is left out of every count; nothing is deleted."),
            "form": form,
            "button": _("Withdraw it"),
            "cancel_url": incident.get_absolute_url(),
        },
        status=422 if form.errors else 200,
    )
