"""One timeline of an installation, survey to removal, and one of a device over all its places.

Apps above add what they know at place "timeline"; the page gathers it and hands it in.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from installs.models import Device, Fitting, Installation
from installs.words.installations import place_words
from plant.calc.wording import figure


@dataclass(frozen=True, order=True)
class Event:
    """Something that happened; `url` opens its record."""

    at: dt.datetime
    what: str
    detail: str = ""
    url: str = ""


def own_events(installation: Installation) -> list[Event]:
    """What this app knows: survey, fitting steps, service, part changes, spells out of service, removal."""
    here = installation.get_absolute_url()
    events = [Event(installation.installed_at, _("In service"), installation.note, here)]
    fitting = Fitting.objects.filter(installation=installation).select_related("survey", "accepted_by").first()
    if fitting is not None:
        events += fitting_events(fitting)
    for change in installation.part_changes.current():
        where = change.get_side_display() if change.side else _("both sides")
        detail = f"{change.get_part_display()}, {where}: {change.get_why_display()}"
        events.append(Event(change.changed_at, _("Part changed"), f"{detail}. {change.note}".strip(), here))
    for spell in installation.out_of_service.all():
        events.append(Event(spell.begins_at, _("Out of service"), spell.reason, here))
        if spell.ends_at:
            events.append(Event(spell.ends_at, _("Back in service"), "", here))
    if installation.removed_at:
        events.append(Event(installation.removed_at, _("Removed"), installation.removal_reason, here))
    return events


def fitting_events(fitting: Fitting) -> list[Event]:
    url = fitting.get_absolute_url()
    events = []
    if fitting.survey and fitting.survey.surveyed_at:
        events.append(Event(fitting.survey.surveyed_at, _("Surveyed"), "", fitting.survey.get_absolute_url()))
    if fitting.begun_at:
        events.append(Event(fitting.begun_at, _("Fitting begun"), "", url))
    for point in fitting.hold_points.current().select_related("confirmed_by"):
        words = _("Hold point passed over") if point.passed_over_reason else _("Hold point confirmed")
        detail = f"{point.get_point_display()} ({point.confirmed_by}) {point.passed_over_reason}".strip()
        events.append(Event(point.confirmed_at, words, detail, url))
    for run in fitting.trial_runs.current():
        words = _("Trial run, belt loaded") if run.is_loaded else _("Trial run, belt empty")
        events.append(
            Event(run.started_at, words, _("%(minutes)s min watched") % {"minutes": figure(run.minutes)}, url)
        )
    if fitting.accepted_at:
        events.append(Event(fitting.accepted_at, _("Accepted"), str(fitting.accepted_by or ""), url))
    if fitting.handed_over_at:
        events.append(Event(fitting.handed_over_at, _("Handed over"), fitting.handed_over_to, url))
    return events


def timeline_of(installation: Installation, panels: Iterable[Mapping[str, Any]]) -> list[Event]:
    """All events, the earliest first; `panels` is what apps above add at place "timeline"."""
    return sorted([*own_events(installation), *(event for panel in panels for event in panel["events"])])


@dataclass(frozen=True, order=True)
class LifeEvent:
    """Something that happened to a device, in one of its places or in none."""

    event: Event
    place: str = ""
    place_url: str = ""


def life_of(device: Device, timelines: Iterable[tuple[Installation, Iterable[Event]]]) -> list[LifeEvent]:
    """The whole life of a device in one list, over all its places: from the first survey to removal and scrapping."""
    found = [
        LifeEvent(event, place_words(each), each.get_absolute_url()) for each, events in timelines for event in events
    ]
    if device.scrapped_on is not None:
        # Only the day is known: it ends the list of that day.
        end = dt.datetime.combine(device.scrapped_on, dt.time(23, 59), tzinfo=device.plant.zone)
        found.append(LifeEvent(Event(end, _("Scrapped"), device.scrapped_reason)))
    return sorted(found)
