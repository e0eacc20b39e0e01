"""Words of a column of choices: found, counted, and what each is taken for."""

from __future__ import annotations

import pytest

from plant.calc.import_cells import read_cell
from plant.calc.import_columns import Column, ColumnKind, FileReading
from plant.calc.own_words import about_of, head_key, words_in
from plant.calc.reasons import NotAccepted

SIDE = Column("side", "side", ColumnKind.CHOICE, choices={"drive": ("drive side", "ds"), "off": ("off side",)})
LOADED = Column("loaded", "belt was loaded", ColumnKind.YES_NO, choices={"yes": ("full",), "no": ("empty",)})
TAG = Column("conveyor", "tag", ColumnKind.CONVEYOR, required=True)


def found(column, cells, own=None, tags=None):
    return [(each.written, each.n, each.means, each.is_own) for each in words_in(column, cells, own or {}, tags or {})]


def test_what_is_not_understood_stands_first_and_the_commonest_of_it_on_top():
    cells = ["ds", "left", "LEFT ", "mid", None, "–", "", "off-side", "left"]
    assert found(SIDE, cells) == [
        ("left", 3, None, False),
        ("mid", 1, None, False),
        ("ds", 1, "drive", False),
        ("off-side", 1, "off", False),
    ]


def test_the_plant_s_word_goes_before_the_one_that_is_understood_anyway():
    assert found(SIDE, ["ds", "mid"], {"ds": "off", "mid": ""}) == [("ds", 1, "off", True), ("mid", 1, "", True)]


def test_yes_and_no_are_told_with_their_own_words():
    assert found(LOADED, ["Full", "half", "?", "no"]) == [
        ("half", 1, None, False),
        ("Full", 1, "yes", False),
        ("no", 1, "no", False),
    ]


def test_tags_are_told_however_they_are_spelt():
    assert found(TAG, ["a 01", "Crusher belt", 7], tags={"A-1": "A-01", "A1": "A-01"}) == [
        ("Crusher belt", 1, None, False),
        ("7", 1, None, False),
        ("a 01", 1, "A-01", False),
    ]


def test_a_text_is_no_word():
    assert found(SIDE, ["x" * 121, "x" * 120]) == [("x" * 120, 1, None, False)]


@pytest.mark.parametrize(
    ("head", "key"),
    [
        ("Lage [m]", "lage"),
        ("LAGE", "lage"),
        ("Ausmaß", "ausmass"),
        ("column C", ""),
        ("Lage (column C)", ""),
        ("Σ", "σ"),
        ("%", "%"),
    ],
)
def test_columns_are_known_by_their_names(head, key):
    assert head_key(head) == key


def test_a_side_is_one_in_all_kinds_of_rows_and_other_words_are_not():
    assert about_of("incidents", SIDE) == about_of("visits", SIDE)
    assert about_of("incidents", LOADED) != about_of("visits", LOADED)


def test_a_cell_is_read_by_the_plant_s_words():
    reading = FileReading(
        words={"side": {"left": "drive", "mid": ""}, "loaded": {"half": "yes"}, "conveyor": {"cr": "A-1"}}
    )
    assert read_cell("Left", SIDE, reading) == "drive"
    assert read_cell("mid", SIDE, reading) is None
    assert read_cell("half", LOADED, reading) is True
    assert read_cell("CR", TAG, reading) == "A-1"
    with pytest.raises(NotAccepted):
        read_cell("left?!", SIDE, FileReading())
