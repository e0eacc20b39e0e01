"""Every way to read a typed value that is hard to believe."""

import doctest

import pytest

from inspections.calc import doubts
from inspections.calc.doubts import ways_of
from plant.calc.units import QuantityKind, UnitSystem

ROLLER = {"quantity": "diameter", "low": 51, "high": 79.8}
LENGTH, TORQUE = QuantityKind.LENGTH_MM, QuantityKind.TORQUE_NM
METRIC, US = UnitSystem.METRIC, UnitSystem.US


def test_examples():
    assert doctest.testmod(doubts).failed == 0


@pytest.mark.parametrize(
    ("text", "kind", "system", "plausible", "words"),
    [
        ("2.75", LENGTH, METRIC, ROLLER, ["2.75 mm", "2.75 in = 69.9 mm"]),
        ("69.9", LENGTH, US, ROLLER, ["69.9 in = 1775.5 mm", "69.9 mm"]),
        ("7.5", LENGTH, METRIC, ROLLER, ["7.5 mm", "75 mm"]),
        ("740", LENGTH, METRIC, ROLLER, ["740 mm", "74 mm"]),
        ("2.9 mm", LENGTH, METRIC, ROLLER, ["2.9 mm", "73.66 mm"]),
        ("90", LENGTH, METRIC, ROLLER, ["90 mm"]),  # 90 in is no roller either
        ("74.8", LENGTH, METRIC, {"quantity": "diameter", "previous": 74.0}, ["74.8 mm"]),
        ("2.9", LENGTH, METRIC, {"quantity": "diameter", "previous": 74.0}, ["2.9 mm", "2.9 in = 73.7 mm"]),
        ("1,308 mm", LENGTH, METRIC, ROLLER, ["1308 mm", "1.308 mm"]),
        ("0", TORQUE, METRIC, {"quantity": "torque", "low": 0, "high": 187.5}, ["0 N·m"]),
        ("7o", LENGTH, METRIC, ROLLER, []),
    ],
)
def test_ways_that_can_be_meant(text, kind, system, plausible, words):
    assert [way.shown for way in ways_of(text, kind, system, plausible)] == words
