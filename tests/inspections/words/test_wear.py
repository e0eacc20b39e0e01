"""Wear of sensor rollers in words."""

import datetime as dt
from dataclasses import replace
from itertools import chain
from types import SimpleNamespace

import numpy as np
import pytest

from inspections.calc.wear import FleetRate, LimitForecast, Since, WearRule, limit_forecast, wear_trend
from inspections.selectors.wear import SideWear
from inspections.words.wear import TEXTS, rate_words, since_words, wear_words
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem

METRIC, US = UnitSystem.METRIC, UnitSystem.US
NOW = dt.datetime(2026, 6, 1, 12, tzinfo=dt.UTC)


def side_of(*reasons, since=Since.VISIT):
    return SideWear(
        side="drive", label="Drive side", since=NOW, since_what=since, points=(), n_left_out=0,
        trend=wear_trend([], []), forecast=LimitForecast(None, None, None, ()), limit_on=None, early_on=None,
        late_on=None, reasons=reasons,
    )  # fmt: skip


def test_every_rule_has_a_text():
    assert set(TEXTS) == set(chain(WearRule, Since))


@pytest.mark.parametrize(
    ("hours", "diameter", "words"),
    [
        ([], [], "No reading since the part change."),
        ([800], [75.0], "One reading since the part change: nothing is read out of a single one."),
        ([800, 850], [75.0, 74.9], "The readings lie within 50 running hours; at least 100 h are needed."),
        (
            [0, 900],
            [76.0, 75.2],
            "2 readings, and no rate of like devices to lean on: from 5 readings on the device tells by itself.",
        ),
    ],
)
def test_too_little_says_why(hours, diameter, words):
    assert wear_words(side_of(*wear_trend(hours, diameter).reasons), METRIC) == words


def test_a_rate_is_said_in_the_readers_unit():
    leaning = side_of(*wear_trend([0, 900], [76.0, 75.2], fleet=FleetRate(7, 0.5, 0.1)).reasons)
    metric = "2 readings: the rate of 7 rollers of like devices (0.50 mm per 1000 h) is taken in."
    assert wear_words(leaning, METRIC) == metric
    assert wear_words(leaning, US) == metric.replace("0.50 mm", "0.0197 in")


def test_the_rate_of_the_table_is_in_the_readers_unit():
    """0.62 mm / 25.4 = 0.0244 in."""
    side = replace(side_of(), trend=SimpleNamespace(per_1000_h=0.62, low=0.41, high=0.83))
    assert rate_words(side, UnitSystem.METRIC) == "0.62 mm (0.41 to 0.83)"
    assert rate_words(side, UnitSystem.US) == "0.0244 in (0.0161 to 0.0327)"
    assert rate_words(replace(side, trend=SimpleNamespace(per_1000_h=None, low=None, high=None)), UnitSystem.US) == "–"


def test_what_stands_in_the_way_of_a_date():
    trend = wear_trend([0, 200, 400, 600, 800], [76.0, 75.9, 75.8, 75.7, 75.6])
    assert wear_words(side_of(*limit_forecast(trend, 40.0).reasons), METRIC) == (
        "At this rate the limit lies more than 3200 running hours ahead: further than these readings carry."
    )
    hours = np.arange(0, 5000, 500.0)
    slipped = 76 - 0.6 * hours / 1000
    slipped[-1] = 60.0
    assert wear_words(side_of(*wear_trend(hours, slipped).reasons), METRIC).startswith(
        "One reading pulls the line: the median of the slopes between pairs is 0.60 mm per 1000 h."
    )
    left_out = side_of(Reason(WearRule.NO_LIMIT), Reason(WearRule.LEFT_OUT, {"n": 3}), since=Since.PART_CHANGE)
    assert wear_words(left_out, US) == (
        "The model states no limit diameter: no date can be computed."
        " 3 readings are left out: their running hours are not known."
    )
    assert since_words(left_out) == "since the part change"
