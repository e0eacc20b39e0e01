"""Settings of a plant."""

from __future__ import annotations

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.forms.plants import PlantForm
from plant.models import Plant
from plant.permissions import require_right
from plant.services.plants import change_plant
from plant.views.records import RecordPage


class PlantSettings(RecordPage):
    right = "plant.change_plant"
    template_name = "plant/plant_form.html"
    form_class = PlantForm
    done_words = gettext_lazy("Saved. The site uses the new values from now on.")

    def get_row(self) -> Plant:
        require_right(self.request.user, self.right, self.request.plant)
        return self.request.plant

    def get_title(self) -> str:
        return _("Settings of %s") % self.request.plant

    def cancel_url(self) -> str:
        return reverse("account")

    def act(self, form: PlantForm) -> Plant:
        return change_plant(self.row, by=self.request.user, version=form.cleaned_data["version"], **form.values())
