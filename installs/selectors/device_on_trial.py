"""A device on trial at a place of a belt: what it comes to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from installs.calc.belt_cases import BeltPlace
from installs.calc.candidates import Candidate, suiting_models
from installs.calc.clearance import ModelWord, PlacementLimits
from installs.calc.placement import Judged, judge_place
from installs.models import DeviceModel, Survey
from installs.selectors.placement import BeltStudy, changes_in_reach, limits_of, measured_at
from plant.models import BeltChange, Strand


@dataclass(frozen=True)
class Trial:
    """A model at a place, everything judged there, and what the book says of the stretch."""

    study: BeltStudy
    model: DeviceModel | None
    judged: Judged
    survey: Survey | None
    changes: tuple[BeltChange, ...]

    @property
    def place(self) -> BeltPlace:
        return self.judged.place


def first_place(study: BeltStudy, places: Sequence[Candidate]) -> dict[str, Any]:
    """What the trial starts with: the best place, or the middle of the return strand where none is offered."""
    if not places:
        return {"strand": Strand.RETURN, "chainage_m": round(study.case.length_m / 2.0, 1)}
    place = places[0].judged.place
    return {"strand": place.strand, "chainage_m": place.chainage_m}


def try_place(study: BeltStudy, models: Sequence[DeviceModel], asked: Mapping[str, Any]) -> Trial:
    """Judge the place that is asked for; what was not typed is taken from the last survey of the place, if any."""
    strand, chainage_m = asked["strand"], asked["chainage_m"]
    model = asked.get("device_model") or best_model(study, models, strand)
    survey = measured_at(study.conveyor, strand, chainage_m)
    place = study.case.place(
        strand,
        chainage_m,
        trough_angle_deg=asked.get("trough_angle_deg"),
        clearance_below_mm=first_known(asked.get("clearance_below_mm"), survey.clearance_below_mm if survey else None),
        clearance_beside_mm=first_known(asked.get("clearance_beside_mm"), least_beside(survey)),
        clearance_along_mm=first_known(asked.get("clearance_along_mm"), survey.clearance_along_mm if survey else None),
    )
    limits = limits_of(model) if model else PlacementLimits(ModelWord.NONE, strand, study.case.is_reversing)
    judged = judge_place(study.case, place, limits, effect_length_m=study.conveyor.plant.effect_length_m)
    zones = judged.reach.zones
    low = min((each.low_m for each in zones), default=chainage_m)
    high = max((each.high_m for each in zones), default=chainage_m)
    return Trial(study, model, judged, survey, tuple(changes_in_reach(study.conveyor, study.since, low, high)))


def first_known(*values: float | None) -> float | None:
    return next((each for each in values if each is not None), None)


def least_beside(survey: Survey | None) -> float | None:
    """The lesser of the two sides; nothing where one of them was not measured."""
    if survey is None or survey.clearance_drive_mm is None or survey.clearance_off_mm is None:
        return None
    return min(survey.clearance_drive_mm, survey.clearance_off_mm)


def best_model(study: BeltStudy, models: Sequence[DeviceModel], strand: str) -> DeviceModel | None:
    """The model that suits the strand best, else the first one that is made for it, so that the lines say why not."""
    suits = suiting_models(study.case, strand, [limits_of(each) for each in models])
    names = [each.name for each in suits]
    here = [each for each in models if each.strand == strand]
    return next((each for name in names for each in models if each.name == name), here[0] if here else None)
