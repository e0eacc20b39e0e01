"""What people fill in at the survey of a place: opening, the walk with its measures, closing, reopening."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.calc.belt_offsets import LEAST_STATIONS, MOST_STATIONS
from installs.models import CauseTest, Survey
from installs.words.surveys import GUIDES
from plant.calc.units import QuantityKind, UnitSystem
from plant.forms.base import PersonForm, RecordForm
from plant.forms.photos import PhotosField, PhotosInput
from plant.forms.quantities import QuantityField
from plant.models import Side

LOADS = (("empty", False), ("loaded", True))


class SurveyOpenForm(RecordForm):
    class Meta:
        model = Survey
        fields = ["conveyor", "strand", "chainage_m", "device_model", "surveyed_at"]
        help_texts = {
            "chainage_m": gettext_lazy("Along the conveyor, from the tail pulley's centre."),
            "device_model": gettext_lazy("The place is judged against its sheet; it can be changed later."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("surveyed_at", timezone.localtime().replace(second=0, microsecond=0))


class SurveyForm(RecordForm):
    """The walk and its measures, with one row a station and one question a cause."""

    camera = PhotosField(
        required=False,
        label=gettext_lazy("Take a photo"),
        widget=PhotosInput(attrs={"accept": "image/*", "capture": "environment"}),
    )
    new_photos = PhotosField(required=False, label=gettext_lazy("Photos from this device"))
    # The page shows its boxes in the order of the walk.
    place_names = ("surveyed_at", "device_model", "chainage_m", "between_idlers")
    clearance_names = (
        "belt_width_mm",
        "structure_spacing_mm",
        "clearance_below_mm",
        "clearance_drive_mm",
        "clearance_off_mm",
        "clearance_along_mm",
        "obstructions",
    )

    class Meta:
        model = Survey
        fields = [
            "surveyed_at", "device_model", "chainage_m", "between_idlers",
            "wander_from_m", "wander_to_m", "wander_side",
            "belt_width_mm", "structure_spacing_mm", "clearance_below_mm", "clearance_drive_mm", "clearance_off_mm",
            "clearance_along_mm", "whole_range", "obstructions",
            "access", "has_lifting_point", "has_light", "guard_comes_off", "guard_goes_back", "guard_note", "note",
        ]  # fmt: skip
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, stations: list[dict[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("whole_range", "has_lifting_point", "has_light", "guard_comes_off", "guard_goes_back"):
            self.make_radios(name, _("not looked at"))
        self.make_radios("wander_side", _("not seen"))
        self.stations = stations
        for n in range(MOST_STATIONS):
            self.add_station(n, stations[n] if n < len(stations) else {})
        tests = {test.cause: test for test in self.instance.cause_tests.all()}
        for guide in GUIDES:
            self.fields[f"cause_{guide.cause}"] = forms.ChoiceField(
                choices=CauseTest.Found.choices, required=False, label=str(guide.name), widget=forms.RadioSelect
            )
            self.fields[f"cause_{guide.cause}_note"] = forms.CharField(required=False, max_length=200, label=_("Note"))
            test = tests.get(guide.cause)
            self.initial[f"cause_{guide.cause}"] = test.found if test else CauseTest.Found.NOT_TESTED.value
            self.initial[f"cause_{guide.cause}_note"] = test.note if test else ""

    def make_radios(self, name: str, empty_words: str) -> None:
        field = self.fields[name]
        choices = [("", empty_words), *[each for each in field.choices if each[0]]]
        self.fields[name] = forms.ChoiceField(
            choices=choices, required=False, label=field.label, widget=forms.RadioSelect, initial=""
        )

    def add_station(self, n: int, known: dict[str, Any]) -> None:
        system = UnitSystem(self.person.unit_system)
        self.fields[f"s{n}_at"] = QuantityField(
            kind=QuantityKind.DISTANCE_M, system=system, required=False, label=_("Station %(n)s") % {"n": n + 1}
        )
        self.fields[f"s{n}_at"].is_place = True
        self.initial[f"s{n}_at"] = known.get("at")
        sides = [("", "–"), *Side.choices]
        for load, _is_loaded in LOADS:
            label = _("Station %(n)s, %(load)s") % {"n": n + 1, "load": _("empty") if load == "empty" else _("loaded")}
            self.fields[f"s{n}_{load}"] = QuantityField(
                kind=QuantityKind.LENGTH_MM, system=system, required=False, label=label
            )
            self.fields[f"s{n}_{load}_side"] = forms.ChoiceField(
                choices=sides, required=False, label=_("%(label)s, to which side") % {"label": label}
            )
            offset = known.get(load)
            if offset is not None:
                self.initial[f"s{n}_{load}"] = abs(offset)
                self.initial[f"s{n}_{load}_side"] = "drive" if offset > 0 else "off" if offset < 0 else ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        seen: set[float] = set()
        for n in range(MOST_STATIONS):
            at = cleaned.get(f"s{n}_at")
            if at is not None and at in seen:
                self.add_error(f"s{n}_at", _("This station is there twice; leave one out."))
            if at is not None:
                seen.add(at)
            for load, _is_loaded in LOADS:
                size = cleaned.get(f"s{n}_{load}")
                if size is not None and at is None and f"s{n}_at" not in self.errors:
                    self.add_error(f"s{n}_at", _("Say where this station is, in chainage."))
                if size and not cleaned.get(f"s{n}_{load}_side"):
                    self.add_error(f"s{n}_{load}_side", _("Say to which side the belt lies: drive side or off side."))
        return cleaned

    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self._meta.fields or ()}

    def offsets(self) -> dict[tuple[float, bool], float | None]:
        """Offset by station and load, drive side positive; None where one was taken out."""
        found: dict[tuple[float, bool], float | None] = {
            (known["at"], is_loaded): None for known in self.stations for _load, is_loaded in LOADS
        }
        for n in range(MOST_STATIONS):
            at: Any = self.cleaned_data.get(f"s{n}_at")
            for load, is_loaded in LOADS if at is not None else ():
                size = self.cleaned_data.get(f"s{n}_{load}")
                sign = -1 if self.cleaned_data.get(f"s{n}_{load}_side") == Side.OFF else 1
                found[at, is_loaded] = None if size is None else sign * size
        return found

    def causes(self) -> dict[str, tuple[str, str]]:
        given = self.cleaned_data
        return {
            guide.cause: (
                given.get(f"cause_{guide.cause}") or CauseTest.Found.NOT_TESTED.value,
                given.get(f"cause_{guide.cause}_note", ""),
            )
            for guide in GUIDES
        }

    # --- as the page shows it -----------------------------------------------------------------------------------------
    def station_rows(self) -> list[dict[str, Any]]:
        return [
            {
                "number": n + 1,
                "at": self[f"s{n}_at"],
                "loads": [
                    {"load": _("empty"), "size": self[f"s{n}_empty"], "side": self[f"s{n}_empty_side"]},
                    {"load": _("loaded"), "size": self[f"s{n}_loaded"], "side": self[f"s{n}_loaded_side"]},
                ],
            }
            for n in range(MOST_STATIONS)
        ]

    def cause_rows(self) -> list[dict[str, Any]]:
        return [
            {"guide": guide, "found": self[f"cause_{guide.cause}"], "note": self[f"cause_{guide.cause}_note"]}
            for guide in GUIDES
        ]

    def still_needed(self) -> list[dict[str, Any]]:
        """What a whole survey holds: words, the boxes that hold it and how many of them, for the list on the page."""
        single = [
            ("device_model", _("model in mind")),
            ("wander_from_m wander_to_m", _("where the wander begins and ends")),
            ("belt_width_mm", _("belt width here")),
            ("structure_spacing_mm", _("clear width between the stringers")),
            ("clearance_below_mm", _("clearance below")),
            ("clearance_drive_mm clearance_off_mm", _("clearance beside, both sides")),
            ("whole_range", _("whether it was measured over the whole pivot and tilt range")),
            ("access", _("access")),
            ("has_lifting_point", _("lifting point")),
            ("has_light", _("light")),
            ("guard_comes_off", _("whether a guard must come off")),
        ]
        needed = [{"names": names, "words": words, "least": len(names.split())} for names, words in single]
        for load in ("empty", "loaded"):
            words = (
                _("belt offset empty, at %(n)s stations")
                if load == "empty"
                else _("belt offset loaded, at %(n)s stations")
            )
            names = " ".join(f"s{n}_{load}" for n in range(MOST_STATIONS))
            needed.append({"names": names, "words": words % {"n": LEAST_STATIONS}, "least": LEAST_STATIONS})
        for guide in GUIDES:
            words = _("test: %(cause)s") % {"cause": guide.name}
            needed.append({"names": f"cause_{guide.cause}", "words": words, "least": 1})
        for each in needed:
            boxes = [self[name].value() for name in str(each["names"]).split()]
            filled = [value for value in boxes if value not in (None, "", CauseTest.Found.NOT_TESTED.value)]
            each["is_there"] = len(filled) >= int(str(each["least"]))
        return needed


class SurveyCloseForm(RecordForm):
    class Meta:
        model = Survey
        fields = ["override_reason", "conditions"]
        help_texts = {
            "override_reason": gettext_lazy("Only where a cause is not cured yet. It stays visible as a condition."),
            "conditions": gettext_lazy("What must hold besides, in your own words."),
        }


class SurveyReopenForm(PersonForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(max_length=100, label=gettext_lazy("Why it is reopened"))
