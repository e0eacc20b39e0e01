"""Surveys of the demo plant: belt offsets of both end points, one survey that is open, and one of each result."""

from __future__ import annotations

import datetime as dt
from typing import Any

from fixtures import surveys as stories
from fixtures.generator import DemoPlant
from fixtures.plant_time import FITTED_H, fitted_day, wall
from fixtures.scenario import device
from installs.models import BeltOffset, DeviceModel, Installation, Survey
from installs.services.belt_offsets import set_offset
from installs.services.placement import log_station, override_cause
from installs.services.surveys import change_survey, close_survey, open_survey
from plant.models import Conveyor, Person, Plant
from reports.services.demo_keys import key_of


def write_belt_offsets(places: dict[int, Installation], demo: DemoPlant, by: Person) -> None:
    """Offsets before, at acceptance and at the follow-ups of the devices whose stories have both end points."""
    for story in stories.STORIES:
        place = places[story.device]
        occasions = [
            (BeltOffset.Occasion.SURVEY, -20, story.before_mm),
            (BeltOffset.Occasion.ACCEPTANCE, 0, story.accepted_mm),
            *((BeltOffset.Occasion.FOLLOW_UP, round(30.44 * months), size) for months, size in story.months_mm),
        ]
        for occasion, days, wander_mm in occasions:
            for at, is_loaded, offset_mm in stories.readings(story, wander_mm, place.chainage_m, place.effect_length_m):
                set_offset(
                    root=key_of("offsets", story.device, occasion, days),
                    conveyor=place.conveyor,
                    strand=place.strand,
                    chainage_m=at,
                    is_loaded=is_loaded,
                    offset_mm=offset_mm,
                    taken_at=demo.at(wall(fitted_day(device(story.device)) + days, FITTED_H)),
                    occasion=occasion,
                    by=by,
                    installation=place,
                )


def write_surveys(plant: Plant, demo: DemoPlant, by_name: dict[str, Person]) -> None:
    """The open one on Q-11, and those that came to a result."""
    belts = {
        belt.tag: belt for belt in plant.conveyors.filter(tag__in={"Q-11", *(each.tag for each in stories.CLOSED)})
    }
    write_open_survey(belts["Q-11"], demo, by_name["technician-1"])
    for each in stories.CLOSED:
        write_closed_survey(each, belts[each.tag], demo.at(wall(-each.days_ago, 9.5)), by_name[each.by])
    tag, strand, chainage_m, days_ago, who, how = stories.LOGGED
    log_station(
        conveyor=plant.conveyors.get(tag=tag),
        strand=strand,
        chainage_m=chainage_m,
        from_on=demo.date(-days_ago),
        logged_by=who,
        note=how,
        by=by_name["planner-1"],
        client_key=key_of("station", tag, chainage_m),
    )
    tag, strand, low_m, high_m, reason = stories.PUT_ASIDE
    override_cause(
        conveyor=plant.conveyors.get(tag=tag),
        strand=strand,
        low_m=low_m,
        high_m=high_m,
        reason=reason,
        by=by_name["engineer-1"],
        client_key=key_of("put aside", tag, low_m),
    )


def write_open_survey(conveyor: Conveyor, demo: DemoPlant, by: Person) -> None:
    known: dict[str, Any] = stories.OPEN_SURVEY
    survey = open_survey(
        conveyor=conveyor,
        strand=known["strand"],
        chainage_m=known["chainage_m"],
        device_model=DeviceModel.objects.get(plant=conveyor.plant, name=known["model"]),
        surveyed_at=demo.at(wall(-2, 10)),
        by=by,
        client_key=key_of("survey", known["tag"]),
    )
    empty = {(at, False): value for at, value in known["empty_mm"].items()}
    loaded = {(at, True): value for at, value in known["loaded_mm"].items()}
    change_survey(
        survey,
        by=by,
        version=survey.version,
        offsets={**empty, **loaded},
        causes=known["causes"],
        **known["measures"],
    )


def write_closed_survey(each: stories.ClosedSurvey, conveyor: Conveyor, at: dt.datetime, by: Person) -> Survey:
    """Walked at that time and closed two hours later with the result that the rules come to."""
    survey = open_survey(
        conveyor=conveyor,
        strand=each.strand,
        chainage_m=each.chainage_m,
        device_model=DeviceModel.objects.get(plant=conveyor.plant, name=each.model),
        surveyed_at=at,
        by=by,
        client_key=key_of("survey", each.tag, each.chainage_m),
    )
    survey = change_survey(
        survey,
        by=by,
        version=survey.version,
        offsets=stories.survey_offsets(each, conveyor.length_m),
        causes=each.causes,
        **each.measures,
    )
    return close_survey(
        survey,
        by=by,
        version=survey.version,
        override_reason=each.override_reason,
        now=at + dt.timedelta(hours=2),
    )
