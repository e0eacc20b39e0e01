"""What a plant sets for itself."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.forms.base import RecordForm
from plant.models import Plant


class PlantForm(RecordForm):
    # Places, and not the aliases and stand-ins of the zone database such as Factory or localtime.
    time_zone = forms.ChoiceField(
        label=_("time zone"),
        choices=[(name, name) for name in sorted(available_timezones()) if "/" in name or name == "UTC"],
    )

    class Meta:
        model = Plant
        fields = [
            "name",
            "time_zone",
            "lockout_procedure",
            "lockout_reviewed_on",
            "merge_minutes",
            "settling_in_days",
            "settling_in_h",
            "least_coverage_pct",
            "margin_low",
            "margin_high",
            "watch_alarm_years",
            "watch_learn_h",
            "watch_least_share_pct",
            "escalate_after_days",
            "effect_length_m",
            "walking_m_s",
            "lockout_minutes",
            "runoff_share_pct",
            "runoff_most_mm",
            "currency",
            "cost_of_stop_hour",
            "cost_of_spilled_tonne",
            "holidays",
        ]
        widgets = {"holidays": forms.Textarea(attrs={"rows": 6})}
        # The box itself tells the unit of the reader.
        labels = {
            "effect_length_m": _("effect length where the model states none"),
            "runoff_share_pct": _("permitted run-off of a belt, share of its width"),
            "runoff_most_mm": _("permitted run-off of a belt at most"),
        }

        help_texts = {
            "watch_alarm_years": _(
                "Larger: fewer alarms for nothing, and a device that fades is noticed later. Start value 5."
            ),
            "watch_learn_h": _("Only afterwards is a device watched. Start value 1500."),
            "watch_least_share_pct": _(
                "So that a short lucky time at first does not make every later incident an alarm. Start value 33."
            ),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = self.fields["time_zone"].choices
        if self.instance.time_zone not in dict(choices):
            self.fields["time_zone"].choices = [(self.instance.time_zone, self.instance.time_zone), *choices]
