"""Pages of a device's life in its place: part changes, out of service and back."""

from __future__ import annotations

from typing import Any

from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.forms.service_life import (
    BackInServiceForm,
    OutOfServiceChangeForm,
    OutOfServiceForm,
    PartChangeCorrectionForm,
    PartChangeForm,
)
from installs.models import Installation, OutOfService, PartChange
from installs.services import out_of_service, part_changes
from plant.permissions import PlantRequest, get_visible
from plant.views.records import RecordChange, RecordPage

WITH_PLACE = ("plant", "conveyor__plant", "device__device_model")


class PlaceAct(RecordPage):
    """An act at one installation, which the address names; leads with the safety words of its belt."""

    template_name = "installs/installation_form.html"
    asks_again = True

    def dispatch(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        rows = Installation.objects.select_related(*WITH_PLACE)
        self.installation = get_visible(request, rows, self.right, pk=kwargs["pk"])
        return super().dispatch(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(conveyor=self.installation.conveyor, **kwargs)

    def cancel_url(self) -> str:
        return self.installation.get_absolute_url()

    def next_url(self, row: Any) -> str:
        return self.installation.get_absolute_url()


class PartChangeCreate(PlaceAct):
    right = "installs.add_partchange"
    form_class = PartChangeForm
    button = gettext_lazy("Record the part change")
    done_words = gettext_lazy(
        "The part change is in the book. Where a check plan asks for a bedding-in check, it is due anew."
    )

    def get_title(self) -> str:
        return _("Part changed at %s") % self.installation

    def act(self, form: PartChangeForm) -> PartChange:
        return part_changes.record_part_change(
            installation=self.installation,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class PartChangeCorrect(RecordChange):
    right = "installs.change_partchange"
    queryset = PartChange.objects.select_related("installation__plant", "installation__conveyor")
    form_class = PartChangeCorrectionForm
    title = gettext_lazy("Correct the part change")
    button = gettext_lazy("Write the correction")
    done_words = gettext_lazy("Corrected. The row as it was is kept.")

    def cancel_url(self) -> str:
        return self.row.installation.get_absolute_url()

    def next_url(self, row: PartChange) -> str:
        return self.cancel_url()

    def act(self, form: PartChangeCorrectionForm) -> PartChange:
        read = form.cleaned_data
        return part_changes.correct_part_change(
            self.row,
            by=self.request.user,
            reason=read["correction_reason"],
            client_key=read["client_key"],
            withdraw=read["withdraw"],
            **({} if read["withdraw"] else form.values()),
        )


class OutOfServiceCreate(PlaceAct):
    right = "installs.add_outofservice"
    form_class = OutOfServiceForm
    button = gettext_lazy("Take it out of service")
    done_words = gettext_lazy("Out of service. Its open checks rest until it is back.")

    def get_title(self) -> str:
        return _("Take %s out of service?") % self.installation

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        lede = _("It stays in its place. Open checks are withdrawn and none is asked for until it is back.")
        return super().get_context_data(lede=lede, **kwargs)

    def act(self, form: OutOfServiceForm) -> OutOfService:
        return out_of_service.take_out_of_service(
            installation=self.installation,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )


class SpellAct(RecordChange):
    """An act at one spell out of service; leads with the safety words of its belt."""

    right = "installs.change_outofservice"
    template_name = "installs/installation_form.html"
    queryset = OutOfService.objects.select_related("installation__plant", "installation__conveyor__plant")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(conveyor=self.row.installation.conveyor, **kwargs)

    def cancel_url(self) -> str:
        return self.row.installation.get_absolute_url()

    def next_url(self, row: OutOfService) -> str:
        return self.cancel_url()


class BackInService(SpellAct):
    form_class = BackInServiceForm
    button = gettext_lazy("It is back in service")
    done_words = gettext_lazy("Back in service. Its next checks are asked for.")

    def get_title(self) -> str:
        return _("Is %s back in service?") % self.row.installation

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version, "ends_at": timezone.now()}

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance")
        return known

    def act(self, form: BackInServiceForm) -> OutOfService:
        read = form.cleaned_data
        return out_of_service.back_in_service(
            self.row, by=self.request.user, version=read["version"], ends_at=read["ends_at"]
        )


class OutOfServiceChange(SpellAct):
    form_class = OutOfServiceChangeForm
    title = gettext_lazy("Put right when it was out of service")
    done_words = gettext_lazy("Saved.")

    def act(self, form: OutOfServiceChangeForm) -> OutOfService:
        return out_of_service.change_out_of_service(
            self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values()
        )
