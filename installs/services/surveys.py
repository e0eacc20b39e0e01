"""Surveys: opened at a place, filled in as a draft, closed with a result, reopened with a reason."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection, Mapping
from dataclasses import fields
from typing import Any, cast

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from installs.calc.clearance import PlacementLimits
from installs.calc.survey_lines import Answer, Found, Walked
from installs.calc.survey_sheet import FrameLimits
from installs.calc.surveys import SurveyResult, judge_survey
from installs.models import BeltOffset, CauseTest, DeviceModel, Survey
from installs.selectors.belt_offsets import stations_around
from installs.services.belt_offsets import set_offset
from installs.services.installations import check_moment, check_place, refuse, refuse_bound
from installs.words.bounds import BoundRule
from plant.calc.units import UnitSystem
from plant.errors import Refused
from plant.models import Conveyor, Photo
from plant.services.records import change_record, create_record, known_row

Offsets = Mapping[tuple[float, bool], float | None]


@transaction.atomic
def open_survey(
    *,
    conveyor: Conveyor,
    strand: str,
    chainage_m: float,
    by: Any,
    client_key: uuid.UUID | None = None,
    surveyed_at: dt.datetime | None = None,
    device_model: DeviceModel | None = None,
    **values: Any,
) -> Survey:
    """Begin the survey of a place. The same client key again gives back the survey that it opened.

    Raises
    ------
    Refused
        If the place is off the belt, the time lies in the future, or the model is another plant's.
    """
    known = known_row(Survey, client_key)
    if known is not None:
        return known
    now = timezone.now()
    surveyed_at = surveyed_at or now
    check_moment("surveyed_at", surveyed_at, now)
    check_place(conveyor, strand, chainage_m)
    check_model(conveyor, device_model)
    survey = create_record(
        Survey,
        by=by,
        client_key=client_key,
        plant=conveyor.plant,
        conveyor=conveyor,
        strand=strand,
        chainage_m=chainage_m,
        device_model=device_model,
        surveyed_at=surveyed_at,
        surveyed_by=by,
        **values,
    )
    for cause in CauseTest.Cause:
        create_record(
            CauseTest, by=by, client_key=uuid.uuid5(survey.client_key, cause.value), survey=survey, cause=cause.value
        )
    return survey


def check_model(conveyor: Conveyor, device_model: DeviceModel | None) -> None:
    if device_model is not None and device_model.plant_id != conveyor.plant_id:
        refuse("device_model", "other_plant", _("Model and conveyor belong to different plants. Choose both from one."))


def check_open(survey: Survey) -> None:
    if survey.closed_at is not None:
        words = _("This survey is closed: %(result)s. Reopen it with a reason to change it.")
        raise Refused(words % {"result": survey.get_result_display()}, code="closed")


@transaction.atomic
def change_survey(
    survey: Survey,
    *,
    by: Any,
    version: int,
    offsets: Offsets | None = None,
    causes: Mapping[str, tuple[str, str]] | None = None,
    photos: Collection[Photo] = (),
    **values: Any,
) -> Survey:
    """Save what was seen and measured so far; the survey stays open.

    Parameters
    ----------
    offsets : mapping, optional
        Offset by (station in m, belt loaded), drive side positive [mm]; None withdraws what stands there.
    causes : mapping, optional
        What was found and a note, by cause.
    photos : collection of Photo, optional
        Further photographs.

    Raises
    ------
    ChangedMeanwhile
        If somebody else saved it since `version`.
    Refused
        If it is closed, the place is off the belt, or a value is not allowed.
    """
    check_open(survey)
    check_place(survey.conveyor, values.get("strand", survey.strand), values.get("chainage_m", survey.chainage_m))
    check_model(survey.conveyor, values.get("device_model", survey.device_model))
    check_moment("surveyed_at", values.get("surveyed_at", survey.surveyed_at), timezone.now())
    check_measures(values)
    survey = change_record(survey, by=by, version=version, **values)
    for test in survey.cause_tests.all():
        if causes and test.cause in causes:
            found, note = causes[test.cause]
            if (test.found, test.note) != (found, note):
                change_record(test, by=by, version=test.version, found=found, note=note)
    for (chainage_m, is_loaded), offset_mm in (offsets or {}).items():
        set_offset(
            root=survey.client_key,
            conveyor=survey.conveyor,
            strand=survey.strand,
            chainage_m=chainage_m,
            is_loaded=is_loaded,
            offset_mm=offset_mm,
            taken_at=survey.surveyed_at,
            occasion=BeltOffset.Occasion.SURVEY,
            by=by,
            reason=_("changed in the survey"),
            survey=survey,
        )
    survey.photos.add(*photos)
    return survey


MEASURES = (
    "belt_width_mm",
    "structure_spacing_mm",
    "clearance_below_mm",
    "clearance_drive_mm",
    "clearance_off_mm",
)


def check_measures(values: Mapping[str, Any]) -> None:
    for name in MEASURES:
        value = values.get(name)
        if value is not None and value < 0:
            refuse_bound(name, "negative", BoundRule.NEGATIVE_LENGTH, given_mm=value, least_mm=0.0)


def walked_of(survey: Survey) -> Walked:
    """The survey as the rules read it."""
    belt = survey.conveyor
    stations: dict[bool, set[float]] = {False: set(), True: set()}
    for is_loaded, chainage_m in current_offsets(survey).values_list("is_loaded", "chainage_m"):
        stations[is_loaded].add(chainage_m)
    return Walked(
        strand=survey.strand,
        chainage_m=survey.chainage_m,
        belt_length_m=belt.length_m,
        is_reversing=belt.is_reversing,
        speed_m_s=belt.speed_m_s,
        effect_length_m=effect_length_of(survey),
        wander_from_m=survey.wander_from_m,
        wander_to_m=survey.wander_to_m,
        belt_width_mm=survey.belt_width_mm,
        spacing_mm=survey.structure_spacing_mm,
        clearance_below_mm=survey.clearance_below_mm,
        clearance_drive_mm=survey.clearance_drive_mm,
        clearance_off_mm=survey.clearance_off_mm,
        clearance_along_mm=survey.clearance_along_mm,
        whole_range=cast(Answer, survey.whole_range),
        obstructions=survey.obstructions,
        access=survey.access,
        has_lifting_point=cast(Answer, survey.has_lifting_point),
        has_light=cast(Answer, survey.has_light),
        guard_comes_off=cast(Answer, survey.guard_comes_off),
        guard_goes_back=cast(Answer, survey.guard_goes_back),
        guard_note=survey.guard_note,
        conditions=survey.conditions,
        n_stations_empty=len(stations[False]),
        n_stations_loaded=len(stations[True]),
        causes={test.cause: cast(Found, test.found) for test in survey.cause_tests.all()},
        override_reason=survey.override_reason,
    )


def current_offsets(survey: Survey) -> Any:
    """Offsets of the survey that count, from the tail on, empty before loaded."""
    return BeltOffset.objects.current().filter(survey=survey).order_by("chainage_m", "is_loaded")


def effect_length_of(survey: Survey) -> float:
    stated = survey.device_model.effect_length_m if survey.device_model else None
    return stated or survey.plant.effect_length_m


def stations_to_measure(survey: Survey, *, system: UnitSystem = UnitSystem.METRIC) -> tuple[float, ...]:
    """Stations that were measured; with fewer than five those that are proposed around the place too [m]."""
    measured = set(current_offsets(survey).values_list("chainage_m", flat=True))
    if measured:
        return tuple(sorted(measured))
    return stations_around(survey.conveyor, survey.strand, survey.chainage_m, effect_length_of(survey), system=system)


def judged(survey: Survey) -> SurveyResult:
    """What the rules say of the survey as it stands now."""
    model = survey.device_model
    if model is None:
        return judge_survey(walked_of(survey), None)
    limits = PlacementLimits(**{each.name: getattr(model, each.name) for each in fields(PlacementLimits)})
    frame = FrameLimits(
        length_least_mm=model.frame_length_least_mm,
        length_most_mm=model.frame_length_most_mm,
        extension_most_mm=model.extension_most_mm,
        end_play_least_mm=model.end_play_least_mm,
        end_play_most_mm=model.end_play_most_mm,
    )
    return judge_survey(walked_of(survey), limits, frame)


@transaction.atomic
def close_survey(
    survey: Survey,
    *,
    by: Any,
    version: int,
    override_reason: str = "",
    conditions: str = "",
    now: dt.datetime | None = None,
) -> Survey:
    """Close it with the result that the rules come to; result and reasons stay as they are now.

    Parameters
    ----------
    override_reason : str, optional
        Why a device is fitted although a cause was found and not cured.
    conditions : str, optional
        Conditions of the person's own.

    Raises
    ------
    ChangedMeanwhile
        If somebody else saved it since `version`.
    Refused
        If it is closed already.
    """
    check_open(survey)
    survey.override_reason, survey.conditions = override_reason.strip(), conditions.strip()
    found = judged(survey)
    survey.refresh_from_db(fields=["override_reason", "conditions"])
    return change_record(
        survey,
        by=by,
        version=version,
        override_reason=override_reason.strip(),
        conditions=conditions.strip(),
        closed_at=now or timezone.now(),
        closed_by=by,
        result=found.result.value,
        reasons=[line.kept() for line in found.lines],
    )


@transaction.atomic
def reopen_survey(survey: Survey, *, by: Any, version: int, reason: str) -> Survey:
    """Open a closed survey again; what it came to before stays in its history.

    Raises
    ------
    ChangedMeanwhile, Refused
        As `change_record`; if no reason is given or it is open.
    """
    if not reason.strip():
        refuse("reason", "reason", _("Say why it is reopened."))
    if survey.closed_at is None:
        raise Refused(_("This survey is open already."), code="open")
    return change_record(
        survey, by=by, version=version, reason=reason, closed_at=None, closed_by=None, result="", reasons=[]
    )
