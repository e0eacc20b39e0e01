"""One timeline of an installation, survey to removal, and one of a device over all its places.

Apps above add what they know at place "timeline"; the page gathers it and hands it in.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from installs.models import Device, HoldPoint, Installation, PartChange, TrialRun
from installs.selectors.timeline import Happening, PlaceEvent
from plant.calc.wording import figure
from plant.words.reasons import Texts

TEXTS: Texts = {
    PlaceEvent.IN_SERVICE: gettext_lazy("In service"),
    PlaceEvent.PART_CHANGED: gettext_lazy("Part changed"),
    PlaceEvent.OUT_OF_SERVICE: gettext_lazy("Out of service"),
    PlaceEvent.BACK_IN_SERVICE: gettext_lazy("Back in service"),
    PlaceEvent.REMOVED: gettext_lazy("Removed"),
    PlaceEvent.SURVEYED: gettext_lazy("Surveyed"),
    PlaceEvent.FITTING_BEGUN: gettext_lazy("Fitting begun"),
    PlaceEvent.POINT_CONFIRMED: gettext_lazy("Hold point confirmed"),
    PlaceEvent.POINT_PASSED_OVER: gettext_lazy("Hold point passed over"),
    PlaceEvent.RUN_LOADED: gettext_lazy("Trial run, belt loaded"),
    PlaceEvent.RUN_EMPTY: gettext_lazy("Trial run, belt empty"),
    PlaceEvent.ACCEPTED: gettext_lazy("Accepted"),
    PlaceEvent.HANDED_OVER: gettext_lazy("Handed over"),
    PlaceEvent.SCRAPPED: gettext_lazy("Scrapped"),
}


def part_change_words(row: PartChange) -> str:
    where = row.get_side_display() if row.side else _("both sides")
    return f"{row.get_part_display()}, {where}: {row.get_why_display()}. {row.note}".strip()


def hold_point_words(row: HoldPoint) -> str:
    return f"{row.get_point_display()} ({row.confirmed_by}) {row.passed_over_reason}".strip()


def trial_run_words(row: TrialRun) -> str:
    return _("%(minutes)s min watched") % {"minutes": figure(row.minutes)}


DETAILS: Mapping[PlaceEvent, Callable[[Any], Any]] = {
    PlaceEvent.IN_SERVICE: lambda row: row.note,
    PlaceEvent.PART_CHANGED: part_change_words,
    PlaceEvent.OUT_OF_SERVICE: lambda row: row.reason,
    PlaceEvent.REMOVED: lambda row: row.removal_reason,
    PlaceEvent.POINT_CONFIRMED: hold_point_words,
    PlaceEvent.POINT_PASSED_OVER: hold_point_words,
    PlaceEvent.RUN_LOADED: trial_run_words,
    PlaceEvent.RUN_EMPTY: trial_run_words,
    PlaceEvent.ACCEPTED: lambda row: row.accepted_by or "",
    PlaceEvent.HANDED_OVER: lambda row: row.handed_over_to,
    PlaceEvent.SCRAPPED: lambda row: row.scrapped_reason,
}


@dataclass(frozen=True, order=True)
class TimelineEvent:
    """Something that happened, in words; `url` opens its record."""

    at: dt.datetime
    what: str
    detail: str = ""
    url: str = ""


def event_words(each: Happening) -> TimelineEvent:
    """A happening that this app knows of, as a line of the timeline."""
    return TimelineEvent(each.at, str(TEXTS[each.what]), detail_words(each), each.url)


def detail_words(each: Happening) -> str:
    """What its record says further; empty where it says nothing."""
    return str(DETAILS[each.what](each.row)) if each.what in DETAILS else ""


def timeline_told(own: Iterable[Happening], panels: Iterable[Mapping[str, Any]]) -> list[TimelineEvent]:
    """All events, the earliest first; `panels` is what apps above add at place "timeline"."""
    return sorted([*map(event_words, own), *(event for panel in panels for event in panel["events"])])


@dataclass(frozen=True, order=True)
class LifeEvent:
    """Something that happened to a device, in one of its places or in none."""

    event: TimelineEvent
    place: Installation | None = field(default=None, compare=False)


def life_told(device: Device, timelines: Iterable[tuple[Installation, Iterable[TimelineEvent]]]) -> list[LifeEvent]:
    """The whole life of a device in one list, over all its places: from the first survey to removal and scrapping."""
    found = [LifeEvent(event, each) for each, events in timelines for event in events]
    if device.scrapped_on is not None:
        # Only the day is known: it ends the list of that day.
        end = dt.datetime.combine(device.scrapped_on, dt.time(23, 59), tzinfo=device.plant.zone)
        found.append(LifeEvent(event_words(Happening(end, PlaceEvent.SCRAPPED, device))))
    return sorted(found)
