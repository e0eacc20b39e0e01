"""Pages of devices."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch
from django.db.models.functions import Length
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.forms.devices import DeviceChangeForm, DeviceForm, ScrapForm
from installs.models import Device, Installation
from installs.selectors.timeline import happenings_of
from installs.services import devices as services
from installs.tables.devices import DeviceFilter, DeviceTable
from installs.words.installations import place_words
from installs.words.timeline import life_told, timeline_told
from plant.calc.units import UnitSystem
from plant.panels import panels_for
from plant.permissions import PlantRequest, get_visible, right
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage


class DeviceList(RegisterList):
    right = "installs.view_device"
    title = gettext_lazy("Devices")
    empty_words = gettext_lazy("No device yet. Add one here, then record where it was fitted.")
    template_name = "installs/register_list.html"
    table_class = DeviceTable
    filter_class = DeviceFilter
    create_url_name, create_right = "device-create", "installs.add_device"
    create_label = gettext_lazy("Add a device")

    def rows(self) -> Any:
        standing = Installation.objects.in_place().select_related("conveyor")
        return (
            Device.objects.of_plant(self.request.plant)
            .annotate(n_digits=Length("number"))
            .select_related("device_model")
            .prefetch_related(Prefetch("installations", standing, to_attr="standing"))
        )


@right("installs.view_device")
def device_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """One piece of hardware: where it is, where it was, what its label says."""
    row = get_visible(request, Device.objects.select_related("plant", "device_model"), "installs.view_device", pk=pk)
    places = list(
        row.installations.select_related("conveyor", "plant", "device__device_model", "sheet").order_by("-installed_at")
    )
    timelines = [(each, timeline_told(happenings_of(each), panels_for("timeline", request, each))) for each in places]
    system = UnitSystem(request.user.unit_system)
    return render(
        request,
        "installs/device_detail.html",
        {
            "title": _("Device %s") % row.number,
            "row": row,
            "places": places,
            "now_at": next((each for each in places if each.removed_at is None), None),
            "life": [
                (each, place_words(each.place, system) if each.place else "") for each in life_told(row, timelines)
            ],
            "panels": panels_for("device-detail", request, row),
        },
    )


class DeviceCreate(RecordPage):
    right = "installs.add_device"
    form_class = DeviceForm
    title = gettext_lazy("Add a device")
    done_words = gettext_lazy("The device is in the book. Next: record where it was fitted.")

    def cancel_url(self) -> str:
        return reverse("device-list")

    def act(self, form: DeviceForm) -> Device:
        return services.add_device(
            plant=self.request.plant, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class DeviceChange(RecordChange):
    right = "installs.change_device"
    template_name = "plant/record_change.html"
    form_class = DeviceChangeForm
    queryset = Device.objects.select_related("plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change device %s") % self.row.number

    def act(self, form: DeviceChangeForm) -> Device:
        return services.change_device(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class DeviceScrap(RecordChange):
    right = "installs.change_device"
    form_class = ScrapForm
    queryset = Device.objects.select_related("plant")
    button = gettext_lazy("Scrap the device")
    done_words = gettext_lazy("Scrapped. It can be fitted nowhere now; its history stays.")

    def get_title(self) -> str:
        return _("Scrap device %s?") % self.row.number

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version, "scrapped_on": timezone.localdate(timezone=self.row.plant.zone)}

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known

    def act(self, form: ScrapForm) -> Device:
        read = form.cleaned_data
        return services.scrap_device(
            self.row,
            by=self.request.user,
            version=read["version"],
            scrapped_on=read["scrapped_on"],
            reason=read["reason"],
        )
