"""The fit-up sheet as people fill it in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from installs.models import FitUp
from installs.selectors.fit_up import MEASURES
from installs.services.fit_up import read_measures
from installs.words.fit_up import SECTIONS
from plant.errors import Refused
from plant.forms.base import RecordForm
from plant.forms.quantities import QuantityField


class FitUpForm(RecordForm):
    class Meta:
        model = FitUp
        fields = [*MEASURES, "note"]
        labels = {"reference_was_checked": _("The reference was itself checked")}
        help_texts = {
            "end_play_mm": _("Empty: the start value beside it."),
            "wanted_lift_mm": _("Empty: the start value beside it."),
            "belt_off_by_mm": _("0 where it is centred. Empty: what the gaps tell."),
            "reference_distance_mm": _("Needed from one point, and between bracket pairs."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["squareness_way"].choices = [("", _("not measured yet")), *FitUp.Squareness.choices]
        self.fields["belt_lies_to"].choices = [
            ("", _("not told")),
            ("drive", _("drive side")),
            ("off", _("off side")),
        ]
        for field in self.fields.values():
            if isinstance(field, QuantityField):
                field.is_taped = True
        self.fields["note"].widget = forms.Textarea(attrs={"rows": 2})

    def measures_so_far(self) -> Any:
        """The measures that could be read, for the drawing and the lines; what could not be read is left out."""
        read: dict[str, Any] = {}
        for name in MEASURES:
            value = getattr(self, "cleaned_data", {}).get(name) if self.is_bound else self.initial.get(name)
            if value in (None, ""):
                continue
            try:
                read_measures({name: value})
            except Refused:
                continue  # the box says what is wrong with it
            read[name] = value
        return read_measures(read)

    def sections(self) -> list[dict[str, Any]]:
        """Boxes by section, each row with the line that it leads to."""
        return [
            {
                "key": key,
                "title": title,
                "how": how,
                "rows": [{"fields": [self[name] for name in names], "line": line} for names, line in rows],
            }
            for key, title, how, rows in SECTIONS
        ]
