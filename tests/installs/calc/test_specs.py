"""Spec sheets as plain values."""

from __future__ import annotations

from installs.calc.specs import Difference, differences, spec_from

SHEET = {
    "sensor_new_mm": 76.0,
    "mass_kg": 71.0,
    "fasteners": [{"place": "clamp", "count": 4, "torque_nm": 75.0}, {"place": "pivot", "count": 1, "torque_nm": None}],
    "parts": [{"kind": "tool", "name": "Spanner 24", "count": 1}],
}


def test_what_is_not_stated_stays_none():
    spec = spec_from(SHEET)
    assert (spec.sensor_new_mm, spec.sensor_limit_mm) == (76, None)
    assert [each.torque_nm for each in spec.fasteners] == [75, None]
    assert [each.tolerance_pct for each in spec.fasteners] == [10, 10]


def test_a_sheet_does_not_differ_from_itself_and_order_of_rows_does_not_matter():
    assert differences(SHEET, SHEET) == []
    assert differences(SHEET, {**SHEET, "fasteners": SHEET["fasteners"][::-1]}) == []


def test_differences_mirror_when_the_sheets_are_swapped():
    other = {**SHEET, "mass_kg": 72.0, "fasteners": SHEET["fasteners"][:1], "parts": []}
    there, back = differences(SHEET, other), differences(other, SHEET)
    assert there == [Difference(each.group, each.what, each.after, each.before) for each in back]
    assert [(each.group, each.what) for each in there] == [
        ("", "mass_kg"),
        ("fasteners", "pivot"),
        ("parts", "Spanner 24"),
    ]
