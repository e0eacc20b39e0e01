"""Values as JSON and back: the same values, shared objects shared, and nothing else than what was named."""

from __future__ import annotations

import datetime as dt
import enum
import json
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.calc import codec
from plant.calc.reasons import Word


class Mark(enum.StrEnum):
    SOUND = "sound"
    ACT = "act"


@dataclass(frozen=True)
class Leaf:
    mark: Mark
    at: dt.datetime


@dataclass(frozen=True, eq=False)
class Tree:
    leaves: tuple[Leaf, ...]
    numbers: np.ndarray
    named: dict[str, float]
    other: object = None


@dataclass(frozen=True)
class Stranger:
    n: int = 1


CLASSES = (Leaf, Mark, Tree)
NOON = dt.datetime(2026, 11, 20, 12, 30, 15, 123456, tzinfo=dt.UTC)


def there_and_back(value):
    return codec.read(codec.write(value, CLASSES), CLASSES)


plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text() | st.dates()
    | st.datetimes(timezones=st.just(dt.UTC)) | st.timedeltas() | st.sampled_from(Mark),
    lambda inner: st.lists(inner, max_size=4)
    | st.lists(inner, max_size=4).map(tuple)
    | st.dictionaries(st.text(max_size=4) | st.integers(), inner, max_size=4),
    max_leaves=20,
)  # fmt: skip


@given(plain)
def test_every_plain_value_comes_back_as_it_was(value):
    found = there_and_back(value)
    assert found == value
    assert type(found) is type(value)


def test_a_word_of_a_reason_stays_one_and_typed_text_becomes_none():
    (word, typed) = there_and_back([Word("side.drive"), "side.drive"])
    assert (type(word), type(typed)) == (Word, str)
    assert word == typed == "side.drive"


@pytest.mark.parametrize("value", [float("inf"), float("-inf"), 1e-300, 0.1 + 0.2, -0.0])
def test_floats_come_back_to_the_bit(value):
    assert np.float64(there_and_back(value)).tobytes() == np.float64(value).tobytes()


def test_what_is_no_number_comes_back_so():
    assert np.isnan(there_and_back(float("nan")))


@pytest.mark.parametrize(
    "array",
    [
        np.array([1.5, np.nan, np.inf]),
        np.arange(3000, dtype=np.int64).reshape(3, 1000),
        np.array([True, False]),
        np.array(["carry", ""], dtype=np.str_),
        np.zeros((4, 0)),
        np.zeros(0),
    ],
)
def test_arrays_keep_values_shape_and_kind(array):
    found = there_and_back(array)
    assert found.shape == array.shape
    assert found.dtype.kind == array.dtype.kind
    assert np.array_equal(found, array, equal_nan=array.dtype.kind == "f")
    found[...] = array  # it may be written to


def test_an_object_in_two_places_is_one_object_again():
    leaf = Leaf(Mark.ACT, NOON)
    inner = Tree((leaf,), np.arange(100.0), {"a": 1.0})
    found = there_and_back([Tree((leaf, leaf), inner.numbers, {}, inner), inner, leaf])
    assert found[0].leaves[0] is found[0].leaves[1] is found[1].leaves[0] is found[2]
    assert found[0].other is found[1]
    assert found[0].numbers is found[1].numbers
    assert found[2] == leaf


def test_a_moment_keeps_the_zone_of_a_place():
    local = NOON.astimezone(ZoneInfo("Europe/Berlin"))
    assert there_and_back(local).isoformat() == local.isoformat()
    assert there_and_back(local).tzinfo == local.tzinfo


def test_the_text_is_json():
    assert json.loads(codec.write(Leaf(Mark.SOUND, NOON), CLASSES))


@pytest.mark.parametrize("value", [Stranger(), object(), NOON.replace(tzinfo=None), b"bytes", {Stranger()}])
def test_what_was_not_named_is_not_written(value):
    with pytest.raises(TypeError):
        codec.write(value, CLASSES)


def test_a_class_that_has_changed_is_not_read():
    text = codec.write(Leaf(Mark.ACT, NOON), CLASSES)
    with pytest.raises(codec.CannotRead, match="Leaf"):
        codec.read(text.replace('["mark","at"]', '["mark","since"]'), CLASSES)
    with pytest.raises(codec.CannotRead, match="Leaf"):
        codec.read(text, [Mark])


def test_rows_are_asked_for_once_and_missing_ones_refused():
    class Row:
        def __init__(self, pk):
            self.pk = pk

    one, asked = Row(7), []

    def rows_of(wanted):
        asked.append(dict(wanted))
        return {("row", 7): one}

    text = codec.write([one, (one, Row(7))], (), key_of=lambda row: ("row", row.pk) if isinstance(row, Row) else None)
    assert codec.read(text, (), rows_of=rows_of) == [one, (one, one)]
    assert asked == [{"row": {7}}]
    with pytest.raises(codec.CannotRead, match="row 7"):
        codec.read(text, ())
