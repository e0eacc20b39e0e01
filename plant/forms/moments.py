"""A form field for moments in the plant's clock, also in the hour that comes twice."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils import timezone

LOCAL_MOMENT = {"type": "datetime-local", "step": "60"}


class MomentField(forms.DateTimeField):
    """Date and time as the plant's clocks show them.

    When summer time ends, an hour comes twice. A time in it is taken as the later of the two, unless that one still
    lies ahead: people write down what has just been. A time that no clock showed (in spring) is refused.
    """

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.DateTimeInput(attrs=LOCAL_MOMENT, format="%Y-%m-%dT%H:%M"), **kwargs)

    def to_python(self, value: Any) -> dt.datetime | None:
        try:
            return super().to_python(value)
        except forms.ValidationError as error:
            if error.code != "ambiguous_timezone":
                raise
            both = self.both_readings(value)
            if len(both) < 2:
                raise
            now = timezone.now()
            return max([each for each in both if each <= now], default=min(both))

    def both_readings(self, value: Any) -> list[dt.datetime]:
        """The moments in UTC at which the clock showed this; none for a time that it skipped."""
        with timezone.override(dt.UTC):
            shown = super().to_python(value)
        zone = timezone.get_current_timezone()
        plain = shown.replace(tzinfo=None) if shown else None
        if plain is None:
            return []
        found = {plain.replace(tzinfo=zone, fold=fold).astimezone(dt.UTC) for fold in (0, 1)}
        return sorted(each for each in found if each.astimezone(zone).replace(tzinfo=None) == plain)
