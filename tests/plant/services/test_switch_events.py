"""Raw switch events: each once, and what they tell."""

from __future__ import annotations

import datetime as dt

import pytest

from plant.errors import Refused
from plant.models import ConveyorPart, SwitchEvent
from plant.selectors.running_hours import switch_watch_of
from plant.services.switch_events import keep_switch_events
from tests import make


def pulses(part, start, every_s, n, held_s=3.0):
    for number in range(n):
        on = start + dt.timedelta(seconds=number * every_s)
        yield {"drift_switch": part, "at": on, "is_on": True, "side": "off"}
        yield {"drift_switch": part, "at": on + dt.timedelta(seconds=held_s), "is_on": False, "side": "off"}


def test_a_repeated_export_changes_nothing(belt_a1, at_noon):
    part = make.drift_switch(belt_a1, 2.0)
    for _ in range(2):
        keep_switch_events(pulses(part, at_noon, 700, 5))
    assert SwitchEvent.objects.count() == 10


def test_a_pulley_sends_no_switch_events(belt_a1, at_noon):
    pulley = ConveyorPart.objects.create(conveyor=belt_a1, kind="head_pulley", chainage_m=200.0)
    with pytest.raises(Refused, match="not a drift switch"):
        keep_switch_events([{"drift_switch": pulley, "at": at_noon, "is_on": True}])


def test_a_chattering_switch_is_told_from_wander(belt_a1, at_noon):
    part = make.drift_switch(belt_a1, 2.0)
    keep_switch_events(pulses(part, at_noon, 7.3, 200))
    watch = switch_watch_of(belt_a1, since=at_noon - dt.timedelta(days=1), zone=dt.UTC)
    assert watch.n_events == 400
    assert watch.n_defect_days == 1
    assert len(watch.found.incidents) == 1


def test_what_comes_once_per_revolution_travels_with_the_belt(belt_a1, at_noon):
    part = make.drift_switch(belt_a1, 2.0)
    # One revolution is 2 x 200 m / 2.5 m/s = 160 s; over 60 of them a speed that is 0.3 % off adds up to 29 s.
    keep_switch_events(pulses(part, at_noon + dt.timedelta(seconds=3.7), 160.48, 60))
    watch = switch_watch_of(belt_a1, since=at_noon - dt.timedelta(days=1), zone=dt.UTC)
    assert [fold.flagged for _label, fold in watch.folds] == [True]
