"""Why there is no rate or ratio, in words."""

from __future__ import annotations

from plant.calc.rates import RateRule, compare_rates, counted, rate_with_interval
from plant.calc.units import UnitSystem
from plant.words.rates import TEXTS
from plant.words.reasons import sentences


def words(reasons):
    return sentences(reasons, TEXTS, UnitSystem.METRIC)


def test_every_rule_has_a_text():
    assert set(TEXTS) == set(RateRule)


def test_one_incident_and_several():
    assert [words([counted(n)]) for n in (0, 1, 2)] == ["0 incidents", "1 incident", "2 incidents"]


def test_what_is_missing_is_named():
    assert words(rate_with_interval(0, 0).reasons) == "No running hours: no rate."
    assert words(rate_with_interval(2, 0).reasons) == "2 incidents in 0 running hours: check the running hours."
    assert words(compare_rates(1, 0, 5, 100).reasons) == (
        "1 incident but no running hours before: check the running hours."
    )
    assert words(compare_rates(0, 0, 0, 0).reasons) == (
        "No running hours before. No running hours after. No incident on either side: nothing to compare."
    )
    assert words(compare_rates(0, 1200, 8, 1000).reasons) == "No incident before: the ratio has no upper limit."
    assert words(compare_rates(8, 1200, 0, 1000).reasons) == "No incident after: the ratio has no lower limit above 0."
