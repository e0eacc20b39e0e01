"""What each indicator of the month is, and what a reader does about it."""

from __future__ import annotations

from reports.calc.indicators import IndicatorKey
from reports.words.indicators import INDICATORS


def test_every_indicator_tells_what_it_is_and_what_to_do():
    assert list(INDICATORS) == list(IndicatorKey)
    for each in INDICATORS.values():
        assert all(str(text) for text in (each.name, each.unit, each.definition, each.formula, each.act))
        assert each.better in {"higher", "lower"}
