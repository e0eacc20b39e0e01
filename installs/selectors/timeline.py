"""What happened to an installation, survey to removal, as this app knows it; in words `installs.words.timeline`."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from installs.models import Fitting, Installation


class PlaceEvent(StrEnum):
    """What happens to a device in its place."""

    IN_SERVICE = "timeline.in_service"
    PART_CHANGED = "timeline.part_changed"
    OUT_OF_SERVICE = "timeline.out_of_service"
    BACK_IN_SERVICE = "timeline.back_in_service"
    REMOVED = "timeline.removed"
    SURVEYED = "timeline.surveyed"
    FITTING_BEGUN = "timeline.fitting_begun"
    POINT_CONFIRMED = "timeline.point_confirmed"
    POINT_PASSED_OVER = "timeline.point_passed_over"
    RUN_LOADED = "timeline.run_loaded"
    RUN_EMPTY = "timeline.run_empty"
    ACCEPTED = "timeline.accepted"
    HANDED_OVER = "timeline.handed_over"
    SCRAPPED = "timeline.scrapped"


@dataclass(frozen=True)
class Happening:
    """Something that happened; `row` is the record that tells of it, `url` opens its page."""

    at: dt.datetime
    what: PlaceEvent
    row: Any
    url: str = ""


def happenings_of(installation: Installation) -> list[Happening]:
    """What this app knows: survey, fitting steps, service, part changes, spells out of service, removal."""
    here = installation.get_absolute_url()
    found = [Happening(installation.installed_at, PlaceEvent.IN_SERVICE, installation, here)]
    fitting = Fitting.objects.filter(installation=installation).select_related("survey", "accepted_by").first()
    if fitting is not None:
        found += happenings_of_fitting(fitting)
    for change in installation.part_changes.current():
        found.append(Happening(change.changed_at, PlaceEvent.PART_CHANGED, change, here))
    for spell in installation.out_of_service.all():
        found.append(Happening(spell.begins_at, PlaceEvent.OUT_OF_SERVICE, spell, here))
        if spell.ends_at:
            found.append(Happening(spell.ends_at, PlaceEvent.BACK_IN_SERVICE, spell, here))
    if installation.removed_at:
        found.append(Happening(installation.removed_at, PlaceEvent.REMOVED, installation, here))
    return found


def happenings_of_fitting(fitting: Fitting) -> list[Happening]:
    url = fitting.get_absolute_url()
    found = []
    if fitting.survey and fitting.survey.surveyed_at:
        page = fitting.survey.get_absolute_url()
        found.append(Happening(fitting.survey.surveyed_at, PlaceEvent.SURVEYED, fitting.survey, page))
    if fitting.begun_at:
        found.append(Happening(fitting.begun_at, PlaceEvent.FITTING_BEGUN, fitting, url))
    for point in fitting.hold_points.current().select_related("confirmed_by"):
        what = PlaceEvent.POINT_PASSED_OVER if point.passed_over_reason else PlaceEvent.POINT_CONFIRMED
        found.append(Happening(point.confirmed_at, what, point, url))
    for run in fitting.trial_runs.current():
        found.append(
            Happening(run.started_at, PlaceEvent.RUN_LOADED if run.is_loaded else PlaceEvent.RUN_EMPTY, run, url)
        )
    if fitting.accepted_at:
        found.append(Happening(fitting.accepted_at, PlaceEvent.ACCEPTED, fitting, url))
    if fitting.handed_over_at:
        found.append(Happening(fitting.handed_over_at, PlaceEvent.HANDED_OVER, fitting, url))
    return found
