"""What people fill in at the belt: isolation, hold points, adjustment, trial run, acceptance, hand-over."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from installs.calc.trial_runs import station_sides
from installs.forms.fittings import KeyedForm, people_of
from installs.models import Fitting, HoldPoint, TrialRun
from installs.words.commissioning import side_words
from plant.calc.units import QuantityKind
from plant.forms.base import set_up_fields
from plant.forms.photos import PhotosField
from plant.forms.quantities import QuantityField
from plant.models import Side

MOST_POINTS: int = Fitting._meta.get_field("open_points").max_length or 0
MOST_NAMES = 200  # characters of those who handed back their locks; the note that keeps them takes a word more
ROWS = 8  # stations that the form of a trial run offers
CAMERA = {"accept": "image/jpeg,image/png,image/webp", "capture": "environment"}
Point = HoldPoint.Point

QUESTIONS = {
    Point.PARTS: _("Every part and fastener of the list is here."),
    Point.RESTRAINT: _("The transport strap, pin or tie is off and out of the frame; the frame swings freely by hand."),
    Point.CLEAR: _("Swung by hand through its whole pivot and tilt range, it touches nothing."),
    Point.GUARDS: _("Every guard that came off is back, or an equal one stands in its place."),
    Point.PEOPLE: _("Everyone has left the belt and has been told that it may be run."),
    Point.LOCKS: _("Each person has taken off their own lock; the site's procedure decides when the belt may run."),
    Point.LOCKOUT: _("The belt is isolated by the site's procedure."),
}
CAUTIONS = {
    Point.RESTRAINT: _("The frame can swing when it is freed. Keep hands out of its path."),
    Point.CLEAR: _("Nips lie between frame and structure. Move it slowly, from outside its path."),
    Point.LOCKS: _("Driftbook starts nothing and releases nothing: this writes down what people did."),
}


class MomentLater(forms.DateTimeField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, help_text=_("Empty: now."), **kwargs)


class IsolationForm(KeyedForm):
    points = forms.CharField(
        label=_("isolation points and locks"),
        max_length=300,
        help_text=_("For example: main switch 4, lock 12; take-up weight pinned."),
    )
    energies = forms.CharField(
        label=_("stored energies dealt with"), max_length=300, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    tried_start = forms.BooleanField(label=_("A start was tried after the isolation; nothing moved"), required=False)
    not_tried_reason = forms.CharField(label=_("or why no start was tried"), max_length=200, required=False)
    people: Any = forms.ModelMultipleChoiceField(
        label=_("people with a lock, besides you"),
        queryset=None,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    other_people = forms.CharField(
        label=_("others with a lock"), max_length=200, required=False, help_text=_("Contractors, other crafts.")
    )
    permit_reference = forms.CharField(label=_("permit reference"), max_length=60, required=False)
    isolated_at = MomentLater(label=_("isolated at"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        crew = set(self.fitting.crew.values_list("pk", flat=True))
        self.fields["people"].queryset = people_of(self.plant).exclude(pk=self.person.pk)
        self.fields["people"].initial = list(crew - {self.person.pk})
        self.fields["permit_reference"].initial = self.fitting.permit_reference

    def values(self) -> dict[str, Any]:
        return {name: value for name, value in self.cleaned_data.items() if name != "client_key"}


class PointForm(KeyedForm):
    """One hold point. Which of the two buttons was pressed tells whether it is confirmed or passed over."""

    photo = forms.FileField(label=_("photo"), required=False, widget=forms.FileInput(attrs=CAMERA))
    handed_back_by = forms.CharField(
        label=_("locks handed back by"), max_length=MOST_NAMES, help_text=_("Everyone who had put one on.")
    )
    note = forms.CharField(label=_("note"), max_length=300, required=False)
    confirmed_at = MomentLater(label=_("at another time"))
    passed_over_reason = forms.CharField(label=_("why it is passed over"), max_length=300, required=False)

    def __init__(self, *args: Any, point: str, locks: str = "", is_passed_over: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.point, self.is_passed_over = point, is_passed_over
        if point != Point.RESTRAINT:
            del self.fields["photo"]
        else:
            self.fields["photo"].label = _("photo of the loose restraint")
            self.fields["note"].label = _("or why there is no photo")
        if point != Point.LOCKS:
            del self.fields["handed_back_by"]
        else:
            self.fields["handed_back_by"].initial = locks
            self.fields["handed_back_by"].required = not is_passed_over

    def clean(self) -> dict[str, Any]:
        read = super().clean() or {}
        reason = (read.get("passed_over_reason") or "").strip()
        if self.is_passed_over and not reason:
            self.add_error("passed_over_reason", _("Say why this hold point is passed over."))
        if not self.is_passed_over and reason:
            self.add_error("passed_over_reason", _("A reason for passing over stands here: clear it, or pass it over."))
        return read


class AdjustmentForm(KeyedForm):
    """What was moved on each side: in on one and out on the other by the same amount, or why not."""

    WAYS = [("in", _("in")), ("out", _("out"))]
    drive_mm = QuantityField(kind=QuantityKind.LENGTH_MM, label=_("drive side moved by"), required=True)
    drive_way = forms.ChoiceField(label=_("drive side"), choices=WAYS, widget=forms.RadioSelect, initial="in")
    off_mm = QuantityField(kind=QuantityKind.LENGTH_MM, label=_("off side moved by"), required=True)
    off_way = forms.ChoiceField(label=_("off side"), choices=WAYS, widget=forms.RadioSelect, initial="out")
    note = forms.CharField(label=_("note"), max_length=300, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def values(self) -> dict[str, Any]:
        read = self.cleaned_data
        return {
            "in_drive_mm": read["drive_mm"] * (1 if read["drive_way"] == "in" else -1),
            "out_off_mm": read["off_mm"] * (1 if read["off_way"] == "out" else -1),
            "note": read["note"],
            "version": read["version"],
        }

    def add_refusal(self, refusal: Any) -> None:
        """The service speaks of signed amounts; the boxes are those of the sides."""
        super().add_refusal(refusal.renamed({"out_off_mm": "off_mm"}))


class StationField(QuantityField):
    """A station's chainage; the echo also says on which side of the device it lies."""

    echo_url = ""

    def get_bound_field(self, form: Any, field_name: str) -> Any:
        bound = super().get_bound_field(form, field_name)
        self.widget.attrs["hx-get"] = f"{self.echo_url}?field={form.add_prefix(field_name)}"
        return bound


