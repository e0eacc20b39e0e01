"""Cells of a plant's files: exact, the same everywhere, and read as PostgreSQL and Python read them."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.calc.export_cells import (
    CellFault,
    CellKind,
    RowsHash,
    csv_line,
    json_text,
    keys_mapped,
    strings_mapped,
    unit_of,
    value_of,
)
from plant.calc.export_folder import cells_of

PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**12), 10**12) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda each: st.lists(each, max_size=3) | st.dictionaries(st.text(max_size=5), each, max_size=3),
    max_leaves=8,
)  # fmt: skip
TEXT = st.text(st.characters(exclude_categories=["Cs"])) | st.sampled_from(
    ["=1+1", "'", "''=x", "-5", "\r\n", '"', ","]
)
VALUES = {
    CellKind.TEXT: TEXT,
    CellKind.WHOLE: st.integers(-(2**63), 2**63 - 1),
    CellKind.NUMBER: st.floats(allow_nan=False, allow_infinity=False),
    CellKind.YES_NO: st.booleans(),
    CellKind.DAY: st.dates(),
    CellKind.MOMENT: st.datetimes(timezones=st.just(dt.UTC)),
}


@given(st.data())
def test_every_value_comes_back(data):
    kinds = data.draw(st.lists(st.sampled_from(sorted(VALUES)), min_size=1, max_size=6))
    values = [data.draw(st.none() | VALUES[kind]) for kind in kinds]
    cells = cells_of(csv_line(values, kinds).removesuffix("\r\n"))
    assert [value_of(cell, kind) for cell, kind in zip(cells, kinds, strict=True)] == values


@given(st.lists(st.none() | TEXT, min_size=2, max_size=5))
def test_python_s_own_reader_sees_the_same_cells(values):
    """A formula with its apostrophe; what is not stated reads as empty there."""
    line = csv_line(values, [CellKind.TEXT] * len(values))
    [read] = list(csv.reader(io.StringIO(line, newline=""), strict=True))
    ours = cells_of(line.removesuffix("\r\n"))
    assert read == [each or "" for each in ours]


@given(PLAIN)
def test_json_means_the_same_and_is_written_once_only(value):
    text = json_text(value)
    assert json.loads(text) == value
    assert json_text(json.loads(text)) == text


def test_json_is_the_same_after_a_data_base_had_it():
    """PostgreSQL keeps numbers of JSON as decimals and gives no exponent back (its manual, 8.14.1)."""
    assert json_text({"b": 1e20, "a": 5.0}) == json_text({"a": 5.0, "b": 100000000000000000000})


def test_nothing_stated_is_no_empty_text():
    assert csv_line([None, "", None], [CellKind.TEXT, CellKind.TEXT, CellKind.NUMBER]) == ',"",\r\n'
    assert cells_of(',"",') == [None, "", None]


def test_no_cell_is_a_formula():
    for text in ("=1+1", "+x", "-x", "@x", "\tx", "\rx", "'=1"):
        assert csv_line([text], [CellKind.TEXT]).startswith("\"'")
    assert csv_line(["-5"], [CellKind.TEXT]) == '"-5"\r\n'


def test_moments_are_in_utc_and_days_are_days():
    berlin = dt.timezone(dt.timedelta(hours=1))
    moment = dt.datetime(2026, 11, 30, 0, 5, 0, 120, tzinfo=berlin)
    line = csv_line([moment, dt.date(2026, 3, 1)], [CellKind.MOMENT, CellKind.DAY])
    assert line == "2026-11-29T23:05:00.000120Z,2026-03-01\r\n"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("1,5", CellKind.NUMBER),
        ("1.5 m", CellKind.NUMBER),
        ("inf", CellKind.NUMBER),
        ("1_000", CellKind.WHOLE),
        ("1.0", CellKind.WHOLE),
        ("yes", CellKind.YES_NO),
        ("True", CellKind.YES_NO),
        ("30.11.2026", CellKind.DAY),
        ("2026-02-30", CellKind.DAY),
        ("2026-11-30T10:00:00", CellKind.MOMENT),
        ("2026-11-30 10:00:00Z", CellKind.MOMENT),
        ("2026-11-30T10:00:00+01:00", CellKind.MOMENT),
        ("{", CellKind.JSON),
    ],
)
def test_what_another_program_writes_is_no_value(text, kind):
    with pytest.raises(CellFault):
        value_of(text, kind)


@pytest.mark.parametrize("line", ['"a', 'a"b', '"a"b', '"a" ,b', "a\rb"])
def test_what_is_no_row_is_seen(line):
    assert cells_of(line) is None


def test_rows_come_to_the_same_in_any_order_and_not_when_one_is_twice():
    one, other, twice = RowsHash(), RowsHash(), RowsHash()
    for found, rows in ((one, "ab"), (other, "ba"), (twice, "aab")):
        for row in rows:
            found.add(row)
    assert str(one) == str(other) != str(twice)


def test_units_are_the_ends_of_names():
    assert [unit_of(each) for each in ("speed_m_s", "torque_nm", "mass_kg", "count")] == ["m/s", "N·m", "kg", ""]


def test_keys_within_json():
    names = {1: "a", 2: "b"}
    assert keys_mapped([1, 2, 3], "", names.get) == ["a", "b"]
    assert keys_mapped([{"tasks": [2], "reason": 1}], "tasks", names.get) == [{"tasks": ["b"], "reason": 1}]
    assert strings_mapped({"x": ["y", 1, None, math.pi]}, str.upper) == {"x": ["Y", 1, None, math.pi]}
