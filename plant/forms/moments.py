"""Form fields for moments in the plant's clock, also in the hour that comes twice, and for days."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils import timezone

from plant.calc.moments import MomentKind, is_in_calendar
from plant.models.moments import moment_fault

LOCAL_MOMENT = {"type": "datetime-local", "step": "60"}


class WithinBounds:
    """Refuses a moment or a day that cannot be of its kind, in a sentence that names the bounds."""

    def __init__(self, kind: MomentKind) -> None:
        self.kind = kind

    def __call__(self, value: dt.date | dt.datetime) -> None:
        words = moment_fault(value, self.kind)
        if words:
            raise forms.ValidationError(words, code="out_of_bounds")


class DayField(forms.DateField):
    """A day of the plant. `kind` says what it is of; without it the day lies in the calendar of a book."""

    def __init__(self, *, kind: MomentKind = MomentKind.CLOCK, **kwargs: Any) -> None:
        known = {"widget": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}
        super().__init__(**{**known, **kwargs})
        self.kind = kind
        self.validators.append(WithinBounds(kind))


class MomentField(forms.DateTimeField):
    """Date and time as the plant's clocks show them.

    When summer time ends, an hour comes twice. A time in it is taken as the later of the two, unless that one still
    lies ahead: people write down what has just been. A time that no clock showed (in spring) is refused. `kind` says
    what the moment is of; without it the moment lies in the calendar of a book.
    """

    def __init__(self, *, kind: MomentKind = MomentKind.CLOCK, **kwargs: Any) -> None:
        super().__init__(widget=forms.DateTimeInput(attrs=LOCAL_MOMENT, format="%Y-%m-%dT%H:%M"), **kwargs)
        self.kind = kind
        self.validators.append(WithinBounds(kind))

    def to_python(self, value: Any) -> dt.datetime | None:
        shown = self.as_shown(value)
        if shown is not None and not is_in_calendar(shown):
            # The clock of no plant reaches the ends of the calendar.
            raise forms.ValidationError(moment_fault(shown, self.kind), code="out_of_bounds")
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

    def as_shown(self, value: Any) -> dt.datetime | None:
        """What the clock showed, whatever the plant."""
        with timezone.override(dt.UTC):
            return super().to_python(value)

    def both_readings(self, value: Any) -> list[dt.datetime]:
        """The moments in UTC at which the clock showed this; none for a time that it skipped."""
        shown = self.as_shown(value)
        zone = timezone.get_current_timezone()
        plain = shown.replace(tzinfo=None) if shown else None
        if plain is None:
            return []
        found = {plain.replace(tzinfo=zone, fold=fold).astimezone(dt.UTC) for fold in (0, 1)}
        return sorted(each for each in found if each.astimezone(zone).replace(tzinfo=None) == plain)
