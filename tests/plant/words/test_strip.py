"""Words on and below a strip."""

from __future__ import annotations

import pytest

from plant.calc.density import density
from plant.calc.units import UnitSystem
from plant.words.strip import stretch_place


@pytest.mark.parametrize(
    ("system", "words"),
    [(UnitSystem.METRIC, "return, 1,150 to 1,200 m"), (UnitSystem.US, "return, 3,773 to 3,937 ft")],
)
def test_both_ends_of_a_stretch_are_written_alike(system, words):
    profile = density({"return": [1160.0, 1170.0]}, 2000.0, 1000.0)
    assert stretch_place(profile.highest, system) == words
