"""Figures of a month in words: in the units of whoever reads an edition that is one for all."""

from types import SimpleNamespace

import pytest

from plant.calc.units import UnitSystem
from reports.calc.indicators import IndicatorKey
from reports.words.months import in_us_units, note_of, read_in, tonnes_words

METRIC, US = UnitSystem.METRIC, UnitSystem.US


@pytest.mark.parametrize(
    ("tonnes", "metric", "us"),
    [
        # NIST SP 811 (2008), Appendix B: a short ton is 907.184 74 kg.
        (907.18474, "907 t", "1,000 short ton"),
        (0.3, "0.3 t", "0.3 short ton"),
        (0.0, "0 t", "0 short ton"),
    ],
)
def test_tonnes_never_read_as_nothing_where_there_is_something(tonnes, metric, us):
    assert (tonnes_words(tonnes, METRIC), tonnes_words(tonnes, US)) == (metric, us)


def month(spilled_t, tonnes):
    return SimpleNamespace(spilled_t=spilled_t, tonnes=tonnes, incidents=[])


def test_an_edition_is_read_in_the_units_of_its_reader():
    now, before, then = month(9.0718474, 907.18474), month(0.0, None), month(0.0, None)
    us = in_us_units(IndicatorKey.SPILLED, now, before, then, None)
    figure = {"words": "9.1 t", "unit": "t", "before": "0.0 t", "note": "0 spills without tonnes", "us": us}
    assert read_in(figure, METRIC) == figure
    assert (read_in(figure, US)["words"], read_in(figure, US)["unit"]) == ("10.0 short ton", "short ton")
    us = in_us_units(
        IndicatorKey.STOP_MINUTES, *(SimpleNamespace(**vars(each), minutes=0) for each in (now, before, then)), None
    )
    assert us["note"].endswith("about 1,000 short ton not conveyed")
    assert note_of(IndicatorKey.STOP_MINUTES, now).endswith("about 907 t not conveyed")
    assert set(us) == {"note"}


def test_an_edition_of_before_is_read_as_it_stands():
    assert read_in({"words": "9.1 t"}, US) == {"words": "9.1 t"}
