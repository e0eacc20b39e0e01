"""Belt offsets in words: occasions, sizes with their side, the change from before to since."""

import datetime as dt

import pytest

from installs.selectors.belt_offsets import OffsetOccasion, change_of
from installs.words.belt_offsets import change_words, occasion_words, offset_words, station_table, summary_lines
from plant.calc.units import UnitSystem

DAY = dt.date(2026, 3, 2)
BEFORE = OffsetOccasion("survey", DAY, {(60.0, False): 60.0, (80.0, False): -40.0}, of_installation=True)
SINCE = OffsetOccasion("follow_up", DAY, {(60.0, False): -15.0, (90.0, True): 0.0}, 3, of_installation=True)


@pytest.mark.parametrize(
    ("occasion", "words"),
    [
        (BEFORE, "before, 2 Mar 2026"),
        (OffsetOccasion("survey", DAY, {}), "2 Mar 2026"),
        (OffsetOccasion("follow_up", DAY, {}, 1, of_installation=True), "after 1 month"),
        (OffsetOccasion("follow_up", DAY, {}, 0, of_installation=True), "after 0 months"),
        (OffsetOccasion("follow_up", DAY, {}), "follow-up"),
        (OffsetOccasion("acceptance", DAY, {}, of_installation=True), "acceptance"),
    ],
)
def test_an_occasion_by_its_name(occasion, words):
    assert occasion_words(occasion) == words


def test_a_size_names_its_side_unless_it_is_nothing():
    assert [offset_words(each, UnitSystem.METRIC) for each in (60.0, -40.0, 0.0)] == [
        "60 mm drive side", "40 mm off side", "0 mm",
    ]  # fmt: skip
    assert offset_words(-38.1, UnitSystem.US) == "1 1/2 in off side"


def test_the_change_counts_the_places_measured_both_times():
    # Of 60 and 80 m only 60 m was measured again: 60 mm before, 15 mm since.
    assert change_words(change_of([BEFORE, SINCE]), UnitSystem.METRIC) == (
        "The belt lay 60 mm off its centre line on average before, 2 Mar 2026, and 15 mm after 3 months "
        "(1 reading at the same place)."
    )
    assert change_words(change_of([BEFORE]), UnitSystem.METRIC) == (
        "The belt lay 50 mm off its centre line on average (before, 2 Mar 2026)."
    )
    assert change_words(change_of([]), UnitSystem.METRIC) == "No belt offset was measured yet."


def test_tables_hold_every_occasion_and_every_station():
    (first, second) = summary_lines([BEFORE, SINCE], UnitSystem.METRIC)
    assert (first["n"], first["mean"], first["largest"]) == ("2", "50 mm", "60 mm")
    assert second["label"] == "after 3 months"
    assert [(line["at"], line["load"], [words for _label, words in line["cells"]]) for line in station_table(
        [BEFORE, SINCE], UnitSystem.METRIC
    )] == [
        (60.0, "empty", ["60 mm drive side", "15 mm off side"]),
        (80.0, "empty", ["40 mm off side", "–"]),
        (90.0, "loaded", ["–", "0 mm"]),
    ]  # fmt: skip