class StationsForm(KeyedForm):
    """Offsets read at stations: one line of boxes for each."""

    n_rows = ROWS

    def __init__(self, *args: Any, stations: list[float], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        echo_url = reverse("fitting-station", args=[self.fitting.pk])
        for number in range(self.n_rows):
            known = stations[number] if number < len(stations) else None
            self.fields[f"at_{number}_m"] = StationField(
                kind=QuantityKind.DISTANCE_M, label=_("station %s") % (number + 1), required=False, initial=known
            )
            self.fields[f"at_{number}_m"].echo_url = echo_url
            self.fields[f"at_{number}_m"].is_place = True
            self.fields[f"off_{number}_mm"] = QuantityField(
                kind=QuantityKind.LENGTH_MM, label=_("offset"), required=False
            )
            self.fields[f"side_{number}"] = forms.ChoiceField(
                label=_("belt lies to"), choices=[("", "–"), *Side.choices], required=False
            )
        set_up_fields(self, self.person, self.plant)

    def rows(self) -> Iterator[dict[str, Any]]:
        """The boxes of each station, for the page, and on which side of the device it lies."""
        for number in range(self.n_rows):
            yield {
                "number": number + 1,
                "at": self[f"at_{number}_m"],
                "off": self[f"off_{number}_mm"],
                "side": self[f"side_{number}"],
                "is_named": self[f"at_{number}_m"].value() not in (None, ""),
                "where": self.where(number),
            }

    def where(self, number: int) -> str:
        """Upstream or downstream; empty where no station is named or it cannot be read."""
        name = f"at_{number}_m"
        at = getattr(self, "cleaned_data", {}).get(name) if self.is_bound else self[name].initial
        return station_words(self.fitting, at) if at is not None else ""

    def single_fields(self) -> list[Any]:
        """The boxes behind the stations."""
        before = ("load", "minutes", "started_at", "time_reason", "at_", "off_", "side_")
        return [field for field in self.visible_fields() if not field.name.startswith(before)]

    def clean(self) -> dict[str, Any]:
        read = super().clean() or {}
        for number in range(self.n_rows):
            at, off, side = (read.get(name) for name in (f"at_{number}_m", f"off_{number}_mm", f"side_{number}"))
            if off is not None and at is None:
                self.add_error(f"at_{number}_m", _("Say at which chainage this offset was read."))
            if off and not side:
                self.add_error(f"side_{number}", _("Say to which side the belt lies."))
            if side and off is None and f"off_{number}_mm" not in self.errors:
                self.add_error(f"off_{number}_mm", _("Say by how much the belt lies to this side, or clear the side."))
        return read

    def offsets(self) -> list[tuple[float, float]]:
        read = self.cleaned_data
        found = []
        for number in range(self.n_rows):
            at, off = read.get(f"at_{number}_m"), read.get(f"off_{number}_mm")
            if at is not None and off is not None:
                found.append((at, off if read[f"side_{number}"] != Side.OFF else -off))
        return found


def station_words(fitting: Fitting, chainage_m: float) -> str:
    """On which side of the job's device a station lies."""
    sides = station_sides(chainage_m, fitting.chainage_m, fitting.strand, reversing=fitting.conveyor.is_reversing)
    return side_words(sides)


class TrialRunForm(StationsForm):
    LOADS = [("empty", _("empty")), ("loaded", _("loaded"))]
    load = forms.ChoiceField(label=_("belt"), choices=LOADS, widget=forms.RadioSelect, initial="empty")
    minutes = QuantityField(kind=QuantityKind.MINUTES, label=_("watched for"), required=True)
    started_at = forms.DateTimeField(label=_("started at"), required=False, help_text=_("Empty: it ended just now."))
    # Asked only where the times cannot be as they are entered.
    time_reason = forms.CharField(label=_("why these times stand"), max_length=300, required=False)
    frame_position = forms.ChoiceField(
        label=_("frame"), required=False, choices=[("", _("not looked at")), *TrialRun.FramePosition.choices]
    )
    touches_structure = forms.BooleanField(label=_("Something touches the structure"), required=False)
    is_noisy = forms.BooleanField(label=_("Unusual noise"), required=False)
    note = forms.CharField(label=_("note"), max_length=400, required=False, widget=forms.Textarea(attrs={"rows": 2}))
    new_photos = PhotosField(label=_("photos"), required=False)

    def values(self) -> dict[str, Any]:
        names = ("frame_position", "touches_structure", "is_noisy", "note", "started_at", "time_reason")
        return {
            **{name: self.cleaned_data[name] for name in names},
            "is_loaded": self.cleaned_data["load"] == "loaded",
            "minutes": self.cleaned_data["minutes"],
            "offsets": self.offsets(),
        }


class RunReadingsForm(StationsForm):
    """Further readings of a trial run that is in the book."""

    n_rows = 3
    taken_at = MomentLater(label=_("read at"))


class AcceptanceForm(KeyedForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label=_("why it is accepted although a line is not met, or work is open"),
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class HandOverForm(KeyedForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    handed_over_to = forms.CharField(
        label=_("handed over to"), max_length=120, help_text=_("A person, a shift or a crew.")
    )
    open_points = forms.CharField(
        label=_("open points"), max_length=MOST_POINTS, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )


class PointCorrectionForm(KeyedForm):
    correction_reason = forms.CharField(
        label=_("why it is corrected"), max_length=300, help_text=_("The entry as it was stays visible with this.")
    )
    withdraw = forms.BooleanField(label=_("It does not hold: the job waits at this point again"), required=False)
    note = forms.CharField(label=_("note"), max_length=300, required=False)
    passed_over_reason = forms.CharField(label=_("why it is passed over"), max_length=300, required=False)
    photo = forms.FileField(label=_("photo"), required=False, widget=forms.FileInput(attrs=CAMERA))


class RunWithdrawalForm(KeyedForm):
    correction_reason = forms.CharField(
        label=_("why it does not count"),
        max_length=300,
        help_text=_("The run and its offsets stay visible with this. Record the right one anew."),
    )
