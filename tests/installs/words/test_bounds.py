"""Numbers that cannot be, said in the person's units with what is allowed instead."""

from __future__ import annotations

import re

import pytest

from installs.words.bounds import TEXTS, BoundRule
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.conveyors import PlaceRule
from plant.words.reasons import sentence


def test_every_rule_has_its_text():
    assert set(TEXTS) == {*BoundRule, *PlaceRule}


@pytest.mark.parametrize("rule", TEXTS)
@pytest.mark.parametrize("system", UnitSystem)
def test_every_text_can_be_written(rule, system):
    names = re.findall(r"%\((\w+)\)s", str(TEXTS[rule]))
    values = {name: 12.0 if name.endswith(("_m", "_mm", "_nm", "_m_s")) else name for name in names}
    said = sentence(Reason(rule, values), TEXTS, system)
    assert ("12 mm" in said or "12 N" in said or "12 m" in said) == (system is UnitSystem.METRIC)


@pytest.mark.parametrize(
    ("reason", "metric", "us"),
    [
        (
            Reason(BoundRule.NEGATIVE_TORQUE, {"given_nm": -3.0, "least_nm": 0.0}),
            "-3 N·m is negative; give 0 N·m or more, or leave it empty.",
            "-2.2 lbf·ft is negative; give 0 lbf·ft or more, or leave it empty.",
        ),
        (
            Reason(BoundRule.OFFSET_BEYOND_BELT, {"given_mm": 1500.0, "at_m": 60.0, "width_mm": 1200.0}),
            "1500 mm at 60 m is more than the belt is wide (1200 mm). Check the reading.",
            "59.055 in at 196.9 ft is more than the belt is wide (47.244 in). Check the reading.",
        ),
        (
            Reason(BoundRule.SPEED_ORDER, {"low_m_s": 4.0, "high_m_s": 3.15}),
            "Belt speeds run from 4 m/s to 3.15 m/s; give the least first.",
            "Belt speeds run from 787.4 ft/min to 620.1 ft/min; give the least first.",
        ),
        (
            Reason(PlaceRule.OFF_BELT, {"given_m": 901.0, "tag": "A-1", "length_m": 900.0}),
            "901 m is not on A-1: give 0 to 900 m, counted from the tail pulley.",
            "2,956 ft is not on A-1: give 0 to 2,952.8 ft, counted from the tail pulley.",
        ),
    ],
)
def test_what_is_said(reason, metric, us):
    assert sentence(reason, TEXTS, UnitSystem.METRIC) == metric
    assert sentence(reason, TEXTS, UnitSystem.US) == us
