"""Pages of device models and their fasteners."""

from __future__ import annotations

from typing import Any

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.forms.device_models import DeviceModelChangeForm, DeviceModelForm, FastenerForm, ModelPartForm
from installs.models import DeviceModel, Fastener, ModelPart
from installs.services import device_models as services
from installs.tables.device_models import DeviceModelFilter, DeviceModelTable
from installs.words.sheets import spec_groups
from plant.panels import panels_for
from plant.permissions import PlantRequest, get_visible, right
from plant.views.lists import RegisterList
from plant.views.records import RecordChange, RecordPage


class DeviceModelList(RegisterList):
    right = "installs.view_devicemodel"
    title = gettext_lazy("Device models")
    lede = gettext_lazy("What each type is made for. A figure that the maker does not state stays empty.")
    empty_words = gettext_lazy("No device model yet. Add one, or bring a list in as a file with the import desk.")
    template_name = "installs/register_list.html"
    table_class = DeviceModelTable
    filter_class = DeviceModelFilter
    create_url_name, create_right = "device-model-create", "installs.add_devicemodel"
    create_label = gettext_lazy("Add a device model")

    def rows(self) -> Any:
        return DeviceModel.objects.of_plant(self.request.plant).annotate(n_devices=Count("devices"))


@right("installs.view_devicemodel")
def device_model_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """One spec sheet: figures, fasteners, and the devices of that type."""
    row = get_visible(request, DeviceModel.objects.select_related("plant"), "installs.view_devicemodel", pk=pk)
    standing = row.devices.filter(installations__removed_at__isnull=True, installations__isnull=False).distinct()
    return render(
        request,
        "installs/device_model_detail.html",
        {
            "title": row.name,
            "row": row,
            "groups": spec_groups(row),
            "fasteners": row.fasteners.all(),
            "parts": row.parts.all(),
            "sheets": row.sheets.annotate(n_fitted=Count("installations")).select_related("created_by"),
            "panels": panels_for("device-model-detail", request, row),
            "n_devices": row.devices.count(),
            "n_standing": standing.count(),
        },
    )


class DeviceModelCreate(RecordPage):
    right = "installs.add_devicemodel"
    form_class = DeviceModelForm
    title = gettext_lazy("Add a device model")
    done_words = gettext_lazy("The model is in the book. Next: its fasteners with their torque.")

    def cancel_url(self) -> str:
        return reverse("device-model-list")

    def act(self, form: DeviceModelForm) -> DeviceModel:
        return services.add_device_model(
            plant=self.request.plant, by=self.request.user, client_key=form.cleaned_data["client_key"], **form.values()
        )


class DeviceModelChange(RecordChange):
    right = "installs.change_devicemodel"
    template_name = "plant/record_change.html"
    form_class = DeviceModelChangeForm
    queryset = DeviceModel.objects.select_related("plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change device model %s") % self.row

    def act(self, form: DeviceModelForm) -> DeviceModel:
        return services.change_device_model(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class FastenerCreate(RecordPage):
    right = "installs.add_fastener"
    form_class = FastenerForm
    done_words = gettext_lazy("The fasteners are in the book.")

    def get_row(self) -> None:
        self.device_model = get_visible(self.request, DeviceModel.objects.all(), self.right, pk=self.kwargs["pk"])

    def get_title(self) -> str:
        return _("Add fasteners to %s") % self.device_model

    def cancel_url(self) -> str:
        return self.device_model.get_absolute_url()

    def next_url(self, row: Fastener) -> str:
        return self.device_model.get_absolute_url()

    def act(self, form: FastenerForm) -> Fastener:
        return services.add_fastener(
            device_model=self.device_model,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class FastenerChange(RecordChange):
    right = "installs.change_fastener"
    template_name = "plant/record_change.html"
    form_class = FastenerForm
    queryset = Fastener.objects.select_related("device_model__plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change fasteners of %(model)s: %(place)s") % {
            "model": self.row.device_model,
            "place": self.row.place,
        }

    def cancel_url(self) -> str:
        return self.row.device_model.get_absolute_url()

    def next_url(self, row: Fastener) -> str:
        return row.device_model.get_absolute_url()

    def act(self, form: FastenerForm) -> Fastener:
        return services.change_fastener(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )


class ModelPartCreate(RecordPage):
    right = "installs.add_modelpart"
    form_class = ModelPartForm
    done_words = gettext_lazy("It is in the book.")

    def get_row(self) -> None:
        self.device_model = get_visible(self.request, DeviceModel.objects.all(), self.right, pk=self.kwargs["pk"])

    def get_title(self) -> str:
        return _("Add a part or tool to %s") % self.device_model

    def cancel_url(self) -> str:
        return self.device_model.get_absolute_url()

    def next_url(self, row: ModelPart) -> str:
        return self.device_model.get_absolute_url()

    def act(self, form: ModelPartForm) -> ModelPart:
        return services.add_part(
            device_model=self.device_model,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class ModelPartChange(RecordChange):
    right = "installs.change_modelpart"
    template_name = "plant/record_change.html"
    form_class = ModelPartForm
    queryset = ModelPart.objects.select_related("device_model__plant")
    done_words = gettext_lazy("Saved.")

    def get_title(self) -> str:
        return _("Change a part or tool of %(model)s: %(name)s") % {
            "model": self.row.device_model,
            "name": self.row.name,
        }

    def cancel_url(self) -> str:
        return self.row.device_model.get_absolute_url()

    def next_url(self, row: ModelPart) -> str:
        return row.device_model.get_absolute_url()

    def act(self, form: ModelPartForm) -> ModelPart:
        return services.change_part(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )
