"""What happened to a device in words: each kind has a name, and its record says the rest."""

from __future__ import annotations

import datetime as dt

import pytest

from installs.models import Device, Fitting, HoldPoint, Installation, OutOfService, PartChange, TrialRun
from installs.selectors.timeline import Happening, PlaceEvent
from installs.words.timeline import TEXTS, TimelineEvent, event_words, timeline_told
from plant.models import Person

AT = dt.datetime(2026, 3, 2, 8, 0, tzinfo=dt.UTC)
ANN = Person(username="ann")


def test_everything_that_happens_has_a_name():
    assert set(PlaceEvent) == set(TEXTS)


@pytest.mark.parametrize(
    ("what", "row", "words"),
    [
        (PlaceEvent.IN_SERVICE, Installation(note="By the tail."), ("In service", "By the tail.")),
        (
            PlaceEvent.PART_CHANGED,
            PartChange(part="sensor_rollers", side="", why="worn", note="New bolts."),
            ("Part changed", "sensor rollers, both sides: worn to its limit. New bolts."),
        ),
        (PlaceEvent.OUT_OF_SERVICE, OutOfService(reason="Belt cut."), ("Out of service", "Belt cut.")),
        (PlaceEvent.BACK_IN_SERVICE, OutOfService(reason="Belt cut."), ("Back in service", "")),
        (PlaceEvent.REMOVED, Installation(removal_reason="worn"), ("Removed", "worn")),
        (PlaceEvent.FITTING_BEGUN, Fitting(), ("Fitting begun", "")),
        (
            PlaceEvent.POINT_PASSED_OVER,
            HoldPoint(point="guards", confirmed_by=ANN, passed_over_reason="None there."),
            ("Hold point passed over", "guards back (ann) None there."),
        ),
        (PlaceEvent.RUN_LOADED, TrialRun(minutes=12.5), ("Trial run, belt loaded", "12.5 min watched")),
        (PlaceEvent.ACCEPTED, Fitting(accepted_by=ANN), ("Accepted", "ann")),
        (PlaceEvent.ACCEPTED, Fitting(), ("Accepted", "")),
        (PlaceEvent.HANDED_OVER, Fitting(handed_over_to="Shift B"), ("Handed over", "Shift B")),
        (PlaceEvent.SCRAPPED, Device(scrapped_reason="Bent."), ("Scrapped", "Bent.")),
    ],
)
def test_a_happening_in_words(what, row, words):
    event = event_words(Happening(AT, what, row))
    assert (event.what, event.detail) == words


def test_the_earliest_comes_first_also_among_what_upper_apps_add():
    visited = TimelineEvent(AT - dt.timedelta(days=1), "Visited")
    told = timeline_told([Happening(AT, PlaceEvent.FITTING_BEGUN, Fitting(), "/f/")], [{"events": [visited]}])
    assert told == [visited, TimelineEvent(AT, "Fitting begun", "", "/f/")]
