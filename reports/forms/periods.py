"""Which two periods of what a person wants to compare."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Installation
from plant.forms.base import PersonForm
from plant.models import Area, Conveyor, Plant
from plant.words.moments import day_words
from reports.calc.study_windows import Window
from reports.selectors.periods import window_of_days


class PeriodsForm(PersonForm):
    of = forms.ChoiceField(label=gettext_lazy("Of"))
    first_from = forms.DateField(label=gettext_lazy("First period, from"))
    first_until = forms.DateField(label=gettext_lazy("First period, last day"))
    second_from = forms.DateField(label=gettext_lazy("Second period, from"))
    second_until = forms.DateField(label=gettext_lazy("Second period, last day"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["of"].choices = choices_of(self.plant)

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        today = timezone.localdate(timezone=self.plant.zone)
        for name, words in (("first", _("first")), ("second", _("second"))):
            start, end = found.get(f"{name}_from"), found.get(f"{name}_until")
            if end is not None and end > today:
                said = _("%(day)s is in the future. Give a last day up to today.")
                self.add_error(f"{name}_until", said % {"day": day_words(end)})
            if start is not None and end is not None and end < start:
                said = _("The %(name)s period would end on %(end)s, before it starts on %(start)s. Give a later day.")
                self.add_error(
                    f"{name}_until", said % {"name": words, "end": day_words(end), "start": day_words(start)}
                )
        if not self.errors and found:
            first, second = self.windows()
            if first.start < second.end and second.start < first.end:
                said = _(
                    "The periods share days: their incidents would be counted twice. Let one end before the other."
                )
                self.add_error("second_from", said)
        return found

    def windows(self) -> tuple[Window, Window]:
        """Both periods, whole days in the plant's clock; today's ends now."""
        zone = self.plant.zone
        pairs = (
            (self.cleaned_data[f"{name}_from"], self.cleaned_data[f"{name}_until"]) for name in ("first", "second")
        )
        first, second = (window_of_days(start, end, zone, timezone.now()) for start, end in pairs)
        return first, second


def choices_of(plant: Plant) -> list[tuple[str, Any]]:
    """The plant, its areas, its belts and its devices, each with the key of its scope."""
    devices = Installation.objects.of_plant(plant).select_related("conveyor", "device")
    removed = _("removed")
    return [
        ("plant", str(plant)),
        (_("Areas"), [(f"area-{each.pk}", str(each)) for each in Area.objects.of_plant(plant)]),
        (
            _("Belts"),
            [(f"conveyor-{each.pk}", each.tag) for each in Conveyor.objects.of_plant(plant).order_by("tag")],
        ),
        (
            _("In reach of a device"),
            [
                (f"installation-{each.pk}", f"{each}, {removed}" if each.removed_at else str(each))
                for each in devices.order_by("conveyor__tag", "chainage_m", "installed_at")
            ],
        ),
    ]
